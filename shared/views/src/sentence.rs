//! The verdict as the window shows it: it doesn't follow every number.

use sumproof_core::session::reading::Reading;
use sumproof_wording::verdict::{PLAY, SILENT, Verdict};

/// Numbers must have moved for this many readings on end before the sentence follows.
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
                text: String::from(if heard { SILENT } else { PLAY }),
                ..Self::default()
            };
            return;
        };
        match &self.shown {
            Some(shown) if shown.is_near(&now) => self.astray = 0,
            Some(shown) if shown.has_outcomes_of(&now) && self.astray < CALM_READINGS => self.astray += 1,
            _ => {
                self.text = now.sentence();
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
