//! Keeps a panic on the audio thread from reaching the host, which it would crash.
//!
//! The framework catches no panics, so [`Guard`] does, at the boundary. After a panic it runs nothing more, and the
//! sound passes unchanged for the rest of the session. The current panic hook would format, allocate and lock before
//! the guard could catch anything, so [`install_hook`] puts a hook before it that stays silent for threads inside a
//! guard.
//!
//! How the hook recognises the thread: a guard records its stack address, and a panic a little below that address is on
//! the same stack. A thread-local flag would be plainer, but the first access to one in a loaded library makes the C
//! library allocate, on the audio thread.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Once;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Guards that can be recorded at the same time. One more still catches its panic, but not silently.
const PLACES: usize = 64;
/// How far below its guard a panic may be, bytes. Other threads' stacks are further away; if one were nearer, only the
/// message of its own panic would be lost.
const REACH: usize = 512 << 10;

/// Stack addresses of the guards; 0 is a free place.
static STANDING: [AtomicUsize; PLACES] = [const { AtomicUsize::new(0) }; PLACES];

/// Puts the silent hook before the current one. Only the first call in a process has an effect.
pub(crate) fn install_hook() {
    static INSTALLED: Once = Once::new();
    INSTALLED.call_once(put_before_present);
}

fn put_before_present() {
    let previous = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |info| {
        if !below_a_guard() {
            previous(info);
        }
    }));
}

fn below_a_guard() -> bool {
    let here = 0u8;
    let here = (&raw const here).addr();
    STANDING.iter().any(|place| {
        let guard = place.load(Ordering::Relaxed);
        // Stacks grow downwards on every platform plugins run on.
        guard > here && guard - here < REACH
    })
}

/// The record of one guard, removed when the guard is left.
struct Note(Option<&'static AtomicUsize>);

impl Note {
    #[inline]
    fn leave() -> Self {
        let here = 0u8;
        let here = (&raw const here).addr();
        let free = |place: &&AtomicUsize| {
            place.load(Ordering::Relaxed) == 0
                && place
                    .compare_exchange(0, here, Ordering::Relaxed, Ordering::Relaxed)
                    .is_ok()
        };
        Self(STANDING.iter().find(free))
    }
}

impl Drop for Note {
    fn drop(&mut self) {
        if let Some(place) = self.0 {
            place.store(0, Ordering::Relaxed);
        }
    }
}

/// Runs closures that may panic, until one does.
#[derive(Debug, Default)]
pub(crate) struct Guard {
    tripped: bool,
}

impl Guard {
    /// Whether something panicked.
    #[cfg(test)]
    pub(crate) fn tripped(&self) -> bool {
        self.tripped
    }

    /// Runs `body`, unless an earlier one panicked. Returns `None` after a panic, now or earlier. What `body` was
    /// changing is then in an unknown state and must not be used again.
    ///
    /// # Real-time
    /// Costs one record and a landing pad; the unwinding itself allocates, once in the life of the guard.
    #[inline]
    pub(crate) fn run<R>(&mut self, body: impl FnOnce() -> R) -> Option<R> {
        if self.tripped {
            return None;
        }
        let note = Note::leave();
        let result = catch_unwind(AssertUnwindSafe(body));
        drop(note);
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
    use super::*;

    /// Stack used between the guard and the panic.
    #[inline(never)]
    fn panic_deep(levels: usize) -> usize {
        let room = std::hint::black_box([levels; 64]);
        if levels == 0 {
            panic!("inside a guard of this test");
        }
        panic_deep(levels - 1) + room[0]
    }

    #[test]
    fn a_panic_is_held_and_nothing_runs_after_it() {
        static HEARD: AtomicUsize = AtomicUsize::new(0);
        // Stands for the framework's hook: it must be called for panics elsewhere, and for none inside a guard.
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
        assert_eq!(guard.run(|| panic_deep(100)), None);
        assert_eq!(HEARD.load(Ordering::SeqCst), 0);
        assert!(guard.tripped());
        let mut ran = false;
        assert_eq!(guard.run(|| ran = true), None);
        assert!(!ran);

        assert!(catch_unwind(|| panic!("outside a guard of this test")).is_err());
        assert_eq!(HEARD.load(Ordering::SeqCst), 1);

        // Another thread's panic reaches the hook although this thread is inside a guard.
        let elsewhere = Guard::default().run(|| {
            let thread = std::thread::Builder::new().spawn(|| panic!("in another thread of this test"));
            thread.expect("a thread").join().is_err()
        });
        assert_eq!(elsewhere, Some(true));
        assert_eq!(HEARD.load(Ordering::SeqCst), 2);
    }

    #[test]
    fn guards_nest_and_more_than_are_noted_still_guard() {
        fn nested(levels: usize) -> usize {
            let mut guard = Guard::default();
            let inner = if levels == 0 {
                0
            } else {
                guard.run(|| nested(levels - 1)).unwrap_or(usize::MAX - levels)
            };
            inner + 1
        }
        assert_eq!(nested(PLACES + 5), PLACES + 6);
        let here = 0u8;
        let here = (&raw const here).addr();
        let left_behind = STANDING
            .iter()
            .filter(|place| place.load(Ordering::Relaxed).abs_diff(here) < REACH)
            .count();
        assert_eq!(left_behind, 0);
    }
}
