//! Processor time: the cost of a call, independent of other processes' load.

use std::time::Duration;

fn clock(id: libc::clockid_t) -> Duration {
    let mut time = libc::timespec {
        tv_sec: 0,
        tv_nsec: 0,
    };
    // SAFETY: it writes to a live value. The clocks used here always exist.
    unsafe { libc::clock_gettime(id, &raw mut time) };
    Duration::new(time.tv_sec.unsigned_abs(), time.tv_nsec.unsigned_abs() as u32)
}

/// Processor time of this thread so far.
#[must_use]
pub fn thread_time() -> Duration {
    clock(libc::CLOCK_THREAD_CPUTIME_ID)
}

/// Processor time of all threads of this process so far.
#[must_use]
pub fn process_time() -> Duration {
    clock(libc::CLOCK_PROCESS_CPUTIME_ID)
}

/// Runs `body`; returns its result and the processor time it took on this thread.
pub fn costs<R>(body: impl FnOnce() -> R) -> (R, Duration) {
    let begun = thread_time();
    let result = body();
    (result, thread_time().saturating_sub(begun))
}
