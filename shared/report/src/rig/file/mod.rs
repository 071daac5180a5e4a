//! The rig file: the two lines of a rig, the user's own feed, the limits and the texts of the rig card, as TOML.
//!
//! `docs/rig-file.md` describes it for those who write one. A value is accepted or refused, never adjusted: a value out
//! of its range is an error that gives the range, an unknown key one that gives the nearest known key.

mod error;
mod parse;
mod reader;
mod write;

use sumproof_core::routing::boxes::{DeskInput, InUse, Kind, Source, Whose};
use sumproof_core::routing::feed::{Ending, Feed, Lines, Side, SumLaw};
use sumproof_core::routing::line::{Line, Polarity};
use sumproof_core::score::outcome::Limits;
use sumproof_core::score::rig::Rig;

pub use error::RigFileError;
pub use parse::{LIMITS, parse};
pub(crate) use reader::tidy as one_line;
pub use write::to_toml;

/// Largest rig file, bytes: one is a page or two of text. A longer file is of another kind and is never read into
/// memory.
pub const LARGEST_BYTES: u64 = 1 << 20;

/// Longest texts, characters, and lists, entries: what fits on a card of one page.
pub mod lengths {
    /// `own.name`, `card.player`.
    pub const NAME: usize = 60;
    /// `card.rig`.
    pub const RIG: usize = 120;
    /// `card.left`, `card.right`.
    pub const CARRIES: usize = 80;
    /// `card.show`, `card.date`, `card.contact`, `card.position`, `card.connector`.
    pub const SHORT: usize = 30;
    /// `card.monitor`.
    pub const MONITOR: usize = 60;
    /// One of `card.notes`.
    pub const NOTE: usize = 120;
    /// `card.notes`.
    pub const NOTES: usize = 4;
    /// One of `card.at_risk`.
    pub const AT_RISK: usize = 100;
    /// `card.at_risk`: as many as the plugin stores takes.
    pub const AT_RISKS: usize = 128;
}

/// Corner of the low-pass of the user's own feed, Hz.
pub const LOW_PASS_HZ: core::ops::RangeInclusive<f64> = 20.0..=1000.0;
/// Peaks of loud playing, dBu.
pub const PEAK_DBU: core::ops::RangeInclusive<f64> = -60.0..=36.0;
/// Delay of a line, ms: [`sumproof_core::routing::line::limits::DELAY_S`].
pub const DELAY_MS: core::ops::RangeInclusive<f64> = 0.0..=30.0;

/// A rig file. The default is that of an empty file: two straight lines.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RigFile {
    /// `[left]`.
    pub left: RigLine,
    /// `[right]`.
    pub right: RigLine,
    /// `sum`: how feeds that sum add the lines.
    pub sum: SumLaw,
    /// `[source]`: the rig's outputs, both alike.
    pub source: Source,
    /// Whether `source.level_dbu` is in the file, so that the level is the rig's own and not the default.
    pub level_known: bool,
    /// `[own]`: the user's own feed.
    pub own: Option<OwnFeed>,
    /// `[limits]`.
    pub limits: Limits,
    /// `[card]`.
    pub card: CardTexts,
}

/// One line: its box, and further settings on top.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct RigLine {
    /// `box`; `None` if unknown.
    pub kind: Option<Kind>,
    /// `turns_ratio`: primary over secondary turns, for a passive direct box; `None` for the usual one.
    pub turns_ratio: Option<f64>,
    /// `input`: the input at the desk; `None` for the usual one with this box.
    pub input: Option<DeskInput>,
    /// `load_ohm`: impedance of the input at the desk, ohm; `None` for the usual one of such an input.
    pub load_ohm: Option<f64>,
    /// `phantom_power`: whether the box needs it; `None` for the usual need of the box.
    pub phantom_power: Option<bool>,
    /// `polarity`, on top of the box's.
    pub polarity: Polarity,
    /// `gain_db`, on top of the box's, dB.
    pub gain_db: f64,
    /// `delay_ms`, on top of the box's, ms.
    pub delay_ms: f64,
    /// `high_pass_hz`: corner of a first-order high-pass in place of the box's own, Hz; 0 for none.
    pub high_pass_hz: Option<f64>,
    /// `unplugged`: nothing arrives.
    pub unplugged: bool,
}

/// The user's own feed: its lines are described here and replace the rig's.
#[derive(Clone, Debug, PartialEq)]
pub struct OwnFeed {
    /// `name`: the feed's name in lists.
    pub name: String,
    /// `ending`, with `sum` of its own.
    pub ending: Ending,
    /// `low_pass_hz`: corner of a low-pass, for a feed of the low end only, Hz.
    pub low_pass_hz: Option<f64>,
    /// `[own.left]`.
    pub left: RigLine,
    /// `[own.right]`.
    pub right: RigLine,
}

/// The player's words on the rig card. Empty texts are left out.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct CardTexts {
    /// `player`.
    pub player: String,
    /// `rig`: instruments and processors.
    pub rig: String,
    /// `show`.
    pub show: String,
    /// `date`.
    pub date: String,
    /// `contact`.
    pub contact: String,
    /// `position`: on stage.
    pub position: String,
    /// `monitor`: the monitor wish.
    pub monitor: String,
    /// `connector`: the plug at the desk or stage box.
    pub connector: String,
    /// `boxes`: who brings them.
    pub boxes: Option<Whose>,
    /// `left`: what is sent on the left line.
    pub left: String,
    /// `right`: what is sent on the right line.
    pub right: String,
    /// `one_line`: the line to use when only one fits; `None`: the one the takes recommend, else the left.
    pub one_line: Option<Side>,
    /// `notes`.
    pub notes: Vec<String>,
    /// `at_risk`: presets to watch, each with the reason.
    pub at_risk: Vec<String>,
}

impl RigLine {
    /// The box, if there is one.
    #[must_use]
    pub fn in_use(&self) -> Option<InUse> {
        self.kind.map(|kind| InUse {
            kind,
            turns_ratio: self.turns_ratio,
            input: self.input,
            load_ohm: self.load_ohm,
            phantom_power: self.phantom_power,
        })
    }

    /// The line for the core, from outputs like `source`: the box, then the further settings.
    #[must_use]
    pub fn line(&self, source: &Source) -> Line {
        let own = self.in_use().map_or(Line::STRAIGHT, |one| one.line(source));
        let further = Line {
            polarity: self.polarity,
            gain_db: self.gain_db,
            delay_s: self.delay_ms / 1000.0,
            high_pass_hz: [0.0; 2],
            unplugged: self.unplugged,
        };
        Line {
            high_pass_hz: [self.high_pass_hz.unwrap_or(own.high_pass_hz[0]), 0.0],
            ..own.then(&further)
        }
    }
}

impl RigFile {
    /// The rig for the computation of feeds. For a file that was parsed, [`Rig::clamped`] changes nothing.
    #[must_use]
    pub fn rig(&self) -> Rig {
        let default = Rig::default();
        Rig {
            lines: Lines {
                left: self.left.line(&self.source),
                right: self.right.line(&self.source),
            },
            law: self.sum,
            own: self.own.as_ref().map_or(default.own, |own| Feed {
                left: own.left.line(&self.source),
                right: own.right.line(&self.source),
                ending: own.ending,
                low_pass_hz: own.low_pass_hz,
            }),
            limits: self.limits,
        }
    }

    /// The name of the user's own feed, if the file describes one.
    #[must_use]
    pub fn own_name(&self) -> Option<&str> {
        self.own.as_ref().map(|own| own.name.as_str())
    }
}
