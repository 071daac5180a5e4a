//! The window's contents: plain data, filled by its owner.

use sumproof_core::dsp::numbers::to_single;
use sumproof_core::explain::margin::{DelayMargin, Map, PartMargin};
use sumproof_core::routing::feed::{FeedId, Lines, Side, SumLaw};
use sumproof_core::score::board::{FEEDS, Row};
use sumproof_core::score::outcome::Limits;
use sumproof_core::score::rig::Rig;
use sumproof_core::session::reading::Reading;
use sumproof_core::session::span::Over;
use sumproof_core::session::take::Pass;
use sumproof_core::split::Method;
use sumproof_core::split::kind::PresetKind;
use sumproof_wording::side_chain::SideChain;

use crate::data::card::CardWords;
use crate::data::check::LineCheck;
use crate::data::history::History;
use crate::data::own::{Boxes, NameList, OwnFeed, Passes, Pedals};

/// One line's settings, as plain numbers.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LineSettings {
    /// Polarity is flipped.
    pub flipped: bool,
    /// Gain, dB, within `sumproof_core::routing::line::limits::GAIN_DB`.
    pub gain_db: f32,
    /// Delay, ms, 0 to 30.
    pub delay_ms: f32,
    /// Corner of the line's transformer, Hz, 0 (none) to 200.
    pub corner_hz: f32,
    /// Nothing arrives through this line.
    pub unplugged: bool,
}

/// Averaging of the readings.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Integration {
    /// 0.3 s.
    Short,
    /// 1 s.
    Medium,
    /// 3 s.
    Long,
    /// The phrase.
    #[default]
    Phrase,
}

impl Integration {
    /// All of them, in the order of the host's list.
    pub const ALL: [Self; 4] = [Self::Short, Self::Medium, Self::Long, Self::Phrase];

    /// The name people read.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Short => "0.3 s",
            Self::Medium => "1 s",
            Self::Long => "3 s",
            Self::Phrase => "phrase",
        }
    }

    /// The time constant of the fast meters, s.
    #[must_use]
    pub fn seconds(self) -> f64 {
        match self {
            Self::Short => 0.3,
            Self::Medium | Self::Phrase => 1.0,
            Self::Long => 3.0,
        }
    }

    /// Averaging of the board and its curves.
    #[must_use]
    pub fn over(self) -> Over {
        match self {
            Self::Phrase => Over::Phrase,
            timed => Over::Seconds(timed.seconds()),
        }
    }
}

/// The present value of every parameter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// The host's bypass: nothing is analysed.
    pub bypass: bool,
    /// A feed is to be heard instead of stereo. Whether it is: [`Snapshot::hearing`].
    pub audition: bool,
    /// The feed chosen.
    pub feed: FeedId,
    /// The player's left line.
    pub left: LineSettings,
    /// The player's right line.
    pub right: LineSettings,
    /// How feeds that sum add the lines.
    pub law: SumLaw,
    /// Whether an audition is brought to the loudness of stereo.
    pub loudness_match: bool,
    /// Averaging of the readings.
    pub integration: Integration,
    /// Whether a take is being recorded.
    pub record: bool,
    /// Content of the next take.
    pub pass: Pass,
    /// The kind of preset set by the player.
    pub preset: PresetKind,
    /// Whether audition goes on while the host bounces or records.
    pub audition_in_bounces: bool,
    /// Whether every phrase of four seconds or more becomes a take.
    pub takes_by_phrase: bool,
    /// Whether both lines are held straight, however they are set.
    pub straight: bool,
}

impl Settings {
    /// Whether exactly one of the player's lines is set to arrive flipped.
    #[must_use]
    pub fn one_flipped(&self) -> bool {
        self.left.flipped != self.right.flipped
    }
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            bypass: false,
            audition: false,
            feed: FeedId::MonoWedge,
            left: LineSettings::default(),
            right: LineSettings::default(),
            law: SumLaw::Average,
            loudness_match: false,
            integration: Integration::default(),
            record: false,
            pass: Pass::Full,
            preset: PresetKind::NotSaid,
            audition_in_bounces: false,
            takes_by_phrase: false,
            straight: false,
        }
    }
}

impl Settings {
    /// The line on that side.
    #[must_use]
    pub fn line(&self, side: Side) -> &LineSettings {
        match side {
            Side::Left => &self.left,
            Side::Right => &self.right,
        }
    }
}

/// What is actually heard.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Hearing {
    /// The stereo input.
    #[default]
    Stereo,
    /// This feed.
    Feed(FeedId),
    /// Stereo, although audition is on, because the host bounces or records, or has not been seen to play in real time.
    HeldBack,
    /// Stereo, although the loaded state has audition on: the user has not switched it on since.
    Loaded,
    /// Silence: the line check holds the input back.
    Held,
    /// The line check's signal.
    Test,
}

/// Summary of one stored take.
#[derive(Clone, Debug, PartialEq)]
pub struct TakeSummary {
    /// Its name.
    pub name: String,
    /// Which pass it is.
    pub pass: Pass,
    /// Length, s.
    pub seconds: f64,
    /// Number of frames that were invalid and left out.
    pub invalid_frames: u64,
    /// Number of places where frames are missing.
    pub gaps: u64,
    /// How dry and wet were told apart.
    pub method: Method,
    /// The kind of preset set by the player.
    pub kind: PresetKind,
    /// Wet over dry in stereo, dB; `None` when silent.
    pub wet_over_dry_db: Option<f64>,
    /// Correlation of the whole take; `None` when silent.
    pub correlation: Option<f64>,
    /// Loudness of the whole take in stereo, LUFS, with no gate (`Take::ungated_lufs`); −∞ when silent.
    pub loudness_lufs: f64,
    /// Whether it is a pass that did not add up to the full one together with its other half.
    pub failed: bool,
    /// Every feed's figures for the present setting of the lines (`Take::rows`).
    pub rows: [Row; FEEDS],
}

/// Errors and unusual conditions.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Notices {
    /// The audio callback panicked: sound passes, measurement has stopped.
    pub panicked: bool,
    /// The analysis panicked: stored takes are safe, the readings have stopped.
    pub analysis_failed: bool,
    /// The project was saved by this newer version of the plugin; what this one does not know is kept.
    pub newer_state: Option<String>,
    /// Frames lost because the analysis could not keep up, since the plugin was created.
    pub lost_frames: u64,
    /// Invalid frames (not a number, or beyond +60 dBFS), since the plugin was created.
    pub invalid_frames: u64,
    /// Anything else worth one line, for example where a file was written.
    pub message: Option<String>,
}

/// Level over the delay between the lines, for the small map of the margin.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Margin {
    /// Delays computed, ms, rising.
    pub delay_ms: Vec<f32>,
    /// Change of the dry in the mono wedge at each, dB, both lines straight.
    pub straight_db: Vec<f32>,
    /// The same with one line flipped.
    pub flipped_db: Vec<f32>,
    /// The smallest delay that lowers the dry by 2 dB, ms; `None` is 'not reached'.
    pub reach_ms: Option<f32>,
}

impl From<&PartMargin> for Margin {
    fn from(part: &PartMargin) -> Self {
        let Map {
            straight_db,
            flipped_db,
        } = &part.map;
        Self {
            delay_ms: (0..straight_db.len())
                .map(|point| to_single(1e3 * Map::delay_s(point)))
                .collect(),
            straight_db: straight_db.to_vec(),
            flipped_db: flipped_db.to_vec(),
            reach_ms: match part.delay {
                DelayMargin::Reached { delay_s, .. } => Some(to_single(1e3 * delay_s)),
                DelayMargin::NotReached { .. } => None,
            },
        }
    }
}

/// The complete contents of the window.
#[derive(Clone, Debug, Default)]
pub struct Snapshot {
    /// The live reading. [`Reading::selected`] should be [`Settings::feed`].
    pub reading: Reading,
    /// The parameters.
    pub settings: Settings,
    /// What is actually heard now.
    pub hearing: Hearing,
    /// Correlation over the last 20 s, and the lowest recent value.
    pub history: History,
    /// Stored takes, in the player's order.
    pub takes: Vec<TakeSummary>,
    /// Name of the take deleted last, while it can still be restored.
    pub deleted: Option<String>,
    /// Errors and unusual conditions.
    pub notices: Notices,
    /// Why the feeds have their outcomes: the diagnosis, a line each, with its figures. May be empty.
    pub why: Vec<String>,
    /// What to do about it: advice, a line each. May be empty.
    pub what_now: Vec<String>,
    /// The margin, once it has been computed.
    pub margin: Option<Margin>,
    /// State of the side-chain; `None` where there is none.
    pub side_chain: Option<SideChain>,
    /// Whether the owner can write takes to a file and read them from one ([`crate::Intent::ExportTakes`],
    /// [`crate::Intent::ImportTakes`]).
    pub can_export: bool,
    /// The user's own feed.
    pub own: OwnFeed,
    /// The limits between the outcomes.
    pub limits: Limits,
    /// The kinds of box on the lines.
    pub boxes: Boxes,
    /// The player's words for the rig card.
    pub card: CardWords,
    /// The names for the takes to come.
    pub names: NameList,
    /// The foot pedals; `None` where a DAW assigns them.
    pub pedals: Option<Pedals>,
    /// The passes for an exact split of dry and wet.
    pub passes: Passes,
    /// The line check.
    pub check: LineCheck,
}

impl Settings {
    /// The rig with these settings; the user's own feed and the limits come from `base`.
    #[must_use]
    pub fn rig(&self, base: &Rig) -> Rig {
        use sumproof_core::routing::line::{Line, Polarity};
        let line = |line: &LineSettings| Line {
            polarity: if line.flipped {
                Polarity::Flipped
            } else {
                Polarity::Normal
            },
            gain_db: f64::from(line.gain_db),
            delay_s: f64::from(line.delay_ms) / 1000.0,
            high_pass_hz: [f64::from(line.corner_hz), 0.0],
            unplugged: line.unplugged,
        };
        let mut rig = *base;
        if self.straight {
            rig.lines = Lines::default();
        } else {
            rig.lines.left = line(&self.left);
            rig.lines.right = line(&self.right);
        }
        rig.law = self.law;
        rig.clamped()
    }
}
