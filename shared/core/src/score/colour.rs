//! The change of the dry's colour in a feed: the figures that [`super::tone`] reads.

use crate::split::interval::{Interval, Known};

/// A level change of one part of the sound, dB: −∞ when it's gone, `None` when the sound has no such part.
pub type Change = Option<f64>;

/// The deepest dip of a feed's sum difference.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Dip {
    /// Frequency, Hz.
    pub hz: f64,
    /// Depth against the whole sound's own change, dB; negative.
    pub depth_db: f64,
}

/// The change of the dry's colour in a feed, dB rms; `None` where it can't be told.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Colour {
    /// Change over the 1/3 octaves.
    pub tone_db: Option<Interval>,
    /// Change over the partials.
    pub partials_db: Option<Interval>,
}

/// Tolerance of a colour figure that rests on an estimate: this, dB, plus [`OFF`] of the figure.
const OFF_DB: f64 = 0.3;
const OFF: f64 = 0.1;

impl Colour {
    /// Tone and partials of a dry that is known.
    pub(super) fn measured([tone_db, partials_db]: [Change; 2]) -> Self {
        Self {
            tone_db: tone_db.map(Interval::measured),
            partials_db: partials_db.map(Interval::measured),
        }
    }

    /// Tone and partials of a dry that is known, but whose channels are delayed by more than a block of the analysis
    /// resolves in each band: they lie between both figures.
    pub(super) fn resolved(limited: [Change; 2], unlimited: [Change; 2]) -> Self {
        let [tone_db, partials_db] = [0, 1].map(|n| {
            let likely = limited[n]?;
            let other = unlimited[n].unwrap_or(likely);
            Some(if likely == other {
                Interval::measured(likely)
            } else {
                Interval::new(likely.min(other), likely, likely.max(other), Known::Bounded)
            })
        });
        Self { tone_db, partials_db }
    }

    /// For an estimated dry. Without a single direction the colour lies between the likely dry's and the total's; the
    /// total's is the likelier, because it shows differences inside a band. Of channels that are late against each
    /// other, long notes may be coloured by up to `more_db`; how much isn't known, so half of it is likely.
    pub(super) fn estimated(
        of_dry: [Change; 2],
        of_total: [Change; 2],
        one_direction: bool,
        more_db: [f64; 2],
    ) -> Self {
        let [tone_db, partials_db] = [0, 1].map(|n| {
            let begins = of_dry[n]?;
            let other = of_total[n]
                .filter(|_| !one_direction)
                .unwrap_or(begins + more_db[n]);
            let likely = if one_direction {
                0.5 * (begins + other)
            } else {
                other
            };
            let off = |db: f64| OFF_DB + OFF * db;
            let (low, high) = (begins.min(other), begins.max(other));
            let low = if low > 0.0 { (low - off(low)).max(0.0) } else { 0.0 };
            let high = if high > 0.0 { high + off(high) } else { 0.0 };
            Some(Interval::new(low, likely, high, Known::Bounded))
        });
        Self { tone_db, partials_db }
    }
}
