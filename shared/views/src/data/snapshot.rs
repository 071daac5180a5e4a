//! What the window shows: plain data, filled by whoever owns the sound.

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
    /// Nothing arrives.
    pub unplugged: bool,
}

/// What the readings are averaged over.
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
    /// All of them, in the order hosts know them in.
    pub const ALL: [Self; 4] = [Self::Short, Self::Medium, Self::Long, Self::Phrase];

    /// What people read.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Short => "0.3 s",
            Self::Medium => "1 s",
            Self::Long => "3 s",
            Self::Phrase => "phrase",
        }
    }

    /// The time constant of what moves fast, seconds.
    #[must_use]
    pub fn seconds(self) -> f64 {
        match self {
            Self::Short => 0.3,
            Self::Medium | Self::Phrase => 1.0,
            Self::Long => 3.0,
        }
    }

    /// What the board and its curves are averaged over.
    #[must_use]
    pub fn over(self) -> Over {
        match self {
            Self::Phrase => Over::Phrase,
            timed => Over::Seconds(timed.seconds()),
        }
    }
}

/// Every parameter, as it stands now.
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
    /// An audition is brought to the loudness of stereo.
    pub loudness_match: bool,
    /// What the readings are averaged over.
    pub integration: Integration,
    /// A take is being recorded.
    pub record: bool,
    /// What the next take contains.
    pub pass: Pass,
    /// What the player says the preset is.
    pub preset: PresetKind,
    /// Audition goes on while the host bounces or records.
    pub audition_in_bounces: bool,
    /// Every phrase of some length becomes a take.
    pub takes_by_phrase: bool,
    /// Both lines are held straight, however they are set.
    pub straight: bool,
}

impl Settings {
    /// Whether one of the player's lines, and not the other, is set to arrive flipped.
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

/// What is really heard.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Hearing {
    /// The stereo that passes.
    #[default]
    Stereo,
    /// That feed.
    Feed(FeedId),
    /// Stereo, although audition is on, because the host bounces or records, or hasn't been seen to play in real time.
    HeldBack,
    /// Stereo, although the loaded state has audition on: nobody has switched it on since.
    Loaded,
    /// Nothing: the line check holds back what comes in.
    Held,
    /// The line check's signal.
    Test,
}

/// One stored take, in short.
#[derive(Clone, Debug, PartialEq)]
pub struct TakeSummary {
    /// What the player calls it.
    pub name: String,
    /// Which pass it is.
    pub pass: Pass,
    /// Length, seconds.
    pub seconds: f64,
    /// Frames that were invalid and left out.
    pub invalid_frames: u64,
    /// How often frames are missing in it.
    pub gaps: u64,
    /// How dry and wet were told apart.
    pub method: Method,
    /// What the player said the preset is.
    pub kind: PresetKind,
    /// Wet over dry in stereo, dB; `None` when silent.
    pub wet_over_dry_db: Option<f64>,
    /// Correlation of the whole take; `None` when silent.
    pub correlation: Option<f64>,
    /// Loudness of the whole of it in stereo, LUFS, with no gate (`Take::ungated_lufs`); −∞ when silent.
    pub loudness_lufs: f64,
    /// It is a pass that didn't make up the full one together with its other half.
    pub failed: bool,
    /// Every feed's figures for the lines as they are set now (`Take::rows`).
    pub rows: [Row; FEEDS],
}

/// What went wrong or is out of the ordinary.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Notices {
    /// The audio callback panicked: sound passes, nothing is measured any more.
    pub panicked: bool,
    /// The analysis panicked: stored takes are safe, the readings have stopped.
    pub analysis_failed: bool,
    /// The project was saved by this newer version of the plugin; what this one does not know is kept.
    pub newer_state: Option<String>,
    /// Frames lost because the analysis could not keep up, since the plugin was made.
    pub lost_frames: u64,
    /// Frames that were no sound (not a number, or beyond +60 dBFS), since the plugin was made.
    pub invalid_frames: u64,
    /// Anything else worth one line, for example where a file was written.
    pub message: Option<String>,
}

/// How level depends on a delay between the lines, for the small map of the margin.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Margin {
    /// Delays looked at, ms, rising.
    pub delay_ms: Vec<f32>,
    /// Change of the dry in the mono wedge at each, dB, both lines straight.
    pub straight_db: Vec<f32>,
    /// The same with one line flipped.
    pub flipped_db: Vec<f32>,
    /// The smallest delay that takes the dry 2 dB down, ms; `None` is 'not reached'.
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
                .map(|point| (1e3 * Map::delay_s(point)) as f32)
                .collect(),
            straight_db: straight_db.to_vec(),
            flipped_db: flipped_db.to_vec(),
            reach_ms: match part.delay {
                DelayMargin::Reached { delay_s, .. } => Some((1e3 * delay_s) as f32),
                DelayMargin::NotReached { .. } => None,
            },
        }
    }
}

/// Everything the window shows.
#[derive(Clone, Debug, Default)]
pub struct Snapshot {
    /// The live reading. [`Reading::selected`] should be [`Settings::feed`].
    pub reading: Reading,
    /// The parameters.
    pub settings: Settings,
    /// What is really heard now.
    pub hearing: Hearing,
    /// Correlation over the last 20 s, and the lowest recent value.
    pub history: History,
    /// Stored takes, in the player's order.
    pub takes: Vec<TakeSummary>,
    /// Name of the take deleted last, while it can still be brought back.
    pub deleted: Option<String>,
    /// Out of the ordinary.
    pub notices: Notices,
    /// Why the feeds come out as they do: diagnosis, a line each, with its figures. May be empty.
    pub why: Vec<String>,
    /// What to do about it: advice, a line each. May be empty.
    pub what_now: Vec<String>,
    /// The margin, once it's computed.
    pub margin: Option<Margin>,
    /// How the side-chain stands; `None` where there is none.
    pub side_chain: Option<SideChain>,
    /// The owner can write takes to a file and read them from one ([`crate::Intent::ExportTakes`],
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
    /// The names that takes get.
    pub names: NameList,
    /// What foot pedals do; `None` where a DAW sees to that.
    pub pedals: Option<Pedals>,
    /// The passes for an exact split of dry and wet.
    pub passes: Passes,
    /// The line check.
    pub check: LineCheck,
}

impl Settings {
    /// The rig these settings stand for; the user's own feed and the limits come from `base`.
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
