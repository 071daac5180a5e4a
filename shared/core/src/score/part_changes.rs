//! Intervals of a feed's changes, from the bounds of dry and wet.

use crate::dsp::db;
use crate::routing::weights::FeedWeights;
use crate::split::interval::{Interval, Known};
use crate::split::ways::{Bounds, Closed};

/// Least width of the dry's interval without a single direction, dB.
const NARROWEST_DB: f64 = 1.0;
/// Tolerance of a wet's direction during playing against its tail, dB.
const TAIL_DB: f64 = 1.0;
/// Dry and wet interfere in each partial; over a whole sound the sum of that is at most this share of the root of their
/// powers' product.
const TOGETHER: f64 = 0.1;

/// The dry's share in the band a feed plays, at least and at most: the whole's, scaled by the likely shares in band and
/// whole.
pub(super) fn in_this_band(bounds: &Bounds, share: f64) -> [f64; 2] {
    let whole = bounds.likely_share.max(1e-6);
    bounds.dry_share.map(|end| (end * share / whole).clamp(0.0, 1.0))
}

/// The readings of a feed from which its intervals are found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Read {
    /// The change of the total, as a power ratio.
    pub total: f64,
    /// The change of the likely dry, as a power ratio.
    pub dry: f64,
    /// Tolerance of that, because the dry's spectrum isn't known in detail.
    pub stray: f64,
    /// The likely dry's share of the power in the band the feed plays.
    pub share: f64,
    /// The dry's share, at least and at most.
    pub shares: [f64; 2],
}

/// The changes of a feed's parts; `None` for a part that isn't there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Parts {
    pub dry: Option<Interval>,
    pub wet: Option<Interval>,
    pub balance: Option<Interval>,
}

impl Parts {
    /// Measured with passes or a side-chain, or nothing arrives. All dB.
    pub fn measured(dry_db: Option<f64>, wet_db: Option<f64>, balance_db: Option<f64>) -> Self {
        Self {
            dry: dry_db.map(Interval::measured),
            wet: wet_db.map(Interval::measured),
            balance: balance_db.map(Interval::measured),
        }
    }

    /// Estimated. Without weights there is no dry.
    pub fn estimated(bounds: &Bounds, weights: Option<&FeedWeights>, read: &Read, total_db: f64) -> Self {
        if bounds.no_separate_dry {
            return Self {
                dry: Some(Interval::measured(total_db)),
                wet: None,
                balance: None,
            };
        }
        let Some(weights) = weights else {
            return Self::measured(None, None, None);
        };
        let dry = dry_range(weights, bounds, read);
        let dry_db = decibels(dry, read.dry);
        if bounds.closed == Some(Closed::OneWay) {
            // Dry and wet have the same direction, so they change alike.
            return Self {
                dry: Some(dry_db),
                wet: None,
                balance: Some(Interval::measured(0.0)),
            };
        }
        let [wet, shift_db] = wet_and_shift(weights, bounds, read, dry);
        let rest = 1.0 - read.share;
        let likely = if rest > 1e-6 {
            (read.total - read.dry * read.share) / rest
        } else {
            wet[1]
        };
        let wet_db = decibels(wet, likely);
        let likely_shift_db = db::from_power(likely.clamp(wet[0], wet[1])) - dry_db.likely;
        Self {
            dry: Some(dry_db),
            wet: Some(wet_db),
            balance: Some(Interval::new(
                shift_db[0],
                if likely_shift_db.is_nan() {
                    0.0
                } else {
                    likely_shift_db
                },
                shift_db[1],
                Known::Bounded,
            )),
        }
    }
}

fn decibels([low, high]: [f64; 2], likely: f64) -> Interval {
    Interval::new(
        db::from_power(low),
        db::from_power(likely),
        db::from_power(high),
        Known::Bounded,
    )
}

/// The dry's change as a power ratio: at least, and at most.
fn dry_range(weights: &FeedWeights, bounds: &Bounds, read: &Read) -> [f64; 2] {
    let ends = weights.ends();
    let likely = read.dry;
    let mut range: Option<[f64; 2]> = None;
    let mut widen = |[low, high]: [f64; 2]| {
        let found = range.get_or_insert([low, high]);
        *found = [found[0].min(low), found[1].max(high)];
    };
    for way in &bounds.ways[..bounds.count] {
        widen(weights.within(way.angle_rad, way.tolerance_rad));
    }
    if let Some(error) = bounds.error {
        let slopes = [weights.left - weights.right, weights.re, weights.im];
        let off = slopes
            .iter()
            .zip(error)
            .map(|(slope, error)| (slope * error).powi(2))
            .sum::<f64>()
            .sqrt();
        let least = db::to_power(0.5 * NARROWEST_DB);
        widen([
            (likely - off).min(likely / least),
            (likely + off).max(likely * least),
        ]);
    }
    // Nothing is known of the dry: its change is unbounded.
    let Some([low, high]) = range else { return ends };
    [
        (low.min(likely) - read.stray).max(ends[0]).max(0.0),
        (high.max(likely) + read.stray).min(ends[1].max(likely)),
    ]
}

/// The wet's power, at least and at most, in a sum with this much dry: `sum = dry + wet ± 2·t·√(dry·wet)`.
fn wet_powers(sum: f64, dry: f64) -> [f64; 2] {
    let together = TOGETHER * dry.max(0.0).sqrt();
    let root = (together * together + sum - dry).max(0.0).sqrt();
    [(root - together).max(0.0).powi(2), (root + together).powi(2)]
}

/// The wet's change as a power ratio, and the shift of the balance, dB: at least, and at most.
fn wet_and_shift(weights: &FeedWeights, bounds: &Bounds, read: &Read, dry: [f64; 2]) -> [[f64; 2]; 2] {
    let ends = weights.ends();
    let shift_db = |wet: f64, dry: f64| {
        let shift = db::from_power(wet) - db::from_power(dry);
        if shift.is_nan() { 0.0 } else { shift }
    };
    if let Some(way) = &bounds.wet {
        let slopes = [weights.left - weights.right, weights.re, weights.im];
        let off = slopes
            .iter()
            .zip(way.error)
            .map(|(slope, error)| (slope * error).powi(2))
            .sum::<f64>()
            .sqrt();
        let change = weights.of(way.stokes);
        let margin = db::to_power(TAIL_DB);
        let wet = [
            ((change - 2.0 * off) / margin).max(ends[0]),
            ((change + 2.0 * off) * margin).min(ends[1]),
        ];
        return [wet, [shift_db(wet[0], dry[1]), shift_db(wet[1], dry[0])]];
    }
    let (mut wet, mut shift) = ([f64::INFINITY, 0.0f64], [f64::INFINITY, f64::NEG_INFINITY]);
    let [least, most] = read.shares;
    for share in [least, read.share.clamp(least, most), most] {
        for change in [dry[0], read.dry.clamp(dry[0], dry[1]), dry[1]] {
            let rest = wet_powers(1.0, share);
            let here = wet_powers(read.total, change * share);
            let low = if rest[1] > 0.0 { here[0] / rest[1] } else { 0.0 };
            let high = if rest[0] > 0.0 {
                here[1] / rest[0]
            } else {
                f64::INFINITY
            };
            for here in [low, high].map(|here| here.clamp(ends[0], ends[1])) {
                wet = [wet[0].min(here), wet[1].max(here)];
                let here_db = shift_db(here, change);
                shift = [shift[0].min(here_db), shift[1].max(here_db)];
            }
        }
    }
    [wet, shift]
}
