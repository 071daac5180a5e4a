//! A panic on the audio thread must not reach the host, which it would take down.
//!
//! The framework catches nothing, so [`Guard`] does, at the boundary; after a panic it lets nothing run again, and the
//! sound passes as it came for the rest of the session. The panic hook in force would format, allocate and lock before
//! the guard could catch anything, so [`install_hook`] puts a silent one before it for threads inside a guard.

use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Once;

thread_local! {
    /// Whether this thread is inside a guard. Initialised by constant and without a destructor, so reading it neither
    /// allocates nor registers anything.
    static GUARDED: Cell<bool> = const { Cell::new(false) };
}

/// Puts the silent hook before the present one. Only the first call of a process does anything.
pub(crate) fn install_hook() {
    static INSTALLED: Once = Once::new();
    INSTALLED.call_once(put_before_present);
}

fn put_before_present() {
    let previous = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |info| {
        if !GUARDED.get() {
            previous(info);
        }
    }));
}

/// Runs things that might panic until one does.
#[derive(Debug, Default)]
pub(crate) struct Guard {
    tripped: bool,
}

impl Guard {
    /// Whether something panicked.
    pub(crate) fn tripped(&self) -> bool {
        self.tripped
    }

    /// Runs `body`, unless something panicked before. `None` when it did, now or then. What `body` was changing is in an
    /// unknown state after a panic, and must not be used again.
    ///
    /// # Real-time
    /// Costs a flag and a landing pad; the unwinding itself allocates, once in the life of the guard.
    #[inline]
    pub(crate) fn run<R>(&mut self, body: impl FnOnce() -> R) -> Option<R> {
        if self.tripped {
            return None;
        }
        let outer = GUARDED.replace(true);
        let result = catch_unwind(AssertUnwindSafe(body));
        GUARDED.set(outer);
        match result {
            Ok(value) => Some(value),
            Err(payload) => {
                self.tripped = true;
                // Freeing it would be a system call at worst and another panic at the very worst.
                std::mem::forget(payload);
                None
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicUsize, Ordering};

    use super::*;

    #[test]
    fn a_panic_is_held_and_nothing_runs_after_it() {
        static HEARD: AtomicUsize = AtomicUsize::new(0);
        // Stands for the hook the framework sets: it must hear of panics elsewhere, and of none inside a guard.
        let original = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |info| {
            if info
                .payload()
                .downcast_ref::<&str>()
                .is_some_and(|text| text.contains("of this test"))
            {
                HEARD.fetch_add(1, Ordering::SeqCst);
            } else {
                original(info);
            }
        }));
        put_before_present();

        let mut guard = Guard::default();
        assert_eq!(guard.run(|| 1), Some(1));
        assert_eq!(
            guard.run(|| -> i32 { panic!("inside a guard of this test") }),
            None
        );
        assert_eq!(HEARD.load(Ordering::SeqCst), 0);
        assert!(guard.tripped());
        let mut ran = false;
        assert_eq!(guard.run(|| ran = true), None);
        assert!(!ran);

        let outside = catch_unwind(|| panic!("outside a guard of this test"));
        assert!(outside.is_err());
        assert_eq!(HEARD.load(Ordering::SeqCst), 1);
        // Guards nest: the outer one still counts once the inner one is left.
        let mut outer = Guard::default();
        outer.run(|| Guard::default().run(|| ()));
        assert!(!GUARDED.get());
    }
}
