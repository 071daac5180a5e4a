//! The verdict in the window, which does not follow every change of a number.

use sumproof_core::session::reading::Reading;
use sumproof_wording::verdict::{PLAY, SILENT, Verdict};

/// Shortest time between two sentences, and time for which numbers must have moved before the sentence follows, s.
const CALM_S: f64 = 1.0;

/// Time for which everything must have been as sure or surer before the sentence says so while the player plays, s.
const SURER_S: f64 = 10.0;

/// The sentence shown: it changes with an outcome, and with numbers only when they have moved by more than 1 dB for a
/// while; at most once a second.
#[derive(Clone, Debug, Default)]
pub struct Sentence {
    shown: Option<Verdict>,
    shown_at_s: f64,
    /// Time since which the numbers have been elsewhere, s.
    astray_s: Option<f64>,
    /// One of the player's lines is set to arrive flipped.
    one_flipped: bool,
    text: String,
}

impl Sentence {
    /// Sets whether exactly one of the player's lines is set to arrive flipped.
    pub fn set_one_flipped(&mut self, one_flipped: bool) {
        if one_flipped != self.one_flipped {
            *self = Self {
                one_flipped,
                ..Self::default()
            };
        }
    }

    /// Takes a reading at a time, s; `heard` says whether there has ever been one with sound.
    pub fn update(&mut self, reading: &Reading, heard: bool, now_s: f64) {
        let Some(now) = Verdict::of(reading) else {
            *self = Self {
                text: String::from(if heard { SILENT } else { PLAY }),
                one_flipped: self.one_flipped,
                ..Self::default()
            };
            return;
        };
        let now = now.with_one_flipped(self.one_flipped);
        let is_due = match &self.shown {
            None => true,
            Some(shown) if shown.is_near(&now) => {
                self.astray_s = None;
                false
            }
            Some(shown) => {
                let astray_s = *self.astray_s.get_or_insert(now_s);
                // A figure that becomes known or unknown is not a number that moves.
                let is_same = shown.has_outcomes_of(&now);
                let since_s = if is_same && shown.knows_what(&now) {
                    astray_s.max(self.shown_at_s)
                } else {
                    self.shown_at_s
                };
                // Doubt is said at once, and that it is gone only where it stays away or nothing more comes.
                if !is_same && reading.phrase.playing && now.is_only_surer_than(shown) {
                    now_s - astray_s >= SURER_S
                } else {
                    now_s - since_s >= CALM_S
                }
            }
        };
        if is_due {
            self.text = now.sentence();
            self.shown = Some(now);
            self.shown_at_s = now_s;
            self.astray_s = None;
        }
    }

    /// Whether a new sentence waits until this one has been shown long enough.
    #[must_use]
    pub fn is_waiting(&self) -> bool {
        self.astray_s.is_some()
    }

    /// The words.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }
}

#[cfg(test)]
mod tests {
    use sumproof_core::routing::feed::FeedId;
    use sumproof_core::score::outcome::Outcome;
    use sumproof_core::score::scorer::FeedScore;

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
            colour: sumproof_core::score::colour::Colour::default(),
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

    #[test]
    fn it_is_calm_about_numbers_and_quick_about_outcomes() {
        let wedge =
            |db: f64, outcome| reading(&[(FeedId::MonoWedge, outcome, score(Some(db), Some(-3.0), false))]);
        let mut sentence = Sentence::default();
        sentence.update(&wedge(-1.6, Outcome::Holds), true, 0.0);
        let first = sentence.text().to_owned();
        // Small changes around the rounding limit, and a short excursion, change nothing.
        for step in 0..200 {
            let db = if step % 17 < 5 {
                -4.0
            } else if step % 2 == 0 {
                -1.4
            } else {
                -1.6
            };
            sentence.update(&wedge(db, Outcome::Holds), true, 0.1 * f64::from(step));
            assert_eq!(sentence.text(), first);
        }
        for step in 0..=10 {
            sentence.update(&wedge(-3.6, Outcome::Holds), true, 30.0 + 0.1 * f64::from(step));
        }
        assert!(
            sentence.text().contains("the dry 4 dB down"),
            "{}",
            sentence.text()
        );
        // A new outcome is shown at once, but not a second one within a second.
        sentence.update(&wedge(-3.7, Outcome::Thins), true, 40.0);
        sentence.update(&wedge(-3.7, Outcome::Holds), true, 40.5);
        assert!(sentence.text().starts_with("The mono wedge thins"));
    }

    #[test]
    fn silence_is_no_verdict() {
        let mut sentence = Sentence::default();
        sentence.update(&Reading::default(), false, 0.0);
        assert!(sentence.text().starts_with("Play something."));
        sentence.update(&Reading::default(), true, 0.0);
        assert!(sentence.text().starts_with("No reading"));
        sentence.update(&reading(&[]), true, 0.0);
        assert!(sentence.text().starts_with("The mono wedge holds"));
    }
}
