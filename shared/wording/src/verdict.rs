//! The verdict in words. Its first clause, on the mono wedge, is the same everywhere; the window continues with one
//! line flipped and one line alone ([`Verdict`]), the report with every feed that doesn't hold ([`of_feeds`]).

use sumproof_core::routing::feed::FeedId;
use sumproof_core::score::board::Row;
use sumproof_core::score::outcome::{Limits, Outcome};
use sumproof_core::score::scorer::FeedScore;
use sumproof_core::session::reading::Reading;
use sumproof_core::split::interval::Interval;

use crate::Name;
use crate::scores::{self, NO_READING, NOTHING_ARRIVES, change, in_db};

/// Before any sound.
pub const PLAY: &str = "Play something. What every listener gets of it will stand here.";
/// In silence, after there was sound.
pub const SILENT: &str = "No reading: it is silent. Play on and the verdict comes back.";
/// For a file or take without enough sound.
pub const TOO_LITTLE: &str = "No reading: there is too little sound to judge (below -80 dBFS).";

/// Largest change of a figure that doesn't change the sentence, dB.
pub const CALM_DB: f64 = 1.0;
/// Below this a sound is practically gone, and a figure would claim too much, dB.
pub(crate) const GONE_DB: f64 = -40.0;

/// An outcome with its certainty.
type Sure = sumproof_core::score::verdict::Verdict<Outcome>;

/// A row's outcome with its certainty; `None` without a reading.
fn sure(row: &Row) -> Option<Sure> {
    row.verdict.or(row.outcome.map(Sure::Plain))
}

/// The content for one feed: outcome, and the changes of dry and wet (of the total where no dry was found).
#[derive(Clone, Copy, Debug, PartialEq)]
struct Gist {
    outcome: Sure,
    /// The dry's change, dB.
    dry: Interval,
    /// The dry is at least this far down.
    at_floor: bool,
    /// No dry was found: `dry` is the total's change.
    whole: bool,
    wet: Option<Interval>,
}

impl Gist {
    fn of(row: &Row) -> Option<Self> {
        let (score, outcome) = (row.score?, sure(row)?);
        let dry = score.dry_db.and(score.dry);
        Some(Self {
            outcome,
            dry: dry.unwrap_or(Interval::measured(score.total_db)),
            at_floor: dry.is_some() && score.dry_at_floor,
            whole: dry.is_none(),
            wet: score.wet.filter(|_| dry.is_some() && score.wet_db.is_some()),
        })
    }

    /// Whether the sentences are the same except for small changes of figures.
    fn is_near(&self, other: &Self) -> bool {
        self.outcome == other.outcome
            && self.at_floor == other.at_floor
            && self.whole == other.whole
            && are_near(self.dry, other.dry)
            && match (self.wet, other.wet) {
                (Some(a), Some(b)) => are_near(a, b),
                (a, b) => a.is_none() == b.is_none(),
            }
    }

    /// `the dry untouched, the wet 3 dB down`, with figures as `say` writes them.
    fn keeps(&self, say: fn(Interval) -> String) -> String {
        match self.wet.map(say) {
            Some(wet) if wet == self.dry_alone(say) => format!("dry and wet {wet}"),
            Some(wet) => format!("{}, the wet {wet}", self.dry(say)),
            None => self.dry(say),
        }
    }

    fn dry(&self, say: fn(Interval) -> String) -> String {
        let what = if self.whole { "sound" } else { "dry" };
        format!("the {what} {}", self.dry_alone(say))
    }

    fn dry_alone(&self, say: fn(Interval) -> String) -> String {
        if self.at_floor {
            String::from("at least 20 dB down")
        } else {
            say(self.dry)
        }
    }

    /// The clause that every verdict begins with, with both ends of a figure.
    fn of_wedge(&self) -> String {
        let keeps = self.keeps(both_ends);
        match self.outcome {
            Sure::CannotTell => format!("Whether the mono wedge holds can't be told: {keeps}"),
            known => format!("The mono wedge {}: {keeps}", fares(known, "")),
        }
    }

    /// The same for the window, where ends would tick.
    fn of_wedge_live(&self) -> String {
        match self.outcome {
            Sure::CannotTell => String::from("Whether the mono wedge holds can't be told"),
            known => format!("The mono wedge {}: {}", fares(known, ""), self.keeps(about)),
        }
    }

    /// Order of single lines, the best first.
    fn rank(&self) -> u8 {
        match self.outcome.word() {
            Some(Outcome::Holds) => 0,
            Some(Outcome::Thins) => 1,
            None => 2,
            Some(Outcome::DropsOut) => 3,
        }
    }
}

/// `holds`, `probably holds, or it thins`; `still` precedes a plain outcome.
fn fares(outcome: Sure, still: &str) -> String {
    match outcome {
        Sure::Plain(word) => format!("{still}{}", word.name()),
        Sure::Likely { word, other } => format!("probably {}, or it {}", word.name(), other.name()),
        Sure::CannotTell => String::from("can't be told"),
    }
}

/// Whether two likely figures are close enough for the sentence not to change.
fn are_near(one: Interval, other: Interval) -> bool {
    let near = |a: f64, b: f64| a == b || (a - b).abs() <= CALM_DB || (a <= GONE_DB && b <= GONE_DB);
    near(one.likely, other.likely)
}

fn is_gone(db: f64) -> bool {
    db <= GONE_DB || db.is_nan()
}

/// A change in words: the likely figure, with `about` where the ends are apart.
fn about(change: Interval) -> String {
    let likely = change.likely.round();
    if is_gone(change.likely) {
        return String::from("gone");
    }
    if change.high - change.low <= CALM_DB {
        return one_figure(likely);
    }
    if likely == 0.0 {
        String::from("about untouched")
    } else {
        format!("about {}", one_figure(likely))
    }
}

/// A change in words: the likely figure where both ends are close together, otherwise both ends.
fn both_ends(change: Interval) -> String {
    if is_gone(change.high) {
        return String::from("gone");
    }
    let [low, likely, high] = [change.low, change.likely, change.high].map(f64::round);
    if change.high - change.low <= CALM_DB || low == high {
        return one_figure(likely);
    }
    let one_way = |less: f64, more: f64, way: &str| {
        if less == 0.0 {
            format!("up to {more} dB {way}")
        } else {
            format!("{less} to {more} dB {way}")
        }
    };
    if is_gone(change.low) {
        return if high < 0.0 {
            format!("{} dB down or more", -high)
        } else {
            format!("anything from {} to gone", one_figure(high))
        };
    }
    if high <= 0.0 {
        one_way(-high, -low, "down")
    } else if low >= 0.0 {
        one_way(low, high, "up")
    } else {
        format!("between {} dB down and {high} dB up", -low)
    }
}

fn one_figure(whole: f64) -> String {
    if whole == 0.0 {
        String::from("untouched")
    } else if whole < 0.0 {
        format!("{} dB down", -whole)
    } else {
        format!("{whole} dB up")
    }
}

/// The content of the window's verdict: the mono wedge, the wedge with one line flipped, and each line alone.
///
/// ```
/// use sumproof_core::session::reading::Reading;
/// use sumproof_wording::verdict::Verdict;
///
/// // Without sound there is no verdict.
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
    /// The verdict of a reading; `None` without enough sound.
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

    /// The same for a rig with one line set to arrive flipped (polarity inverted): another flip then puts it right.
    #[must_use]
    pub fn with_one_flipped(self, one_flipped: bool) -> Self {
        Self { one_flipped, ..self }
    }

    fn gists(&self) -> [&Gist; 4] {
        [&self.wedge, &self.flipped, &self.left, &self.right]
    }

    /// Whether the other verdict is the same except for figures within [`CALM_DB`].
    #[must_use]
    pub fn is_near(&self, other: &Self) -> bool {
        self.gists().iter().zip(other.gists()).all(|(a, b)| a.is_near(b))
    }

    /// Whether the other verdict differs in figures only.
    #[must_use]
    pub fn has_outcomes_of(&self, other: &Self) -> bool {
        self.gists()
            .iter()
            .zip(other.gists())
            .all(|(a, b)| (a.outcome, a.whole) == (b.outcome, b.whole))
    }

    /// Whether both verdicts have a figure of the wet for the same feeds.
    #[must_use]
    pub fn knows_what(&self, other: &Self) -> bool {
        let known = |a: &Gist, b: &Gist| a.wet.is_none() == b.wet.is_none();
        self.gists().iter().zip(other.gists()).all(|(a, b)| known(a, b))
    }

    /// Whether this says the same as the other, only surer: what was likely plainly, or what couldn't be told.
    #[must_use]
    pub fn is_only_surer_than(&self, other: &Self) -> bool {
        let how_sure = |gist: &Gist| match gist.outcome {
            Sure::Plain(_) => 2,
            Sure::Likely { .. } => 1,
            Sure::CannotTell => 0,
        };
        self.gists().iter().zip(other.gists()).all(|(now, before)| {
            let word = before.outcome.word();
            now.whole == before.whole
                && (word.is_none() || now.outcome.word() == word)
                && how_sure(now) >= how_sure(before)
        })
    }

    /// Three sentences: the wedge, one line flipped, one line alone. Likely outcomes are given with their alternative.
    #[must_use]
    pub fn sentence(&self) -> String {
        let outcome = self.flipped.outcome;
        let still = if outcome != Sure::Plain(Outcome::Holds) && outcome == self.wedge.outcome {
            "still "
        } else {
            ""
        };
        let flip = if self.one_flipped {
            "Once the flipped line is put right"
        } else {
            "With one line flipped"
        };
        let flipped = match outcome {
            Sure::CannotTell => fares(outcome, still),
            known => format!("{}: {}", fares(known, still), self.flipped.dry(about)),
        };
        format!(
            "{}. {flip} it {flipped}. {}",
            self.wedge.of_wedge_live(),
            self.single_line()
        )
    }

    fn single_line(&self) -> String {
        let (left, right) = (&self.left, &self.right);
        let better = |a: &Gist, b: &Gist| {
            a.rank() < b.rank() || (a.rank() == b.rank() && a.dry.likely > b.dry.likely + CALM_DB)
        };
        let (name, best) = if better(left, right) {
            ("the left", left)
        } else if better(right, left) {
            ("the right", right)
        } else {
            ("either", left)
        };
        // 'The right' alone would read as the correct one.
        let line = if name == "either" { "" } else { " line" };
        let is_plain = best.outcome.is_plain();
        let probably = if is_plain { "" } else { "probably " };
        match best.outcome.word() {
            Some(Outcome::Holds) if is_plain => format!("If only one line fits, give {name}{line}."),
            Some(Outcome::Holds) => format!("If only one line fits, give {name}{line}: it probably holds."),
            Some(Outcome::Thins) if name == "either" => format!("Either line alone {probably}thins."),
            Some(Outcome::Thins) => format!("Of single lines {name}{line} is best, but it {probably}thins."),
            Some(Outcome::DropsOut) if is_plain => String::from("Neither line alone is enough."),
            Some(Outcome::DropsOut) => String::from("Probably neither line alone is enough."),
            None => String::from("Whether one line alone is enough can't be told."),
        }
    }
}

/// One line on a preset's feeds with their names: the mono wedge, those that drop out, those that thin, each with the
/// deciding figure, and how many plainly hold; likely outcomes and those that can't be told are listed separately. It
/// doesn't use the correlation, which can't distinguish a padded or dead line from a good one.
///
/// ```
/// use sumproof_wording::verdict::{TOO_LITTLE, of_feeds};
///
/// assert_eq!(of_feeds(&[]), TOO_LITTLE);
/// ```
#[must_use]
pub fn of_feeds(feeds: &[(&Row, &str)]) -> String {
    let judged: Vec<(&Row, &str, Sure)> = feeds
        .iter()
        .filter_map(|&(row, name)| Some((row, name, sure(row)?)))
        .collect();
    if judged.is_empty() {
        return TOO_LITTLE.into();
    }
    let mut clauses = Vec::new();
    let wedge = judged.iter().find(|(row, ..)| row.id == FeedId::MonoWedge);
    clauses.extend(
        wedge
            .and_then(|(row, ..)| Gist::of(row))
            .map(|gist| gist.of_wedge()),
    );
    // An outcome, and whether it is plain.
    let is = |sure: &Sure, wanted: (Option<Outcome>, bool)| (sure.word(), sure.is_plain()) == wanted;
    for (words, wanted) in [
        ("Drops out", (Some(Outcome::DropsOut), true)),
        ("Probably drops out", (Some(Outcome::DropsOut), false)),
        ("Thins", (Some(Outcome::Thins), true)),
        ("Probably thins", (Some(Outcome::Thins), false)),
        ("Can't be told", (None, false)),
    ] {
        // Names may contain commas.
        let named: Vec<String> = judged
            .iter()
            .filter(|(row, _, sure)| is(sure, wanted) && row.id != FeedId::MonoWedge)
            .map(|(row, name, _)| with_reason(row, name))
            .collect();
        if !named.is_empty() {
            clauses.push(format!("{words} in: {}", named.join("; ")));
        }
    }
    let holding = |plain: bool| {
        let wanted = (Some(Outcome::Holds), plain);
        judged.iter().filter(|(.., sure)| is(sure, wanted)).count()
    };
    let held = holding(true);
    let probably = match holding(false) {
        0 => String::new(),
        more => format!(", probably in {more} more"),
    };
    clauses.push(match judged.len() {
        1 if held == 1 => String::from("Holds in the one feed asked for"),
        all if held == all => format!("Holds in all {all} feeds"),
        all => format!("Holds in {held} of {all} feeds{probably}"),
    });
    format!("{}.", clauses.join(". "))
}

/// The feed with the figure that prevents it from holding.
fn with_reason(row: &Row, name: &str) -> String {
    let Some(score) = row.score else {
        return name.into();
    };
    let is_plain = sure(row).is_some_and(Sure::is_plain);
    let reason = if row.outcome.is_none() {
        let what = if score.dry.is_some() { "dry" } else { "sound" };
        format!("{what} {}", both_ends(score.evidence().dry_db))
    } else if score.makeup_db == f64::INFINITY {
        NOTHING_ARRIVES.to_string()
    } else if row.outcome == Some(Outcome::DropsOut) {
        match score.dry_db {
            Some(_) => dry_of(&score, is_plain),
            None => format!("no dry found, all of it {}", in_db(&change(Some(score.total_db)))),
        }
    } else {
        format!("{}, {}", dry_of(&score, is_plain), colour(&score, is_plain))
    };
    format!("{name} ({reason})")
}

/// The dry's change: a figure where the outcome is plain, both ends where it is only likely.
fn dry_of(score: &FeedScore, is_plain: bool) -> String {
    match score.dry {
        Some(dry) if !is_plain => format!("dry {}", both_ends(dry)),
        _ => format!("dry {}", in_db(&scores::dry(score))),
    }
}

/// The colour figure that exceeds its default limit by more, with both ends where the outcome is only likely.
fn colour(score: &FeedScore, is_plain: bool) -> String {
    let usual = Limits::default();
    let of_limit = |figure: Option<Interval>, limit: f64| figure.map_or(0.0, |figure| figure.likely / limit);
    let said = |name: &str, figure: Interval| {
        if is_plain || figure.width() < 0.1 {
            format!("{name} {:.1} dB rms", figure.likely)
        } else {
            format!("{name} {:.1} to {:.1} dB rms", figure.low, figure.high)
        }
    };
    let (tone, partials) = (score.colour.tone_db, score.colour.partials_db);
    match (tone, partials) {
        (_, Some(partials))
            if of_limit(Some(partials), usual.partials_db) > of_limit(tone, usual.tone_db) =>
        {
            said("partials", partials)
        }
        (Some(tone), _) => said("tone", tone),
        (None, _) => format!("tone {NO_READING}"),
    }
}
