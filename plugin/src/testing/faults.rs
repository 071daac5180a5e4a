//! Deliberate faults, with which tests prove that the guard guards and the allocation check checks. Without debug
//! assertions there are none, whatever the environment says.
//!
//! `SUMPROOF_FAULT` selects one:
//! * `panic:N` panics and `allocate:N` allocates in the Nth block after the plugin is activated;
//! * `analysis:N` panics in the Nth look of the analysis thread, `stall:N` blocks that thread, with the engine's lock
//!   held, for N seconds;
//! * `window:N` panics in the Nth frame of a window.

use std::time::Duration;

/// The environment variable; read when the plugin is activated, and when a window is opened.
pub const VARIABLE: &str = "SUMPROOF_FAULT";

/// A fault, with the number of blocks, looks or frames until it strikes.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) enum Fault {
    /// No fault: the only case without debug assertions.
    #[default]
    None,
    /// Panic in the block of this number, from 1.
    Panic(u32),
    /// Allocate in the block of this number, from 1.
    Allocate(u32),
    /// Panic in the look of this number, from 1.
    Analysis(u32),
    /// Stall for this many seconds.
    Stall(u32),
    /// Panic in the window's frame of this number, from 1.
    Window(u32),
}

impl Fault {
    /// The fault selected in the environment.
    pub(crate) fn from_environment() -> Self {
        if !cfg!(debug_assertions) {
            return Self::None;
        }
        std::env::var(VARIABLE).map_or(Self::None, |asked| Self::parse(&asked))
    }

    fn parse(asked: &str) -> Self {
        match asked
            .split_once(':')
            .map(|(what, count)| (what, count.parse::<u32>()))
        {
            Some(("panic", Ok(blocks))) => Self::Panic(blocks),
            Some(("allocate", Ok(blocks))) => Self::Allocate(blocks),
            Some(("analysis", Ok(looks))) => Self::Analysis(looks),
            Some(("stall", Ok(seconds))) => Self::Stall(seconds),
            Some(("window", Ok(frames))) => Self::Window(frames),
            _ => Self::None,
        }
    }

    /// Whether the next [`Self::strike_block`] panics. Unwinding allocates by its nature, so the allocation check must
    /// be off for it.
    pub(crate) fn panics_next(self) -> bool {
        cfg!(debug_assertions) && matches!(self, Self::Panic(0 | 1))
    }

    /// Called once a block.
    #[inline]
    pub(crate) fn strike_block(&mut self) {
        if !cfg!(debug_assertions) {
            return;
        }
        match self {
            Self::Panic(0 | 1) => struck(),
            Self::Allocate(0 | 1) => {
                *self = Self::None;
                drop(std::hint::black_box(Box::new(0u64)));
            }
            Self::Panic(blocks) | Self::Allocate(blocks) => *blocks -= 1,
            _ => {}
        }
    }

    /// Called once a look of the analysis thread.
    pub(crate) fn strike_look(&mut self) {
        match self {
            Self::Analysis(0 | 1) => struck(),
            Self::Analysis(looks) => *looks -= 1,
            Self::Stall(seconds) => {
                let time = Duration::from_secs(u64::from(*seconds));
                *self = Self::None;
                std::thread::sleep(time);
            }
            _ => {}
        }
    }

    /// Called once a frame of a window.
    pub(crate) fn strike_frame(&mut self) {
        match self {
            Self::Window(0 | 1) => struck(),
            Self::Window(frames) => *frames -= 1,
            _ => {}
        }
    }
}

fn struck() {
    panic!("a fault on purpose, asked for by {VARIABLE}");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_is_asked_for_in_full_is_a_fault() {
        assert_eq!(Fault::parse("panic:3"), Fault::Panic(3));
        assert_eq!(Fault::parse("allocate:1"), Fault::Allocate(1));
        assert_eq!(Fault::parse("analysis:2"), Fault::Analysis(2));
        assert_eq!(Fault::parse("stall:6"), Fault::Stall(6));
        assert_eq!(Fault::parse("window:9"), Fault::Window(9));
        for other in [
            "",
            "panic",
            "panic:",
            "panic:-1",
            "panic:x",
            "PANIC:1",
            "allocate:99999999999",
        ] {
            assert_eq!(Fault::parse(other), Fault::None, "{other:?}");
        }
    }

    #[test]
    #[cfg(debug_assertions)]
    fn a_panic_strikes_in_its_block() {
        let mut fault = Fault::Panic(3);
        fault.strike_block();
        assert!(!fault.panics_next());
        fault.strike_block();
        assert!(fault.panics_next());
        let mut guard = crate::audio::guard::Guard::default();
        assert_eq!(guard.run(|| fault.strike_block()), None);
    }
}
