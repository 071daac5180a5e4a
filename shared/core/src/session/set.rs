//! A set: takes beside one another, their loudness and its spread.

use crate::dsp::db;
use crate::dsp::k_weighting;
use crate::score::board::Row;
use crate::session::take::Take;

/// The worst row: by [`Row::severity`], and among equal ones by how far its dry is down. Rows without a reading are left
/// out. `None` if none is left.
pub fn worst<'a>(rows: impl Iterator<Item = &'a Row>) -> Option<&'a Row> {
    let dry_db = |row: &Row| row.score.map_or(0.0, |score| score.evidence().dry_db.likely);
    rows.filter(|row| row.severity().is_some()).max_by(|a, b| {
        let by_outcome = a.severity().cmp(&b.severity());
        by_outcome.then(dry_db(b).total_cmp(&dry_db(a)))
    })
}

/// Reading of a mean square of 1, LUFS (ITU-R BS.1770-5, Annex 1, formula 2).
const OFFSET_DB: f64 = -0.691;

/// The spread of a figure over a set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// The lowest.
    pub lowest: f64,
    /// The median; for an even number the mean of the middle two.
    pub median: f64,
    /// The highest.
    pub highest: f64,
}

impl Spread {
    /// The spread of the finite ones among `figures`; `None` if there are none.
    #[must_use]
    pub fn of(figures: impl Iterator<Item = f64>) -> Option<Self> {
        let mut sorted: Vec<f64> = figures.filter(|figure| figure.is_finite()).collect();
        sorted.sort_unstable_by(f64::total_cmp);
        let (lowest, highest) = (*sorted.first()?, *sorted.last()?);
        let middle = sorted.len() / 2;
        let median = if sorted.len().is_multiple_of(2) {
            0.5 * (sorted[middle - 1] + sorted[middle])
        } else {
            sorted[middle]
        };
        Some(Self {
            lowest,
            median,
            highest,
        })
    }

    /// Highest minus lowest.
    #[must_use]
    pub fn range(&self) -> f64 {
        self.highest - self.lowest
    }
}

impl Take {
    /// Loudness of the whole take in stereo, LUFS: the K-weighted powers of both channels (ITU-R BS.1770-5, Annex 1),
    /// each counted once. Not gated: a take keeps spectra, not the blocks that gating needs, so a long tail or a pause
    /// lowers this against the integrated loudness of the same sound. −∞ for silence.
    #[must_use]
    pub fn ungated_lufs(&self) -> f64 {
        let grid = self.grid();
        let total = &self.split.total;
        let power: f64 = grid
            .centres_hz()
            .iter()
            .zip(total.ll.iter().zip(&total.rr))
            .map(|(&hz, (ll, rr))| k_weighting::power(hz, grid.rate_hz()) * (ll + rr))
            .sum();
        OFFSET_DB + db::from_power(power)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_spread_leaves_out_what_is_no_number() {
        let spread = Spread::of([-20.0, f64::NEG_INFINITY, -17.0, f64::NAN, -18.0, -19.0].into_iter());
        assert_eq!(
            spread,
            Some(Spread {
                lowest: -20.0,
                median: -18.5,
                highest: -17.0
            })
        );
        assert_eq!(spread.map(|spread| spread.range()), Some(3.0));
        assert_eq!(Spread::of([f64::NAN].into_iter()), None);
    }
}
