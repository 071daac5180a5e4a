//! Checks that the plugin makes no system call while it processes, so it takes no contended lock, wakes no thread and
//! gets no memory from the system.
//!
//! Linux can turn a thread's own system calls into a signal, switched by a byte in the thread's memory (syscall user
//! dispatch, since Linux 5.11; the kernel's `admin-guide/syscall-user-dispatch`). The switch is set around each call
//! into the plugin, so the host is free between two blocks; it needs neither privileges nor a tracer.

use crate::error::HostError;
use libc::{c_int, c_ulong, c_void, siginfo_t};
use std::io::{Cursor, Write};
use std::marker::PhantomData;
use std::ptr;
use std::sync::atomic::{AtomicPtr, AtomicU8, Ordering};

/// The exit code of a process whose plugin made a system call while it was watched.
pub const CAUGHT: i32 = 3;

/// `PR_SET_SYSCALL_USER_DISPATCH` and its two arguments, of `linux/prctl.h`.
const DISPATCH: c_int = 59;
const ON: c_ulong = 1;
const OFF: c_ulong = 0;
/// An empty range of addresses whose calls are let through.
const NOTHING: c_ulong = 0;

/// Switch: the thread's system calls go to the kernel.
const LET_PASS: u8 = 0;
/// Switch: they raise a signal.
const BLOCK: u8 = 1;
/// Position of the system call's number in a signal's information, in words (`siginfo_t` of 64-bit Linux).
const NUMBER_AT: usize = 6;

/// The switch of the watched thread, for the handler.
static SWITCH: AtomicPtr<AtomicU8> = AtomicPtr::new(ptr::null_mut());

/// The watch on a thread, one at a time in a process. It must stay on that thread.
pub(crate) struct Watch {
    switch: Box<AtomicU8>,
    stays: PhantomData<*const ()>,
}

impl Watch {
    /// Prepares the watch on this thread, which is active during [`Self::during`].
    ///
    /// # Errors
    /// [`HostError::Watch`] if the kernel doesn't support it.
    pub(crate) fn on_this_thread() -> Result<Self, HostError> {
        let switch = Box::new(AtomicU8::new(LET_PASS));
        let place = ptr::from_ref(&*switch).cast_mut();
        SWITCH.store(place, Ordering::SeqCst);
        // SAFETY: all bytes 0 are a valid value of this C structure; the handler has the signature that SA_SIGINFO
        // requires and is async-signal-safe.
        let handled = unsafe {
            let mut action: libc::sigaction = std::mem::zeroed();
            action.sa_sigaction = caught as extern "C" fn(c_int, *mut siginfo_t, *mut c_void) as usize;
            action.sa_flags = libc::SA_SIGINFO;
            libc::sigaction(libc::SIGSYS, &raw const action, ptr::null_mut())
        };
        // SAFETY: the byte outlives the dispatch: dropping this, which happens on this thread, ends it first.
        let dispatched = unsafe { libc::prctl(DISPATCH, ON, NOTHING, NOTHING, place) };
        if handled != 0 || dispatched != 0 {
            return Err(HostError::Watch(std::io::Error::last_os_error()));
        }
        Ok(Self {
            switch,
            stays: PhantomData,
        })
    }

    /// Runs `body`; a system call in it ends the process with [`CAUGHT`] and a line that names its number.
    pub(crate) fn during<R>(&self, body: impl FnOnce() -> R) -> R {
        self.switch.store(BLOCK, Ordering::SeqCst);
        let result = body();
        self.switch.store(LET_PASS, Ordering::SeqCst);
        result
    }
}

impl Drop for Watch {
    fn drop(&mut self) {
        // SAFETY: turning the dispatch off reads no memory of ours.
        let _ = unsafe { libc::prctl(DISPATCH, OFF, NOTHING, NOTHING, NOTHING) };
        SWITCH.store(ptr::null_mut(), Ordering::SeqCst);
    }
}

/// Reports the system call, and ends the process.
extern "C" fn caught(_: c_int, info: *mut siginfo_t, _: *mut c_void) {
    // SAFETY: the kernel passes a whole `siginfo_t`, 128 bytes.
    let number = unsafe { *info.cast::<c_int>().add(NUMBER_AT) };
    // SAFETY: while a thread is watched its switch is alive; null otherwise.
    if let Some(switch) = unsafe { SWITCH.load(Ordering::SeqCst).as_ref() } {
        switch.store(LET_PASS, Ordering::SeqCst);
    }
    let mut line = Cursor::new([0_u8; 96]);
    let _ = writeln!(
        line,
        "the plugin made system call {number} while it processed a block"
    );
    let length = line.position() as usize;
    // SAFETY: the buffer is ours and has that many bytes; both calls are async-signal-safe.
    unsafe {
        libc::write(libc::STDERR_FILENO, line.get_ref().as_ptr().cast(), length);
        libc::_exit(CAUGHT);
    }
}
