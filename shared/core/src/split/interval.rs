//! A figure as an interval, and how it is known.

/// How a figure is known. Ordered from best to worst.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Known {
    /// Read from the sound itself.
    #[default]
    Measured,
    /// Not read, but bounded by what the sound shows.
    Bounded,
    /// True only if an assumption holds.
    Assumed,
}

/// A figure between two ends. The level change of a part that has vanished is −∞ dB; a ratio may be +∞.
///
/// ```
/// use sumproof_core::split::interval::{Interval, Known};
///
/// let dry_db = Interval::new(-1.0, -0.4, 0.0, Known::Bounded);
/// assert!(dry_db.contains(-0.7) && (dry_db.width() - 1.0).abs() < 1e-12);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Interval {
    /// At least.
    #[cfg_attr(feature = "serde", serde(with = "open_low"))]
    pub low: f64,
    /// Most likely; between the ends.
    #[cfg_attr(feature = "serde", serde(with = "open_low"))]
    pub likely: f64,
    /// At most.
    #[cfg_attr(feature = "serde", serde(with = "open_high"))]
    pub high: f64,
    /// How it is known.
    pub known: Known,
}

impl Interval {
    /// A measured figure: both ends are the figure.
    #[must_use]
    pub fn measured(figure: f64) -> Self {
        Self {
            low: figure,
            likely: figure,
            high: figure,
            known: Known::Measured,
        }
    }

    /// An interval between two ends, in either order; `likely` is clamped to it.
    #[must_use]
    pub fn new(one_end: f64, likely: f64, other_end: f64, known: Known) -> Self {
        let (low, high) = if one_end <= other_end {
            (one_end, other_end)
        } else {
            (other_end, one_end)
        };
        Self {
            low,
            likely: likely.max(low).min(high),
            high,
            known,
        }
    }

    /// The distance of the ends; 0 for a measured figure, +∞ with an open end.
    #[must_use]
    pub fn width(&self) -> f64 {
        if self.low == self.high {
            0.0
        } else {
            self.high - self.low
        }
    }

    /// Whether a figure lies between the ends.
    #[must_use]
    pub fn contains(&self, figure: f64) -> bool {
        self.low <= figure && figure <= self.high
    }

    /// The interval shifted up by `by`.
    #[must_use]
    pub fn shifted(&self, by: f64) -> Self {
        Self {
            low: self.low + by,
            likely: self.likely + by,
            high: self.high + by,
            known: self.known,
        }
    }

    /// This minus another, each end against the other's opposite one. −∞ minus −∞ leaves that end open.
    #[must_use]
    pub fn minus(&self, other: &Self) -> Self {
        let difference = |a: f64, b: f64, open: f64| {
            let difference = a - b;
            if difference.is_nan() { open } else { difference }
        };
        Self::new(
            difference(self.low, other.high, f64::NEG_INFINITY),
            difference(self.likely, other.likely, 0.0),
            difference(self.high, other.low, f64::INFINITY),
            self.known.max(other.known),
        )
    }

    /// The smallest interval that holds both; the likely figure stays this one's.
    #[must_use]
    pub fn hull(&self, other: &Self) -> Self {
        Self {
            low: self.low.min(other.low),
            likely: self.likely,
            high: self.high.max(other.high),
            known: self.known.max(other.known),
        }
    }
}

/// JSON has no infinity: a lower end at −∞ is stored as `null`.
#[cfg(feature = "serde")]
mod open_low {
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    pub(super) fn serialize<S: Serializer>(end: &f64, serializer: S) -> Result<S::Ok, S::Error> {
        end.is_finite().then_some(*end).serialize(serializer)
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<f64, D::Error> {
        Ok(Option::<f64>::deserialize(deserializer)?.unwrap_or(f64::NEG_INFINITY))
    }
}

/// The same for an upper end at +∞.
#[cfg(feature = "serde")]
mod open_high {
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    pub(super) fn serialize<S: Serializer>(end: &f64, serializer: S) -> Result<S::Ok, S::Error> {
        end.is_finite().then_some(*end).serialize(serializer)
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<f64, D::Error> {
        Ok(Option::<f64>::deserialize(deserializer)?.unwrap_or(f64::INFINITY))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ends_are_in_order_and_hold_what_is_likely() {
        let interval = Interval::new(2.0, 5.0, -1.0, Known::Bounded);
        assert_eq!((interval.low, interval.likely, interval.high), (-1.0, 2.0, 2.0));
        assert_eq!(interval.width(), 3.0);
        assert!(interval.contains(-1.0) && interval.contains(2.0) && !interval.contains(2.1));
        assert_eq!(Interval::measured(f64::NEG_INFINITY).width(), 0.0);
    }

    #[test]
    fn a_difference_takes_the_far_ends() {
        let wet = Interval::new(-5.0, -3.0, 0.0, Known::Assumed);
        let dry = Interval::new(-1.0, 0.0, 0.5, Known::Bounded);
        let shift = wet.minus(&dry);
        assert_eq!((shift.low, shift.likely, shift.high), (-5.5, -3.0, 1.0));
        assert_eq!(shift.known, Known::Assumed);
        let gone = Interval::new(f64::NEG_INFINITY, f64::NEG_INFINITY, -20.0, Known::Bounded);
        let shift = wet.minus(&gone);
        assert_eq!((shift.low, shift.high), (15.0, f64::INFINITY));
        let both = gone.minus(&gone);
        assert_eq!((both.low, both.high), (f64::NEG_INFINITY, f64::INFINITY));
    }
}
