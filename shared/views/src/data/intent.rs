//! What the player wants: emitted by the window, carried out by whoever owns the sound.

use sumproof_core::routing::boxes::Kind;
use sumproof_core::routing::feed::{FeedId, Side, SumLaw};
use sumproof_core::score::outcome::Limits;
use sumproof_core::session::take::Pass;
use sumproof_core::split::kind::PresetKind;

use crate::data::card::CardWords;
use crate::data::check::CheckWish;
use crate::data::look::Look;
use crate::data::own::{NameList, OwnFeed, PedalTask};
use crate::data::snapshot::Integration;

/// A parameter, without its value. One for each parameter of the host that the window can set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Control {
    /// Hear the chosen feed.
    Audition,
    /// The chosen feed.
    Feed,
    /// Polarity of a line.
    Polarity(Side),
    /// Gain of a line.
    Gain(Side),
    /// Delay of a line.
    Delay(Side),
    /// Transformer corner of a line.
    Corner(Side),
    /// Whether a line is unplugged.
    Unplugged(Side),
    /// Sum law.
    Law,
    /// Loudness match.
    LoudnessMatch,
    /// Integration time.
    Integration,
    /// Recording of a take.
    Record,
    /// What the next take contains.
    Pass,
    /// What the player says the preset is.
    Preset,
    /// Audition in bounces.
    AuditionInBounces,
    /// Phrases become takes.
    TakesByPhrase,
    /// Both lines held straight.
    Straight,
}

/// A parameter with its new value, within its range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Setting {
    /// Hear the chosen feed.
    Audition(bool),
    /// The chosen feed.
    Feed(FeedId),
    /// Flipped (`true`) or normal polarity of a line.
    Flipped(Side, bool),
    /// Gain of a line, dB.
    GainDb(Side, f32),
    /// Delay of a line, ms.
    DelayMs(Side, f32),
    /// Transformer corner of a line, Hz; 0 for none.
    CornerHz(Side, f32),
    /// Whether a line is unplugged.
    Unplugged(Side, bool),
    /// Sum law.
    Law(SumLaw),
    /// Loudness match.
    LoudnessMatch(bool),
    /// Integration time.
    Integration(Integration),
    /// A take is recorded while this is on.
    Record(bool),
    /// What the next take contains.
    Pass(Pass),
    /// What the player says the preset is.
    Preset(PresetKind),
    /// Audition goes on in bounces.
    AuditionInBounces(bool),
    /// Every phrase of some length becomes a take.
    TakesByPhrase(bool),
    /// Both lines are held straight, however they are set.
    Straight(bool),
}

impl Setting {
    /// The parameter this sets.
    #[must_use]
    pub fn control(&self) -> Control {
        match *self {
            Self::Audition(_) => Control::Audition,
            Self::Feed(_) => Control::Feed,
            Self::Flipped(side, _) => Control::Polarity(side),
            Self::GainDb(side, _) => Control::Gain(side),
            Self::DelayMs(side, _) => Control::Delay(side),
            Self::CornerHz(side, _) => Control::Corner(side),
            Self::Unplugged(side, _) => Control::Unplugged(side),
            Self::Law(_) => Control::Law,
            Self::LoudnessMatch(_) => Control::LoudnessMatch,
            Self::Integration(_) => Control::Integration,
            Self::Record(_) => Control::Record,
            Self::Pass(_) => Control::Pass,
            Self::Preset(_) => Control::Preset,
            Self::AuditionInBounces(_) => Control::AuditionInBounces,
            Self::TakesByPhrase(_) => Control::TakesByPhrase,
            Self::Straight(_) => Control::Straight,
        }
    }
}

/// Something the player wants.
///
/// Everything that is a parameter of the host goes through `Begin`, any number of `Set`, and `End`, so that the host can
/// record it as one gesture: auditioning and recording too. For one control, they come in that order and never nested;
/// a gesture may last over many frames.
#[derive(Clone, Debug, PartialEq)]
pub enum Intent {
    /// A gesture on a parameter begins.
    Begin(Control),
    /// A new value, within a gesture.
    Set(Setting),
    /// The gesture ends.
    End(Control),
    /// Forget the live average, the lowest value and the counts.
    Reset,
    /// Make a take of the phrase that was played last.
    TakePhrase,
    /// The names that takes get from now on.
    Names(NameList),
    /// The next pedal that goes down is for this task; `None` gives up.
    LearnPedal(Option<PedalTask>),
    /// This task has no pedal any more.
    ForgetPedal(PedalTask),
    /// Give the take at `index` this name (trimmed, not empty, at most 60 characters).
    RenameTake {
        /// Which one.
        index: usize,
        /// Its new name.
        name: String,
    },
    /// The preset of the take at `index` is of this kind.
    TakeKind {
        /// Which one.
        index: usize,
        /// What it is.
        kind: PresetKind,
    },
    /// Put the take at `from` in the place `to`.
    MoveTake {
        /// Which one.
        from: usize,
        /// The index it has afterwards.
        to: usize,
    },
    /// Delete the take at that index.
    DeleteTake(usize),
    /// Bring the take deleted last back.
    UndoDelete,
    /// Write all takes, the rig card and the rig file to files and say where ([`crate::Notices::message`]).
    ExportTakes,
    /// Read the takes and rig files the player has put where they are looked for, and say what came of it ([`crate::Notices::message`]).
    ImportTakes,
    /// The user's own feed is this from now on, every setting within its range.
    OwnFeed(OwnFeed),
    /// The player's words for the rig card are these from now on, as [`CardWords::tidy`] leaves them.
    Card(Box<CardWords>),
    /// The limits between the outcomes are these from now on, within their ranges.
    Limits(Limits),
    /// That box is on that line: to be remembered. What it makes of the line comes beside it as parameters.
    Box(Side, Option<Kind>),
    /// What is wanted of the line check.
    Check(CheckWish),
    /// The look changed (already applied to the window): keep it with the project.
    Look(Look),
}
