//! Faults on purpose, so that tests can prove that the guard guards and the allocation check checks. Without debug
//! assertions there are none, whatever the environment says.
//!
//! `SUMPROOF_FAULT=panic:N` panics in the Nth block after the plugin is activated, `SUMPROOF_FAULT=allocate:N` allocates
//! there.

/// The variable that asks for one; read when the plugin is activated.
pub const VARIABLE: &str = "SUMPROOF_FAULT";

/// A fault and the block it strikes in.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) enum Fault {
    /// None: the only one there is without debug assertions.
    #[default]
    None,
    /// Panic in so many blocks.
    Panic(u32),
    /// Allocate in so many blocks.
    Allocate(u32),
}

impl Fault {
    /// What the environment asks for.
    pub(crate) fn from_environment() -> Self {
        if !cfg!(debug_assertions) {
            return Self::None;
        }
        std::env::var(VARIABLE).map_or(Self::None, |asked| Self::parse(&asked))
    }

    fn parse(asked: &str) -> Self {
        match asked
            .split_once(':')
            .map(|(what, block)| (what, block.parse::<u32>()))
        {
            Some(("panic", Ok(block))) => Self::Panic(block),
            Some(("allocate", Ok(block))) => Self::Allocate(block),
            _ => Self::None,
        }
    }

    /// Whether the next [`Self::strike`] panics. Unwinding allocates by its nature, so the allocation check has to stand
    /// aside for it.
    pub(crate) fn panics_next(self) -> bool {
        cfg!(debug_assertions) && matches!(self, Self::Panic(0 | 1))
    }

    /// Once a block.
    #[inline]
    pub(crate) fn strike(&mut self) {
        if !cfg!(debug_assertions) {
            return;
        }
        match self {
            Self::None => {}
            Self::Panic(0 | 1) => panic!("a fault on purpose, asked for by {VARIABLE}"),
            Self::Allocate(0 | 1) => {
                *self = Self::None;
                drop(std::hint::black_box(Box::new(0u64)));
            }
            Self::Panic(blocks) | Self::Allocate(blocks) => *blocks -= 1,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_is_asked_for_in_full_is_a_fault() {
        assert_eq!(Fault::parse("panic:3"), Fault::Panic(3));
        assert_eq!(Fault::parse("allocate:1"), Fault::Allocate(1));
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
        fault.strike();
        assert!(!fault.panics_next());
        fault.strike();
        assert!(fault.panics_next());
        let mut guard = crate::guard::Guard::default();
        assert_eq!(guard.run(|| fault.strike()), None);
    }
}
