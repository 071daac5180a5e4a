//! The verdict in words, from numbers. Its first clause, on the mono wedge, is the same wherever it stands; the window goes on
//! with what a player asks next ([`Verdict`]), the report with every feed that doesn't hold ([`of_feeds`]).

use sumproof_core::routing::feed::FeedId;
use sumproof_core::score::board::Row;
use sumproof_core::score::outcome::{Limits, Outcome};
use sumproof_core::score::scorer::FeedScore;
use sumproof_core::session::reading::Reading;
use sumproof_core::split::interval::Interval;

use crate::Name;
use crate::scores::{self, NO_READING, NOTHING_ARRIVES, change, in_db};

/// Said before anything was heard.
pub const PLAY: &str = "Play something. What every listener gets of it will stand here.";
/// Said in silence, once something was heard.
pub const SILENT: &str = "No reading: it is silent. Play on and the verdict comes back.";
/// Said of a file or take without enough sound.
pub const TOO_LITTLE: &str = "No reading: there is too little sound to judge (below -80 dBFS).";

/// Numbers may move so far without changing what is said, dB.
pub const CALM_DB: f64 = 1.0;
/// Beyond this a sound is as good as gone, and a number would only pretend to know, dB.
const FAR_DB: f64 = -40.0;

/// What is said of one feed: outcome, dry and wet in dB (everything where no dry was found).
#[derive(Clone, Copy, Debug, PartialEq)]
struct Gist {
    outcome: Outcome,
    dry_db: f64,
    /// The dry is at least that far down.
    at_floor: bool,
    /// No dry was found: `dry_db` is everything's change.
    whole: bool,
    wet_db: Option<f64>,
}

impl Gist {
    fn of(row: &Row) -> Option<Self> {
        let (score, outcome) = (row.score?, row.outcome?);
        let FeedScore { dry_db, wet_db, .. } = score;
        Some(Self {
            outcome,
            dry_db: dry_db.unwrap_or(score.total_db),
            at_floor: dry_db.is_some() && score.dry_at_floor,
            whole: dry_db.is_none(),
            wet_db: wet_db.filter(|_| dry_db.is_some()),
        })
    }

    /// Whether the words would be the same but for small changes of numbers.
    fn is_near(&self, other: &Self) -> bool {
        let near = |a: f64, b: f64| a == b || (a - b).abs() <= CALM_DB || (a <= FAR_DB && b <= FAR_DB);
        self.outcome == other.outcome
            && self.at_floor == other.at_floor
            && self.whole == other.whole
            && near(self.dry_db, other.dry_db)
            && match (self.wet_db, other.wet_db) {
                (Some(a), Some(b)) => near(a, b),
                (a, b) => a.is_none() == b.is_none(),
            }
    }

    /// `all of the dry, the wet 3 dB down`.
    fn keeps(&self) -> String {
        match self.wet_db.map(|wet_db| how_far(wet_db, false)) {
            Some(wet) if wet == how_far(self.dry_db, self.at_floor) => format!("dry and wet {wet}"),
            Some(wet) => format!("{}, the wet {wet}", self.dry()),
            None => self.dry(),
        }
    }

    fn dry(&self) -> String {
        let what = if self.whole { "sound" } else { "dry" };
        format!("the {what} {}", how_far(self.dry_db, self.at_floor))
    }

    /// The clause every verdict begins with.
    fn of_wedge(&self) -> String {
        format!("The mono wedge {}: {}", self.outcome.name(), self.keeps())
    }
}

fn how_far(db: f64, at_floor: bool) -> String {
    if at_floor {
        return String::from("at least 20 dB down");
    }
    if db <= FAR_DB || db.is_nan() {
        return String::from("gone");
    }
    let whole = db.round();
    if whole == 0.0 {
        String::from("untouched")
    } else if whole < 0.0 {
        format!("{} dB down", -whole)
    } else {
        format!("{whole} dB up")
    }
}

/// What the window's verdict hangs on: the mono wedge, the same with one line flipped, and each line alone.
///
/// ```
/// use sumproof_core::session::reading::Reading;
/// use sumproof_wording::verdict::Verdict;
///
/// // Nothing was heard, so nothing is said.
/// assert!(Verdict::of(&Reading::default()).is_none());
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Verdict {
    wedge: Gist,
    flipped: Gist,
    left: Gist,
    right: Gist,
    one_flipped: bool,
}

impl Verdict {
    /// Of a reading; `None` without enough sound.
    #[must_use]
    pub fn of(reading: &Reading) -> Option<Self> {
        let gist = |id| Gist::of(reading.row(id));
        Some(Self {
            wedge: gist(FeedId::MonoWedge)?,
            flipped: gist(FeedId::WedgeLineFlipped)?,
            left: gist(FeedId::LeftLineOnly)?,
            right: gist(FeedId::RightLineOnly)?,
            one_flipped: false,
        })
    }

    /// The same where one of the player's lines is set to arrive flipped (polarity inverted): another flip puts that right.
    #[must_use]
    pub fn with_one_flipped(self, one_flipped: bool) -> Self {
        Self { one_flipped, ..self }
    }

    fn gists(&self) -> [&Gist; 4] {
        [&self.wedge, &self.flipped, &self.left, &self.right]
    }

    /// Whether the other says the same but for numbers within [`CALM_DB`].
    #[must_use]
    pub fn is_near(&self, other: &Self) -> bool {
        self.gists().iter().zip(other.gists()).all(|(a, b)| a.is_near(b))
    }

    /// Whether the other differs in numbers only.
    #[must_use]
    pub fn has_outcomes_of(&self, other: &Self) -> bool {
        self.gists()
            .iter()
            .zip(other.gists())
            .all(|(a, b)| (a.outcome, a.whole) == (b.outcome, b.whole))
    }

    /// Whether the same is known in both.
    #[must_use]
    pub fn knows_what(&self, other: &Self) -> bool {
        let known = |a: &Gist, b: &Gist| a.wet_db.is_none() == b.wet_db.is_none();
        self.gists().iter().zip(other.gists()).all(|(a, b)| known(a, b))
    }

    /// Three sentences: the wedge, one line flipped, one line alone.
    #[must_use]
    pub fn sentence(&self) -> String {
        let outcome = self.flipped.outcome;
        let still = if outcome != Outcome::Holds && outcome == self.wedge.outcome {
            "still "
        } else {
            ""
        };
        let flip = if self.one_flipped {
            "Once the flipped line is put right"
        } else {
            "With one line flipped"
        };
        format!(
            "{}. {flip} it {still}{}: {}. {}",
            self.wedge.of_wedge(),
            outcome.name(),
            self.flipped.dry(),
            self.single_line()
        )
    }

    fn single_line(&self) -> String {
        let (left, right) = (&self.left, &self.right);
        let better = |a: &Gist, b: &Gist| {
            a.outcome < b.outcome || (a.outcome == b.outcome && a.dry_db > b.dry_db + CALM_DB)
        };
        let (name, best) = if better(left, right) {
            ("the left", left)
        } else if better(right, left) {
            ("the right", right)
        } else {
            ("either", left)
        };
        // ‘The right’ alone would read as the correct one.
        let line = if name == "either" { "" } else { " line" };
        match best.outcome {
            Outcome::Holds => format!("If only one line fits, give {name}{line}."),
            Outcome::Thins if name == "either" => String::from("Either line alone thins."),
            Outcome::Thins => format!("Of single lines {name}{line} is best, but it thins."),
            Outcome::DropsOut => String::from("Neither line alone is enough."),
        }
    }
}

/// One line on a preset's feeds, each with its name: the mono wedge, what drops out, what thins, each with the figure that
/// decided, and how many hold. Says nothing from the correlation, which can't tell a padded or dead line from a good one.
///
/// ```
/// use sumproof_wording::verdict::{TOO_LITTLE, of_feeds};
///
/// assert_eq!(of_feeds(&[]), TOO_LITTLE);
/// ```
#[must_use]
pub fn of_feeds(feeds: &[(&Row, &str)]) -> String {
    let judged: Vec<(&Row, &str)> = feeds
        .iter()
        .copied()
        .filter(|(row, _)| row.outcome.is_some())
        .collect();
    if judged.is_empty() {
        return TOO_LITTLE.into();
    }
    let mut clauses = Vec::new();
    let wedge = judged.iter().find(|(row, _)| row.id == FeedId::MonoWedge);
    clauses.extend(
        wedge
            .and_then(|(row, _)| Gist::of(row))
            .map(|gist| gist.of_wedge()),
    );
    for (outcome, word) in [(Outcome::DropsOut, "Drops out"), (Outcome::Thins, "Thins")] {
        // Names hold commas of their own.
        let named: Vec<String> = judged
            .iter()
            .filter(|(row, _)| row.outcome == Some(outcome) && row.id != FeedId::MonoWedge)
            .map(|(row, name)| with_reason(row, name))
            .collect();
        if !named.is_empty() {
            clauses.push(format!("{word} in: {}", named.join("; ")));
        }
    }
    let held = judged
        .iter()
        .filter(|(row, _)| row.outcome == Some(Outcome::Holds))
        .count();
    if held == judged.len() {
        clauses.push(format!("Holds in all {held} feeds"));
    } else {
        clauses.push(format!("Holds in {held} of {} feeds", judged.len()));
    }
    format!("{}.", clauses.join(". "))
}

/// The feed with the figure that keeps it from holding.
fn with_reason(row: &Row, name: &str) -> String {
    let Some(score) = row.score else {
        return name.into();
    };
    let reason = if score.makeup_db == f64::INFINITY {
        NOTHING_ARRIVES.to_string()
    } else if row.outcome == Some(Outcome::DropsOut) {
        match score.dry_db {
            Some(_) => format!("dry {}", in_db(&scores::dry(&score))),
            None => format!("no dry found, all of it {}", in_db(&change(Some(score.total_db)))),
        }
    } else {
        format!("dry {}, {}", in_db(&scores::dry(&score)), colour(&score))
    };
    format!("{name} ({reason})")
}

/// The figure of colour that is further over its usual limit.
fn colour(score: &FeedScore) -> String {
    let usual = Limits::default();
    let likely = |figure: Option<Interval>| figure.map(|figure| figure.likely);
    let (tone, partials) = (likely(score.colour.tone_db), likely(score.colour.partials_db));
    match (tone, partials) {
        (tone, Some(partials)) if partials / usual.partials_db > tone.unwrap_or(0.0) / usual.tone_db => {
            format!("partials {partials:.1} dB rms")
        }
        (Some(tone), _) => format!("tone {tone:.1} dB rms"),
        (None, _) => format!("tone {NO_READING}"),
    }
}
