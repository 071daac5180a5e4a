//! Verdicts from intervals: a word given plainly, a likely word with its alternative, or none.

/// A word on a scale (such as an [`super::outcome::Outcome`]), and how certain it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict<W> {
    /// The whole interval gives this word.
    Plain(W),
    /// Most likely this word, but the interval also gives the other.
    Likely {
        /// The likely word.
        word: W,
        /// The alternative.
        other: W,
    },
    /// The interval gives too many words to choose from.
    CannotTell,
}

impl<W: Copy + Ord> Verdict<W> {
    /// Derives a verdict from the words at both ends of an interval and at its likely figure. `steps` is the distance
    /// of two words on their scale: with ends two or more steps apart it can't be told.
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

    /// The alternative; `None` unless the verdict is [`Self::Likely`].
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
