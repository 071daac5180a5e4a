//! Catches panics of the libraries that read files. A file can be damaged in ways that a decoder's author thought
//! impossible; then the file is refused, the others are read, and only the refusal is printed.

use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Once;

thread_local! {
    /// Whether this thread is in [`caught`], where a panic prints nothing.
    static QUIET: Cell<bool> = const { Cell::new(false) };
}

/// Returns the result of `body`, or `None` if it panics. The objects it was using must not be used again.
pub fn caught<T>(body: impl FnOnce() -> T) -> Option<T> {
    static HOOK: Once = Once::new();
    HOOK.call_once(|| {
        let before = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |info| {
            if !QUIET.get() {
                before(info);
            }
        }));
    });
    let was = QUIET.replace(true);
    let outcome = catch_unwind(AssertUnwindSafe(body));
    QUIET.set(was);
    outcome.ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_is_none_and_the_thread_goes_on() {
        let index = std::hint::black_box(3);
        assert_eq!(caught(|| [1, 2, 3][index]), None);
        assert!(!QUIET.get());
        assert_eq!(caught(|| [1, 2, 3][index - 1]), Some(3));
    }
}
