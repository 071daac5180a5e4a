//! Seeing to it that the plugin makes no system call while it processes: none at all, so it takes no contended lock, wakes
//! nobody and asks for no memory.
//!
//! Linux can give a thread its own system calls back as a signal, switched by a byte in the thread's memory (syscall user
//! dispatch, since Linux 5.11; the kernel's `admin-guide/syscall-user-dispatch`). The switch is thrown around each call into the
//! plugin, so the host may do what it likes between two blocks, and it takes no rights and no tracer.

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
/// No range of addresses whose calls pass.
const NOTHING: c_ulong = 0;

/// The thread's system calls go to the kernel.
const LET_PASS: u8 = 0;
/// They come back as a signal.
const BLOCK: u8 = 1;
/// Where a signal's information holds the number of the system call, in words (`siginfo_t` of 64-bit Linux).
const NUMBER_AT: usize = 6;

/// The switch of the one thread that is watched, for the handler.
static SWITCH: AtomicPtr<AtomicU8> = AtomicPtr::new(ptr::null_mut());

/// A thread that is being watched, one at a time in a process. Stays on it.
pub(crate) struct Watch {
    switch: Box<AtomicU8>,
    stays: PhantomData<*const ()>,
}

impl Watch {
    /// Watches this thread from now on, whenever [`Self::during`] says.
    ///
    /// # Errors
    /// [`HostError::Watch`] where the kernel can't.
    pub(crate) fn on_this_thread() -> Result<Self, HostError> {
        let switch = Box::new(AtomicU8::new(LET_PASS));
        let place = ptr::from_ref(&*switch).cast_mut();
        SWITCH.store(place, Ordering::SeqCst);
        // SAFETY: all bytes 0 are a valid value of this C structure; the handler has the form that SA_SIGINFO asks for and
        // does only what a signal handler may.
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
        // SAFETY: turns the dispatch off, which reads nothing of ours.
        let _ = unsafe { libc::prctl(DISPATCH, OFF, NOTHING, NOTHING, NOTHING) };
        SWITCH.store(ptr::null_mut(), Ordering::SeqCst);
    }
}

/// Says what was called, and ends the process.
extern "C" fn caught(_: c_int, info: *mut siginfo_t, _: *mut c_void) {
    // SAFETY: the kernel hands over a whole `siginfo_t`, 128 bytes.
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
    // SAFETY: the bytes are ours, and so many are written; both calls are allowed in a signal handler.
    unsafe {
        libc::write(libc::STDERR_FILENO, line.get_ref().as_ptr().cast(), length);
        libc::_exit(CAUGHT);
    }
}
