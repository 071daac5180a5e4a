//! The rig a board is computed for: the player's lines, the desk's sum law, the user's own feed, the limits between the
//! outcomes.

use crate::routing::feed::{Ending, Feed, FeedId, Lines, Side, SumLaw};
use crate::score::outcome::Limits;

/// The rig a board is computed for.
///
/// ```
/// use sumproof_core::routing::feed::{FeedId, Side};
/// use sumproof_core::routing::line::Polarity;
/// use sumproof_core::score::rig::Rig;
///
/// let feed = Rig::default().feed(FeedId::WedgeLineFlipped, Side::Right);
/// assert_eq!((feed.left.polarity, feed.right.polarity), (Polarity::Normal, Polarity::Flipped));
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(default))]
pub struct Rig {
    /// The player's lines, in every feed.
    pub lines: Lines,
    /// Sum law of the feeds that add the lines.
    pub law: SumLaw,
    /// The user's own feed.
    pub own: Feed,
    /// Limits between the outcomes.
    pub limits: Limits,
}

impl Default for Rig {
    fn default() -> Self {
        Self {
            lines: Lines::default(),
            law: SumLaw::Average,
            own: Feed::straight(Ending::Sum(SumLaw::Average)),
            limits: Limits::default(),
        }
    }
}

impl Rig {
    /// The feed with that id, its fault (if it has one) on the side `faulty`.
    #[must_use]
    pub fn feed(&self, id: FeedId, faulty: Side) -> Feed {
        id.build(&self.lines, self.law, faulty, &self.own)
    }

    /// The rig with every setting within its range.
    #[must_use]
    pub fn clamped(self) -> Self {
        let feed = |feed: Feed| Feed {
            left: feed.left.clamped(),
            right: feed.right.clamped(),
            ..feed
        };
        Self {
            lines: Lines {
                left: self.lines.left.clamped(),
                right: self.lines.right.clamped(),
            },
            law: self.law,
            own: Feed {
                low_pass_hz: self.own.low_pass_hz.filter(|hz| (20.0..=1000.0).contains(hz)),
                ..feed(self.own)
            },
            limits: self.limits.clamped(),
        }
    }
}
