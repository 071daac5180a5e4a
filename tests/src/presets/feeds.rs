//! The accuracy of every feed's figures and outcomes, counted over presets.

use sumproof_core::routing::feed::Side;
use sumproof_core::score::balance::Balance;
use sumproof_core::score::board::{FEEDS, Row};
use sumproof_core::score::outcome::Limits;
use sumproof_core::score::verdict::Verdict;
use sumproof_core::split::interval::Interval;

use super::truth::{FeedTruth, Truth, judged};

/// Figures below this count as gone, true or found, dB.
const GONE_DB: f64 = -60.0;

/// Tolerance for rounding at the ends of an interval, dB.
const SLACK_DB: f64 = 0.05;

/// How often intervals contain the truth, and how wide they are.
#[derive(Clone, Debug, Default)]
pub struct Ends {
    /// Those that contain it.
    pub holds: Share,
    widths_db: Vec<f64>,
}

impl Ends {
    fn add(&mut self, found: Interval, true_db: f64) {
        // Gone is gone, however far down.
        let true_db = if true_db < GONE_DB {
            f64::NEG_INFINITY
        } else {
            true_db
        };
        let low = if found.low < GONE_DB {
            f64::NEG_INFINITY
        } else {
            found.low
        };
        self.holds
            .add(low <= true_db + SLACK_DB && true_db <= found.high.max(GONE_DB) + SLACK_DB);
        self.widths_db.push(found.width());
    }

    /// The median width, dB; open ends count as the widest.
    #[must_use]
    pub fn median_db(&self) -> Option<f64> {
        let mut widths = self.widths_db.clone();
        widths.sort_by(f64::total_cmp);
        widths.get(widths.len() / 2).copied()
    }
}

impl std::fmt::Display for Ends {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.median_db() {
            None => f.pad("-"),
            Some(width) if width.is_finite() => f.pad(&format!("{}, {width:.2} dB", self.holds)),
            Some(_) => f.pad(&format!("{}, open", self.holds)),
        }
    }
}

/// A share of a count.
#[derive(Clone, Copy, Debug, Default)]
pub struct Share {
    /// The number that counts.
    pub count: usize,
    /// The total number.
    pub of: usize,
}

impl Share {
    /// Adds one, which counts or not.
    pub fn add(&mut self, counts: bool) {
        self.of += 1;
        self.count += usize::from(counts);
    }
}

impl std::fmt::Display for Share {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if self.of == 0 {
            return f.pad("-");
        }
        let percent = 100.0 * self.count as f64 / self.of as f64;
        f.pad(&format!("{percent:.1} % ({} of {})", self.count, self.of))
    }
}

/// The counts.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    /// Dry, wet and balance within 0.1 dB of the truth, and within 0.3 dB.
    pub within: [Share; 2],
    /// Outcomes that are right, and those that are wrong by two steps.
    pub words: [Share; 2],
    /// Plain outcomes, and the right ones among them.
    pub plain: [Share; 2],
    /// Partials on the same side of the limit as the true dry's, and within 1 dB of them.
    pub partials: [Share; 2],
    /// The dry's intervals: of presets with one dry, and of others.
    pub dry_ends: [Ends; 2],
    /// The wet's intervals: of presets with a muted ending, and of others.
    pub wet_ends: [Ends; 2],
    /// Plain balances, and the right ones among them.
    pub balance: [Share; 2],
}

/// The class of a preset, for the counts.
#[derive(Clone, Copy, Debug, Default)]
pub struct Sort {
    /// Its dry has one direction.
    pub one_dry: bool,
    /// Its strings are muted at the end.
    pub muted_end: bool,
}

impl Tally {
    /// Adds a preset's rows.
    pub fn add(&mut self, truth: &Truth, rows: &[Row; FEEDS], limits: &Limits, sort: Sort) {
        for id in judged() {
            let row = &rows[id as usize];
            let Some(score) = row.score else { continue };
            let true_feed = truth.of(id, row.worse.unwrap_or(Side::Left));
            self.figures([score.dry_db, score.wet_db, score.balance_shift_db], true_feed);
            if let Some(dry) = score.dry {
                self.dry_ends[usize::from(!sort.one_dry)].add(dry, true_feed.dry_db);
            }
            if let (Some(wet), Some(true_db)) = (score.wet, true_feed.wet_db) {
                self.wet_ends[usize::from(!sort.muted_end)].add(wet, true_db);
            }
            if let (Some(balance), Some(true_db)) = (row.balance, true_feed.balance_db()) {
                self.balance[0].add(balance.is_plain());
                if let (true, Some(word)) = (balance.is_plain(), balance.word()) {
                    self.balance[1].add(word == Balance::word(true_db, limits));
                }
            }
            if let Some(word) = row.outcome {
                let true_word = truth.word(id, limits);
                self.words[0].add(word == true_word);
                self.words[1].add((word as isize - true_word as isize).abs() >= 2);
            }
            let plain = row.verdict.is_some_and(Verdict::is_plain);
            self.plain[0].add(plain);
            if let (true, Some(word)) = (plain, row.outcome) {
                self.plain[1].add(word == truth.word(id, limits));
            }
            if let (Some(found), Some(true_db)) = (score.colour.partials_db, true_feed.partials_db) {
                self.partials[0].add((found.likely > limits.partials_db) == (true_db > limits.partials_db));
                self.partials[1].add((found.likely - true_db).abs() <= 1.0);
            }
        }
    }

    fn figures(&mut self, found: [Option<f64>; 3], truth: &FeedTruth) {
        let true_figures = [Some(truth.dry_db), truth.wet_db, truth.balance_db()];
        for (found, truth) in found.into_iter().zip(true_figures) {
            let (Some(found), Some(truth)) = (found, truth) else {
                continue;
            };
            // With a part gone there is no balance.
            if truth.abs() > -GONE_DB && found.abs() > -GONE_DB {
                continue;
            }
            for (share, allowed_db) in self.within.iter_mut().zip([0.1, 0.3]) {
                share.add((found - truth).abs() <= allowed_db);
            }
        }
    }
}
