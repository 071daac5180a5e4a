//! Feeds: both lines and where they end, i.e. what one listener gets.

use crate::routing::line::{Line, Polarity};

/// How two lines are added.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum SumLaw {
    /// `(L + R) / 2`: a passive sum, −6.02 dB per line.
    #[default]
    Average,
    /// `(L + R) / √2`: ITU-R BS.775's mono downmix, −3.01 dB per line.
    #[cfg_attr(feature = "serde", serde(rename = "minus-3-db"))]
    Minus3Db,
    /// `L + R`: two faders at unity on one bus.
    Unity,
}

impl SumLaw {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Average, Self::Minus3Db, Self::Unity];

    /// The factor each line is multiplied by.
    #[must_use]
    pub fn factor(self) -> f64 {
        match self {
            Self::Average => 0.5,
            Self::Minus3Db => core::f64::consts::FRAC_1_SQRT_2,
            Self::Unity => 1.0,
        }
    }
}

/// Left or right.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Side {
    /// The left line or channel.
    Left,
    /// The right line or channel.
    Right,
}

impl Side {
    /// Both.
    pub const BOTH: [Self; 2] = [Self::Left, Self::Right];

    /// The other one.
    #[must_use]
    pub fn other(self) -> Self {
        match self {
            Self::Left => Self::Right,
            Self::Right => Self::Left,
        }
    }

    /// The stable name in files: `left` or `right`.
    #[must_use]
    pub fn id(self) -> &'static str {
        match self {
            Self::Left => "left",
            Self::Right => "right",
        }
    }
}

/// Where both lines end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Ending {
    /// Each line in its own loudspeaker.
    Stereo,
    /// Both lines added.
    Sum(SumLaw),
    /// One line; the other goes nowhere.
    One(Side),
    /// Left minus right: a stereo jack in a balanced mono input.
    Difference,
}

impl Ending {
    /// The factors `c` with which left and right enter the one loudspeaker, and `false` where there are two.
    #[must_use]
    pub fn factors(self) -> (f64, f64, bool) {
        match self {
            // The mean power of both loudspeakers: no factor, no cross term.
            Self::Stereo => (1.0, 1.0, false),
            Self::Sum(law) => (law.factor(), law.factor(), true),
            Self::One(Side::Left) => (1.0, 0.0, true),
            Self::One(Side::Right) => (0.0, 1.0, true),
            Self::Difference => (1.0, -1.0, true),
        }
    }
}

/// Corner of the low-pass in front of a subwoofer, Hz: common practice, no source.
pub const SUB_CORNER_HZ: f64 = 100.0;

/// What one listener gets.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Feed {
    /// The left line, all of it.
    pub left: Line,
    /// The right line, all of it.
    pub right: Line,
    /// Where they end.
    pub ending: Ending,
    /// A loudspeaker that plays only the low end: corner of its fourth-order low-pass (two second-order Butterworth
    /// ones in a row), Hz.
    #[cfg_attr(feature = "serde", serde(default))]
    pub low_pass_hz: Option<f64>,
}

impl Feed {
    /// Two straight lines with this ending.
    #[must_use]
    pub const fn straight(ending: Ending) -> Self {
        Self {
            left: Line::STRAIGHT,
            right: Line::STRAIGHT,
            ending,
            low_pass_hz: None,
        }
    }

    /// The gain that a fader can make up for, `c·(|g_L| + |g_R|)` over the lines that reach this feed (c = 1 for one
    /// line, ½ for stereo). 0 when nothing arrives.
    #[must_use]
    pub fn recoverable_gain(&self) -> f64 {
        let (left, right) = (self.left.amplitude().abs(), self.right.amplitude().abs());
        match self.ending {
            Ending::Stereo => 0.5 * (left + right),
            Ending::Sum(law) => law.factor() * (left + right),
            Ending::One(Side::Left) => left,
            Ending::One(Side::Right) => right,
            Ending::Difference => left + right,
        }
    }
}

/// The player's lines, as they are in every feed.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(default))]
pub struct Lines {
    /// The left one.
    pub left: Line,
    /// The right one.
    pub right: Line,
}

impl Lines {
    fn with_fault(self, side: Side, fault: &Line) -> Self {
        match side {
            Side::Left => Self {
                left: self.left.then(fault),
                ..self
            },
            Side::Right => Self {
                right: self.right.then(fault),
                ..self
            },
        }
    }
}

/// The built-in feeds, in the order of the board, and one of the user's own.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum FeedId {
    /// Each line in its own loudspeaker.
    StereoHouse,
    /// Both lines added. A mono in-ear and a mono broadcast are the same sum.
    MonoWedge,
    /// The left line alone.
    LeftLineOnly,
    /// The right line alone.
    RightLineOnly,
    /// Both lines added, one of them flipped.
    WedgeLineFlipped,
    /// Both lines added, one of them padded by 20 dB.
    WedgeLinePadded,
    /// Both lines added, one of them late by 1 ms.
    WedgeLineLate,
    /// Both lines added, one of them unplugged.
    WedgeLineUnplugged,
    /// Both lines added, one of them through a 12:1 transformer with a 30 Hz corner.
    WedgeLineTransformer,
    /// A stereo jack in a balanced mono input: left minus right.
    BalancedJackDifference,
    /// The mono sum below 100 Hz.
    MonoSubs,
    /// The same with one line flipped.
    MonoSubsLineFlipped,
    /// The user's own.
    Own,
}

impl FeedId {
    /// All of them, in order.
    pub const ALL: [Self; 13] = [
        Self::StereoHouse,
        Self::MonoWedge,
        Self::LeftLineOnly,
        Self::RightLineOnly,
        Self::WedgeLineFlipped,
        Self::WedgeLinePadded,
        Self::WedgeLineLate,
        Self::WedgeLineUnplugged,
        Self::WedgeLineTransformer,
        Self::BalancedJackDifference,
        Self::MonoSubs,
        Self::MonoSubsLineFlipped,
        Self::Own,
    ];

    /// A stable name for files and parameters.
    #[must_use]
    pub fn id(self) -> &'static str {
        match self {
            Self::StereoHouse => "stereo-house",
            Self::MonoWedge => "mono-wedge",
            Self::LeftLineOnly => "left-line-only",
            Self::RightLineOnly => "right-line-only",
            Self::WedgeLineFlipped => "wedge-line-flipped",
            Self::WedgeLinePadded => "wedge-line-padded",
            Self::WedgeLineLate => "wedge-line-late",
            Self::WedgeLineUnplugged => "wedge-line-unplugged",
            Self::WedgeLineTransformer => "wedge-line-transformer",
            Self::BalancedJackDifference => "balanced-jack-difference",
            Self::MonoSubs => "mono-subs",
            Self::MonoSubsLineFlipped => "mono-subs-line-flipped",
            Self::Own => "own",
        }
    }

    /// The feed with that [`FeedId::id`].
    #[must_use]
    pub fn from_id(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|feed| feed.id() == id)
    }

    /// Whether this feed has no fault on a line and no wrong plug. A preset's outcome is the worst of these feeds only,
    /// because a flipped line takes the dry out of nearly every preset.
    #[must_use]
    pub fn is_faultless(self) -> bool {
        !self.has_fault() && self != Self::BalancedJackDifference
    }

    /// Whether one of the two lines has a fault, so that both must be tried.
    #[must_use]
    pub fn has_fault(self) -> bool {
        self.fault().is_some()
    }

    fn fault(self) -> Option<Line> {
        Some(match self {
            Self::WedgeLineFlipped | Self::MonoSubsLineFlipped => Line {
                polarity: Polarity::Flipped,
                ..Line::STRAIGHT
            },
            Self::WedgeLinePadded => Line {
                gain_db: -20.0,
                ..Line::STRAIGHT
            },
            Self::WedgeLineLate => Line {
                delay_s: 0.001,
                ..Line::STRAIGHT
            },
            Self::WedgeLineUnplugged => Line {
                unplugged: true,
                ..Line::STRAIGHT
            },
            Self::WedgeLineTransformer => {
                // 12:1 is −20·log10(12) dB.
                Line {
                    gain_db: -20.0 * 12f64.log10(),
                    high_pass_hz: [30.0, 0.0],
                    ..Line::STRAIGHT
                }
            }
            _ => return None,
        })
    }

    /// The feed that results from the player's own lines, with the fault (if this feed has one) on the side `faulty`.
    /// `own` is the user's own feed; it defines its own lines, so the player's are not put in front of it.
    #[must_use]
    pub fn build(self, lines: &Lines, law: SumLaw, faulty: Side, own: &Feed) -> Feed {
        let ending = match self {
            Self::StereoHouse => Ending::Stereo,
            Self::LeftLineOnly => Ending::One(Side::Left),
            Self::RightLineOnly => Ending::One(Side::Right),
            Self::BalancedJackDifference => Ending::Difference,
            Self::Own => return *own,
            _ => Ending::Sum(law),
        };
        let Lines { left, right } = self
            .fault()
            .map_or(*lines, |fault| lines.with_fault(faulty, &fault));
        let low_pass_hz = matches!(self, Self::MonoSubs | Self::MonoSubsLineFlipped).then_some(SUB_CORNER_HZ);
        Feed {
            left,
            right,
            ending,
            low_pass_hz,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_are_unique_and_found_again() {
        for feed in FeedId::ALL {
            assert_eq!(FeedId::from_id(feed.id()), Some(feed));
        }
        assert_eq!(FeedId::from_id("no such feed"), None);
    }

    #[test]
    fn a_fault_lands_on_the_side_asked_for() {
        let own = Feed::straight(Ending::Stereo);
        for side in Side::BOTH {
            let feed = FeedId::WedgeLineFlipped.build(&Lines::default(), SumLaw::Average, side, &own);
            assert_eq!(feed.left.amplitude() < 0.0, side == Side::Left);
            assert_eq!(feed.right.amplitude() < 0.0, side == Side::Right);
            assert_eq!(feed.recoverable_gain(), 1.0);
        }
    }

    #[test]
    fn the_gain_a_fader_can_give_back() {
        let own = Feed::straight(Ending::Stereo);
        let gain = |id: FeedId, law| {
            id.build(&Lines::default(), law, Side::Right, &own)
                .recoverable_gain()
        };
        assert_eq!(gain(FeedId::StereoHouse, SumLaw::Average), 1.0);
        assert_eq!(gain(FeedId::MonoWedge, SumLaw::Average), 1.0);
        assert_eq!(gain(FeedId::MonoWedge, SumLaw::Unity), 2.0);
        assert_eq!(gain(FeedId::LeftLineOnly, SumLaw::Unity), 1.0);
        assert_eq!(gain(FeedId::WedgeLineUnplugged, SumLaw::Average), 0.5);
        assert!((gain(FeedId::WedgeLinePadded, SumLaw::Average) - 0.55).abs() < 1e-12);
        assert_eq!(gain(FeedId::BalancedJackDifference, SumLaw::Average), 2.0);
    }
}
