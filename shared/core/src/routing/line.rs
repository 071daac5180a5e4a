//! A line: the physical path from the board to the desk for one channel.

use crate::dsp::db;

/// Whether a line arrives as it left, or inverted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Polarity {
    /// As it left.
    #[default]
    Normal,
    /// Inverted: pins 2 and 3 exchanged somewhere on the way.
    Flipped,
}

impl Polarity {
    /// +1 or −1.
    #[must_use]
    pub fn sign(self) -> f64 {
        match self {
            Self::Normal => 1.0,
            Self::Flipped => -1.0,
        }
    }

    /// The other one.
    #[must_use]
    pub fn flipped(self) -> Self {
        match self {
            Self::Normal => Self::Flipped,
            Self::Flipped => Self::Normal,
        }
    }
}

/// Ranges of a line's settings.
pub mod limits {
    /// Gain of a line, dB.
    pub const GAIN_DB: core::ops::RangeInclusive<f64> = -40.0..=20.0;
    /// Delay of a line, seconds.
    pub const DELAY_S: core::ops::RangeInclusive<f64> = 0.0..=0.030;
    /// Corner of a line's high-pass, Hz; 0 stands for none.
    pub const HIGH_PASS_HZ: core::ops::RangeInclusive<f64> = 0.0..=200.0;
}

/// A line: `A(f) = p·g·H(f)·e^(−j2πfτ)`, or 0 when unplugged.
///
/// ```
/// use sumproof_core::routing::line::{Line, Polarity};
///
/// let padded = Line { gain_db: -20.0, ..Line::STRAIGHT };
/// let flipped = Line { polarity: Polarity::Flipped, ..Line::STRAIGHT };
/// assert!((padded.then(&flipped).amplitude() + 0.1).abs() < 1e-12);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(default))]
pub struct Line {
    /// As it left, or inverted.
    pub polarity: Polarity,
    /// Gain, dB.
    pub gain_db: f64,
    /// Delay, seconds.
    pub delay_s: f64,
    /// Corners of the line's first-order high-passes (transformers), Hz: the player's own and one that a feed's fault
    /// may add. 0 stands for none.
    pub high_pass_hz: [f64; 2],
    /// Nothing arrives.
    pub unplugged: bool,
}

impl Default for Line {
    fn default() -> Self {
        Self::STRAIGHT
    }
}

impl Line {
    /// A line that changes nothing.
    pub const STRAIGHT: Self = Self {
        polarity: Polarity::Normal,
        gain_db: 0.0,
        delay_s: 0.0,
        high_pass_hz: [0.0; 2],
        unplugged: false,
    };

    /// The line with every setting within [`limits`]; a NaN becomes the default.
    #[must_use]
    pub fn clamped(self) -> Self {
        let within = |value: f64, range: core::ops::RangeInclusive<f64>, default: f64| {
            if value.is_nan() {
                default
            } else {
                value.clamp(*range.start(), *range.end())
            }
        };
        Self {
            polarity: self.polarity,
            gain_db: within(self.gain_db, limits::GAIN_DB, 0.0),
            delay_s: within(self.delay_s, limits::DELAY_S, 0.0),
            high_pass_hz: self.high_pass_hz.map(|hz| within(hz, limits::HIGH_PASS_HZ, 0.0)),
            unplugged: self.unplugged,
        }
    }

    /// Broadband gain with its sign: 0 when unplugged.
    #[must_use]
    pub fn amplitude(&self) -> f64 {
        if self.unplugged {
            0.0
        } else {
            self.polarity.sign() * db::to_amplitude(self.gain_db)
        }
    }

    /// This line followed by another: gains and delays add, polarities multiply.
    #[must_use]
    pub fn then(&self, fault: &Self) -> Self {
        let polarity = match fault.polarity {
            Polarity::Normal => self.polarity,
            Polarity::Flipped => self.polarity.flipped(),
        };
        let fault_corner = fault.high_pass_hz[0];
        Self {
            polarity,
            gain_db: self.gain_db + fault.gain_db,
            delay_s: self.delay_s + fault.delay_s,
            high_pass_hz: if fault_corner > 0.0 {
                [self.high_pass_hz[0], fault_corner]
            } else {
                self.high_pass_hz
            },
            unplugged: self.unplugged || fault.unplugged,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn settings_are_kept_in_range() {
        let wild = Line {
            gain_db: f64::INFINITY,
            delay_s: f64::NAN,
            high_pass_hz: [-1.0, 1e9],
            ..Line::STRAIGHT
        };
        let tame = wild.clamped();
        assert_eq!(
            (tame.gain_db, tame.delay_s, tame.high_pass_hz),
            (20.0, 0.0, [0.0, 200.0])
        );
        assert_eq!(Line::STRAIGHT.clamped(), Line::STRAIGHT);
    }

    #[test]
    fn two_flips_are_none() {
        let flip = Line {
            polarity: Polarity::Flipped,
            ..Line::STRAIGHT
        };
        assert_eq!(flip.then(&flip).amplitude(), 1.0);
        assert_eq!(
            Line {
                unplugged: true,
                ..Line::STRAIGHT
            }
            .then(&flip)
            .amplitude(),
            0.0
        );
    }
}
