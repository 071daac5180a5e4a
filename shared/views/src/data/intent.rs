//! The player's actions: emitted by the window, carried out by its owner.

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
    /// Whether the chosen feed is auditioned.
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
    /// Content of the next take.
    Pass,
    /// The kind of preset set by the player.
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
    /// Whether the chosen feed is auditioned.
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
    /// Content of the next take.
    Pass(Pass),
    /// The kind of preset set by the player.
    Preset(PresetKind),
    /// Audition goes on in bounces.
    AuditionInBounces(bool),
    /// Every phrase of four seconds or more becomes a take while this is on.
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

/// An action of the player.
///
/// Every change of a host parameter, auditioning and recording included, is a `Begin`, any number of `Set`, and an
/// `End`, so that the host can record it as one gesture. For one control they come in that order and are never nested;
/// a gesture may last over many frames.
#[derive(Clone, Debug, PartialEq)]
pub enum Intent {
    /// A gesture on a parameter begins.
    Begin(Control),
    /// A new value, within a gesture.
    Set(Setting),
    /// The gesture ends.
    End(Control),
    /// Reset the live average, the lowest value and the counts.
    Reset,
    /// Make a take of the last phrase.
    TakePhrase,
    /// Set the names of the takes to come.
    Names(NameList),
    /// Bind the next pedal that goes down to this task; `None` cancels.
    LearnPedal(Option<PedalTask>),
    /// Remove this task's pedal.
    ForgetPedal(PedalTask),
    /// Give the take at `index` this name (trimmed, not empty, at most 60 characters).
    RenameTake {
        /// Its index.
        index: usize,
        /// Its new name.
        name: String,
    },
    /// Set the kind of preset of the take at `index`.
    TakeKind {
        /// Its index.
        index: usize,
        /// The kind.
        kind: PresetKind,
    },
    /// Move the take at `from` to the place `to`.
    MoveTake {
        /// Its index.
        from: usize,
        /// Its index afterwards.
        to: usize,
    },
    /// Delete the take at that index.
    DeleteTake(usize),
    /// Restore the take deleted last.
    UndoDelete,
    /// Write all takes, the rig card and the rig file to files, and show where ([`crate::Notices::message`]).
    ExportTakes,
    /// Read the takes and rig files that the player has put into the import folder, and show the result
    /// ([`crate::Notices::message`]).
    ImportTakes,
    /// Set the user's own feed, every setting within its range.
    OwnFeed(OwnFeed),
    /// Set the words for the rig card, as [`CardWords::tidy`] leaves them.
    Card(Box<CardWords>),
    /// Set the limits between the outcomes, within their ranges.
    Limits(Limits),
    /// Remember the kind of box on a line. Its effect on the line is set by parameters beside this.
    Box(Side, Option<Kind>),
    /// A request to the line check.
    Check(CheckWish),
    /// The look changed (already applied to the window): store it with the project.
    Look(Look),
}
