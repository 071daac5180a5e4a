//! Intervals of a feed's changes from what is known of dry and wet.

use super::bounds::{Bounds, Closed};
use crate::dsp::db;
use crate::split::interval::{Interval, Known};

/// No dry's interval is narrower where it has no one direction, dB.
const NARROWEST_DB: f64 = 1.0;

/// A wet while it is played may lie differently from its tail by this, dB.
const TAIL_DB: f64 = 0.7;

/// Dry and wet of a partial help or hinder each other; over a whole sound what is left of it is at most this share of the root of
/// their powers' product.
const TOGETHER: f64 = 0.1;

/// What a feed makes of a power of 1 (both channels together) that lies in the pair in some way, the gain to make up taken
/// out: `p = left·(1 + q)/2 + right·(1 − q)/2 + (re·u + im·v)/2`, times two, is the change as a power ratio.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct FeedWeights {
    /// Of the left channel's power.
    pub left: f64,
    /// Of the right one's.
    pub right: f64,
    /// Of what is in phase.
    pub re: f64,
    /// Of what is in quadrature.
    pub im: f64,
}

impl FeedWeights {
    /// The change, as a power ratio, of what lies so.
    #[must_use]
    pub fn of(&self, [q, u, v]: [f64; 3]) -> f64 {
        (self.left * (1.0 + q) + self.right * (1.0 - q) + self.re * u + self.im * v).max(0.0)
    }

    /// The least and the largest change of what has a direction within a tolerance of an angle.
    fn within(&self, angle_rad: f64, tolerance_rad: f64) -> [f64; 2] {
        // In twice the angle it is a mean and a cosine.
        let (mean, a, b) = (self.left + self.right, self.left - self.right, self.re);
        let size = a.hypot(b);
        let top = b.atan2(a);
        let at = |double: f64| (mean + size * (double - top).cos()).max(0.0);
        let (from, to) = (
            2.0 * (angle_rad - tolerance_rad),
            2.0 * (angle_rad + tolerance_rad),
        );
        let (one, other) = (at(from), at(to));
        let passes = |double: f64| {
            let ahead = (double - from).rem_euclid(core::f64::consts::TAU);
            ahead <= to - from
        };
        let low = if passes(top + core::f64::consts::PI) {
            (mean - size).max(0.0)
        } else {
            one.min(other)
        };
        let high = if passes(top) { mean + size } else { one.max(other) };
        [low, high]
    }

    /// The least and the largest change of anything.
    fn ends(&self) -> [f64; 2] {
        let mean = self.left + self.right;
        let size = ((self.left - self.right).powi(2) + self.re * self.re + self.im * self.im).sqrt();
        [(mean - size).max(0.0), mean + size]
    }

    /// The dry's change as a power ratio: at least, and at most. `likely` is the Stokes parameters of the likely dry.
    #[must_use]
    pub fn dry(&self, bounds: &Bounds, likely: [f64; 3]) -> [f64; 2] {
        let ends = self.ends();
        let mut range: Option<[f64; 2]> = None;
        let mut widen = |[low, high]: [f64; 2]| {
            let found = range.get_or_insert([low, high]);
            *found = [found[0].min(low), found[1].max(high)];
        };
        for way in &bounds.ways[..bounds.count] {
            widen(self.within(way.angle_rad, way.tolerance_rad));
        }
        if let Some(error) = bounds.error {
            let slopes = [self.left - self.right, self.re, self.im];
            let off = slopes
                .iter()
                .zip(error)
                .map(|(s, e)| (s * e).powi(2))
                .sum::<f64>()
                .sqrt();
            let change = self.of(likely);
            let least = db::to_power(0.5 * NARROWEST_DB);
            widen([
                (change - off).min(change / least).max(ends[0]),
                (change + off).max(change * least).min(ends[1]),
            ]);
        }
        range.unwrap_or(ends)
    }
}

/// A feed's changes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PartChanges {
    /// Of the dry, dB.
    pub dry: Interval,
    /// Of the wet, dB.
    pub wet: Interval,
    /// Wet less dry, dB.
    pub balance: Interval,
}

/// The wet's power, at least and at most, in a sum of which this much is dry: `sum = dry + wet ± 2·t·√(dry·wet)`.
fn wet_powers(sum: f64, dry: f64) -> [f64; 2] {
    let together = TOGETHER * dry.max(0.0).sqrt();
    let root = (together * together + sum - dry).max(0.0).sqrt();
    [(root - together).max(0.0).powi(2), (root + together).powi(2)]
}

/// The changes of dry and wet in a feed, from the change of everything (a power ratio), the dry's ends and what share of the
/// power it is. `likely` is the dry's change and share.
#[must_use]
pub fn changes(
    weights: &FeedWeights,
    bounds: &Bounds,
    total: f64,
    stokes: [f64; 3],
    share: f64,
) -> PartChanges {
    let dry = weights.dry(bounds, stokes);
    let likely_dry = weights.of(stokes).clamp(dry[0], dry[1]);
    let ends = weights.ends();
    let to_db = |range: [f64; 2], likely: f64, known: Known| {
        Interval::new(
            db::from_power(range[0]),
            db::from_power(likely),
            db::from_power(range[1]),
            known,
        )
    };
    let dry_db = to_db(dry, likely_dry, Known::Bounded);
    if bounds.closed == Some(Closed::OneWay) {
        // Dry and wet lie alike: what becomes of one becomes of the other.
        return PartChanges {
            dry: dry_db,
            wet: dry_db,
            balance: Interval {
                known: Known::Bounded,
                ..Interval::measured(0.0)
            },
        };
    }
    let [least, most] = bounds.dry_share;
    let (mut wet, mut shift) = ([f64::INFINITY, 0.0f64], [f64::INFINITY, f64::NEG_INFINITY]);
    for dry_share in [least, share.clamp(least, most), most] {
        for change in [dry[0], likely_dry, dry[1]] {
            let rest = wet_powers(1.0, dry_share);
            let here = wet_powers(total, change * dry_share);
            let all = [
                if rest[1] > 0.0 {
                    (here[0] / rest[1]).clamp(ends[0], ends[1])
                } else {
                    ends[0]
                },
                if rest[0] > 0.0 {
                    (here[1] / rest[0]).clamp(ends[0], ends[1])
                } else {
                    ends[1]
                },
            ];
            wet = [wet[0].min(all[0]), wet[1].max(all[1])];
            for here in all {
                let here_db = db::from_power(here) - db::from_power(change);
                if !here_db.is_nan() {
                    shift = [shift[0].min(here_db), shift[1].max(here_db)];
                }
            }
        }
    }
    if let Some(way) = &bounds.wet {
        let slopes = [weights.left - weights.right, weights.re, weights.im];
        let off = slopes
            .iter()
            .zip(way.error)
            .map(|(s, e)| (s * e).powi(2))
            .sum::<f64>()
            .sqrt();
        let change = weights.of(way.stokes);
        let margin = db::to_power(TAIL_DB);
        wet = [
            ((change - 2.0 * off) / margin).max(ends[0]),
            ((change + 2.0 * off) * margin).min(ends[1]),
        ];
        let shift_db = |wet: f64, dry: f64| {
            let shift = db::from_power(wet) - db::from_power(dry);
            if shift.is_nan() { 0.0 } else { shift }
        };
        shift = [shift_db(wet[0], dry[1]), shift_db(wet[1], dry[0])];
    }
    let rest = 1.0 - share;
    let likely_wet = if rest > 1e-6 {
        ((total - likely_dry * share) / rest).clamp(wet[0], wet[1])
    } else {
        wet[1]
    };
    let wet_db = to_db(wet, likely_wet, Known::Bounded);
    PartChanges {
        dry: dry_db,
        wet: wet_db,
        balance: Interval::new(shift[0], wet_db.likely - dry_db.likely, shift[1], Known::Bounded),
    }
}
