//! The player's setup beside the parameters: the boxes on the lines, his own feed, names, pedals, the passes in
//! progress.

use sumproof_core::routing::boxes::{InUse, Kind, Source};
use sumproof_core::routing::feed::{Feed, FeedId, Side};
use sumproof_core::routing::line::Line;
use sumproof_core::score::rig::Rig;
use sumproof_core::session::take::Pass;
use sumproof_wording::Name;

/// The user's own feed with its name.
#[derive(Clone, Debug, PartialEq)]
pub struct OwnFeed {
    /// Its name, at most [`OwnFeed::LONGEST_NAME`] characters; empty for 'your own feed'.
    pub name: String,
    /// The feed.
    pub feed: Feed,
}

impl Default for OwnFeed {
    fn default() -> Self {
        Self {
            name: String::new(),
            feed: Rig::default().own,
        }
    }
}

impl OwnFeed {
    /// Longest name, characters.
    pub const LONGEST_NAME: usize = 40;

    /// The name to show; never empty.
    #[must_use]
    pub fn name(&self) -> &str {
        let name = self.name.trim();
        if name.is_empty() { FeedId::Own.name() } else { name }
    }

    /// Whether the player has set it up: it has a name, or differs from the default.
    #[must_use]
    pub fn is_defined(&self) -> bool {
        !self.name.trim().is_empty() || self.feed != Rig::default().own
    }

    /// Its line on that side.
    #[must_use]
    pub fn line(&self, side: Side) -> &Line {
        match side {
            Side::Left => &self.feed.left,
            Side::Right => &self.feed.right,
        }
    }

    /// The same, for changes.
    pub fn line_mut(&mut self, side: Side) -> &mut Line {
        match side {
            Side::Left => &mut self.feed.left,
            Side::Right => &mut self.feed.right,
        }
    }
}

/// The kind of box on each line; `None` where the line was set by hand.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Boxes {
    /// On the left line.
    pub left: Option<Kind>,
    /// On the right line.
    pub right: Option<Kind>,
}

impl Boxes {
    /// The box on one line.
    #[must_use]
    pub fn on(self, side: Side) -> Option<Kind> {
        match side {
            Side::Left => self.left,
            Side::Right => self.right,
        }
    }
}

/// The settings of a line through a usual box of this kind, fed from such an output (`core::routing::boxes`).
#[must_use]
pub fn line_through(kind: Option<Kind>, source: &Source) -> Line {
    kind.map_or(Line::STRAIGHT, |kind| InUse::usual(kind).line(source).clamped())
}

/// The names for the takes to come, in playing order.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct NameList {
    /// All names.
    pub names: Vec<String>,
    /// Index of the next name; the number of names when all are used.
    pub next: usize,
    /// The name from a program change, used instead until another one comes or a name is chosen.
    pub of_program: Option<String>,
}

impl NameList {
    /// A list from a text: one name per line, empty lines left out.
    #[must_use]
    pub fn from_text(text: &str) -> Self {
        let names = text.lines().map(str::trim).filter(|name| !name.is_empty());
        Self {
            names: names.map(String::from).collect(),
            next: 0,
            of_program: None,
        }
    }

    /// The name of the next take, if a program or the list supplies one.
    #[must_use]
    pub fn next_name(&self) -> Option<&str> {
        let listed = || self.names.get(self.next).map(String::as_str);
        self.of_program.as_deref().or_else(listed)
    }
}

/// The tasks a foot pedal can have in the stand-alone program.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PedalTask {
    /// Start recording a take; pressed again, keep it.
    Record,
    /// Make a take of the last phrase.
    TakePhrase,
    /// Skip the next name.
    NextName,
    /// Hold both lines straight; pressed again, release them.
    Straight,
    /// Choose the next feed.
    Feed,
    /// Audition it; pressed again, back to stereo.
    Audition,
}

impl PedalTask {
    /// All tasks.
    pub const ALL: [Self; 6] = [
        Self::Record,
        Self::TakePhrase,
        Self::NextName,
        Self::Straight,
        Self::Feed,
        Self::Audition,
    ];

    /// The stable name in files.
    #[must_use]
    pub fn id(self) -> &'static str {
        match self {
            Self::Record => "record",
            Self::TakePhrase => "take-phrase",
            Self::NextName => "next-name",
            Self::Straight => "lines-straight",
            Self::Feed => "feed",
            Self::Audition => "audition",
        }
    }

    /// The name people read.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Record => "record a take",
            Self::TakePhrase => "take the phrase",
            Self::NextName => "next name",
            Self::Straight => "lines straight",
            Self::Feed => "next feed",
            Self::Audition => "hear it",
        }
    }
}

/// The pedals of the stand-alone program.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Pedals {
    /// The message of each task's pedal, in words, in the order of [`PedalTask::ALL`].
    pub bound: [Option<String>; PedalTask::ALL.len()],
    /// The task whose pedal is being learnt.
    pub learning: Option<PedalTask>,
}

/// The passes for an exact split of dry and wet.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Passes {
    /// Name of the full pass that waits for the other two.
    pub full: Option<String>,
    /// Name of the dry pass that waits for its partners.
    pub dry: Option<String>,
    /// Name of the wet pass that waits for its partners.
    pub wet: Option<String>,
    /// Whether they are being compared now.
    pub working: bool,
    /// Result of the last comparison, one line.
    pub said: Option<String>,
    /// The bands in which the passes did not add up to the full one, Hz: lower and upper edge of each, rising.
    pub failing: Vec<[f32; 2]>,
}

impl Passes {
    /// The passes in recording order.
    pub const ORDER: [Pass; 3] = [Pass::Dry, Pass::Wet, Pass::Full];

    /// The name of that pass, if it has been recorded.
    #[must_use]
    pub fn of(&self, pass: Pass) -> Option<&str> {
        match pass {
            Pass::Full => self.full.as_deref(),
            Pass::Dry => self.dry.as_deref(),
            Pass::Wet => self.wet.as_deref(),
        }
    }

    /// The pass to record next; `None` when all are there.
    #[must_use]
    pub fn next(&self) -> Option<Pass> {
        Self::ORDER.into_iter().find(|&pass| self.of(pass).is_none())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_feed_without_a_name_is_called_something() {
        let mut own = OwnFeed::default();
        assert_eq!(own.name(), "your own feed");
        own.name = " side fill ".into();
        assert_eq!(own.name(), "side fill");
    }

    #[test]
    fn boxes_make_lines_that_can_be_set() {
        let usual = Source::default();
        assert_eq!(line_through(None, &usual), Line::STRAIGHT);
        for kind in Kind::ALL {
            let line = line_through(Some(kind), &usual);
            assert_eq!(line, line.clamped());
            assert!(!line.unplugged);
        }
        // A 12:1 transformer, roughly: the level at the desk is much lower.
        assert!(line_through(Some(Kind::PassiveDirectBox), &usual).gain_db < -15.0);
    }

    #[test]
    fn dry_comes_first_then_wet_then_full() {
        let mut passes = Passes::default();
        assert_eq!(passes.next(), Some(Pass::Dry));
        passes.dry = Some("a".into());
        assert_eq!(passes.next(), Some(Pass::Wet));
        passes.wet = Some("b".into());
        assert_eq!(passes.next(), Some(Pass::Full));
        passes.full = Some("c".into());
        assert_eq!(passes.next(), None);
    }
}
