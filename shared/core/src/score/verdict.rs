//! Words that follow from intervals: said plainly, said as likely with the other it could be, or not said.

/// A word, and how sure it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict<W> {
    /// The whole interval gives this word.
    Plain(W),
    /// Most likely this word, but the interval also gives the other.
    Likely {
        /// What it most likely is.
        word: W,
        /// What else it could be.
        other: W,
    },
    /// The interval gives too many words to choose from.
    CannotTell,
}

impl<W: Copy + Ord> Verdict<W> {
    /// From the words of an interval's both ends and of what is likely. Words are a scale; more than two steps of it are too
    /// many to say any.
    #[must_use]
    pub fn between(one_end: W, likely: W, other_end: W, steps: impl Fn(W, W) -> usize) -> Self {
        let (low, high) = (one_end.min(other_end), one_end.max(other_end));
        match steps(low, high) {
            0 => Self::Plain(low),
            1 => {
                let word = likely.clamp(low, high);
                let other = if word == low { high } else { low };
                Self::Likely { word, other }
            }
            _ => Self::CannotTell,
        }
    }

    /// The word, plain or likely; `None` when it can't be told.
    #[must_use]
    pub fn word(self) -> Option<W> {
        match self {
            Self::Plain(word) | Self::Likely { word, .. } => Some(word),
            Self::CannotTell => None,
        }
    }

    /// The other word it could be.
    #[must_use]
    pub fn other(self) -> Option<W> {
        match self {
            Self::Likely { other, .. } => Some(other),
            Self::Plain(_) | Self::CannotTell => None,
        }
    }

    /// Whether the whole interval gives the word.
    #[must_use]
    pub fn is_plain(self) -> bool {
        matches!(self, Self::Plain(_))
    }
}
