//! The sentence: the verdict in words, from numbers, and calm.

use sumproof_core::routing::feed::FeedId;
use sumproof_core::score::outcome::Outcome;
use sumproof_core::score::scorer::FeedScore;
use sumproof_core::session::reading::Reading;
use sumproof_wording::Name;

/// What the sentence says of one feed: outcome, dry and wet in dB (dry of the total where no dry was found).
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
    fn of(reading: &Reading, id: FeedId) -> Option<Self> {
        let row = reading.row(id);
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
        let what = if self.whole { "sound" } else { "dry" };
        let dry = format!("the {what} {}", how_far(self.dry_db, self.at_floor));
        match self.wet_db {
            Some(wet_db) if how_far(wet_db, false) == how_far(self.dry_db, self.at_floor) => {
                format!("dry and wet {}", how_far(wet_db, false))
            }
            Some(wet_db) => format!("{dry}, the wet {}", how_far(wet_db, false)),
            None => dry,
        }
    }

    fn dry(&self) -> String {
        let what = if self.whole { "sound" } else { "dry" };
        format!("the {what} {}", how_far(self.dry_db, self.at_floor))
    }
}

/// Beyond this a sound is as good as gone, and a number would only pretend to know.
const FAR_DB: f64 = -40.0;

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

/// Everything the sentence hangs on.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Verdict {
    wedge: Gist,
    flipped: Gist,
    left: Gist,
    right: Gist,
}

impl Verdict {
    fn of(reading: &Reading) -> Option<Self> {
        Some(Self {
            wedge: Gist::of(reading, FeedId::MonoWedge)?,
            flipped: Gist::of(reading, FeedId::WedgeLineFlipped)?,
            left: Gist::of(reading, FeedId::LeftLineOnly)?,
            right: Gist::of(reading, FeedId::RightLineOnly)?,
        })
    }

    fn is_near(&self, other: &Self) -> bool {
        self.wedge.is_near(&other.wedge)
            && self.flipped.is_near(&other.flipped)
            && self.left.is_near(&other.left)
            && self.right.is_near(&other.right)
    }

    fn words(&self) -> String {
        let wedge = format!(
            "The mono wedge {}: {}.",
            self.wedge.outcome.name(),
            self.wedge.keeps()
        );
        let flipped = match (self.wedge.outcome, self.flipped.outcome) {
            (_, Outcome::Holds) => format!("With one line flipped it holds: {}.", self.flipped.dry()),
            (before, after) if before == after => {
                format!(
                    "With one line flipped it still {}: {}.",
                    after.name(),
                    self.flipped.dry()
                )
            }
            (_, after) => format!(
                "With one line flipped it {}: {}.",
                after.name(),
                self.flipped.dry()
            ),
        };
        format!("{wedge} {flipped} {}", self.single_line())
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
        match best.outcome {
            Outcome::Holds => format!("If only one line fits, give {name}."),
            Outcome::Thins if name == "either" => String::from("Either line alone thins."),
            Outcome::Thins => format!("Of single lines {name} is best, but it thins."),
            Outcome::DropsOut => String::from("Neither line alone is enough."),
        }
    }
}

/// Numbers may move so far before the sentence follows, dB.
const CALM_DB: f64 = 1.0;
/// And must have done so for this many readings on end.
const CALM_READINGS: u32 = 8;

/// The sentence as it's shown: it changes at once with an outcome, and with numbers only when they have moved by more than
/// 1 dB for a while.
#[derive(Clone, Debug, Default)]
pub struct Sentence {
    shown: Option<Verdict>,
    astray: u32,
    text: String,
}

impl Sentence {
    /// Takes a new reading; `heard` says whether there was ever one with sound.
    pub fn update(&mut self, reading: &Reading, heard: bool) {
        let Some(now) = Verdict::of(reading) else {
            *self = Self {
                text: String::from(if heard {
                    "No reading: it is silent. Play on and the verdict comes back."
                } else {
                    "Play something. What every listener gets of it will stand here."
                }),
                ..Self::default()
            };
            return;
        };
        let outcomes =
            |v: &Verdict| [v.wedge, v.flipped, v.left, v.right].map(|gist| (gist.outcome, gist.whole));
        match &self.shown {
            Some(shown) if shown.is_near(&now) => self.astray = 0,
            Some(shown) if outcomes(shown) == outcomes(&now) && self.astray < CALM_READINGS => {
                self.astray += 1
            }
            _ => {
                self.text = now.words();
                self.shown = Some(now);
                self.astray = 0;
            }
        }
    }

    /// The words.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use sumproof_core::split::interval::Interval;

    fn score(dry_db: Option<f64>, wet_db: Option<f64>, dry_at_floor: bool) -> FeedScore {
        FeedScore {
            dry: dry_db.map(Interval::measured),
            wet: wet_db.map(Interval::measured),
            balance: None,
            wet_if_ordinary_db: None,
            dry_db,
            dry_at_floor,
            wet_db,
            total_db: -1.0,
            balance_shift_db: None,
            dry_against_mono_db: None,
            total_against_mono_db: None,
            makeup_db: 0.0,
            level_lu: 0.0,
            tone_db: None,
            dip: None,
        }
    }

    fn reading(rows: &[(FeedId, Outcome, FeedScore)]) -> Reading {
        let mut reading = Reading::default();
        for id in FeedId::ALL {
            let row = &mut reading.rows[id as usize];
            row.outcome = Some(Outcome::Holds);
            row.score = Some(score(Some(0.0), Some(-3.01), false));
        }
        for &(id, outcome, score) in rows {
            let row = &mut reading.rows[id as usize];
            (row.outcome, row.score) = (Some(outcome), Some(score));
        }
        reading
    }

    fn said(reading: &Reading) -> String {
        let mut sentence = Sentence::default();
        sentence.update(reading, true);
        sentence.text().into()
    }

    #[test]
    fn an_ordinary_preset() {
        let text = said(&reading(&[
            (
                FeedId::WedgeLineFlipped,
                Outcome::DropsOut,
                score(Some(-21.0), Some(-3.0), true),
            ),
            (
                FeedId::LeftLineOnly,
                Outcome::Holds,
                score(Some(0.0), Some(0.0), false),
            ),
            (
                FeedId::RightLineOnly,
                Outcome::Holds,
                score(Some(0.0), Some(0.0), false),
            ),
        ]));
        assert_eq!(
            text,
            "The mono wedge holds: the dry untouched, the wet 3 dB down. With one line flipped it drops out: the dry \
             at least 20 dB down. If only one line fits, give either."
        );
    }

    #[test]
    fn a_flipped_channel() {
        let text = said(&reading(&[
            (
                FeedId::MonoWedge,
                Outcome::DropsOut,
                score(Some(f64::NEG_INFINITY), Some(-3.0), false),
            ),
            (
                FeedId::WedgeLineFlipped,
                Outcome::DropsOut,
                score(Some(f64::NEG_INFINITY), Some(-3.0), false),
            ),
            (
                FeedId::LeftLineOnly,
                Outcome::Thins,
                score(Some(-5.0), None, false),
            ),
        ]));
        assert_eq!(
            text,
            "The mono wedge drops out: the dry gone, the wet 3 dB down. With one line flipped it still drops out: the \
             dry gone. If only one line fits, give the right."
        );
    }

    #[test]
    fn wet_only_speaks_of_the_sound() {
        let text = said(&reading(&[
            (FeedId::MonoWedge, Outcome::Holds, score(None, Some(-3.0), false)),
            (
                FeedId::LeftLineOnly,
                Outcome::DropsOut,
                score(None, Some(-30.0), false),
            ),
            (
                FeedId::RightLineOnly,
                Outcome::DropsOut,
                score(None, Some(-30.0), false),
            ),
        ]));
        assert!(
            text.starts_with("The mono wedge holds: the sound 1 dB down. "),
            "{text}"
        );
        assert!(text.ends_with("Neither line alone is enough."), "{text}");
    }

    #[test]
    fn it_is_calm_about_numbers_and_quick_about_outcomes() {
        let wedge =
            |db: f64, outcome| reading(&[(FeedId::MonoWedge, outcome, score(Some(db), Some(-3.0), false))]);
        let mut sentence = Sentence::default();
        sentence.update(&wedge(-1.6, Outcome::Holds), true);
        let first = sentence.text().to_owned();
        // Wandering about the rounding edge, and a short excursion, change nothing.
        for step in 0..200 {
            let db = if step % 17 < 5 {
                -4.0
            } else if step % 2 == 0 {
                -1.4
            } else {
                -1.6
            };
            sentence.update(&wedge(db, Outcome::Holds), true);
            assert_eq!(sentence.text(), first);
        }
        for _ in 0..=CALM_READINGS {
            sentence.update(&wedge(-3.6, Outcome::Holds), true);
        }
        assert!(
            sentence.text().contains("the dry 4 dB down"),
            "{}",
            sentence.text()
        );
        sentence.update(&wedge(-3.7, Outcome::Thins), true);
        assert!(sentence.text().starts_with("The mono wedge thins"));
    }

    #[test]
    fn silence_is_no_verdict() {
        let mut sentence = Sentence::default();
        sentence.update(&Reading::default(), false);
        assert!(sentence.text().starts_with("Play something."));
        sentence.update(&Reading::default(), true);
        assert!(sentence.text().starts_with("No reading"));
        sentence.update(&reading(&[]), true);
        assert!(sentence.text().starts_with("The mono wedge holds"));
    }
}
