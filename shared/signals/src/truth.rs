//! The ground truth of feeds, computed in the time domain from the known parts.
//!
//! Nothing here estimates anything: each part is sent through both lines and summed, and the power of that is taken.
//! Powers are energies over the length of the *part*, so the tail of a late line counts without lengthening the mean.

use crate::fft::{samples, spectrum};
use crate::stereo::dot;
use crate::{LineFault, Preset, Stereo, faulty, power_db};

/// Sum-law factor of the average, −6.02 dB: a passive sum.
pub const AVERAGE: f64 = 0.5;
/// Sum-law factor of the −3.01 dB law.
pub const MINUS_3_DB: f64 = std::f64::consts::FRAC_1_SQRT_2;
/// Sum-law factor of the plain sum, 0 dB.
pub const UNITY: f64 = 1.0;

/// Both lines and the sum law at their end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MonoFeed {
    /// The left line.
    pub left: LineFault,
    /// The right line.
    pub right: LineFault,
    /// The factor of the sum, linear.
    pub factor: f64,
}

impl MonoFeed {
    /// Faultless lines, averaged.
    pub const fn wedge() -> Self {
        Self::wedge_with(LineFault::NONE, LineFault::NONE)
    }

    /// The average of two lines with these faults.
    pub const fn wedge_with(left: LineFault, right: LineFault) -> Self {
        Self {
            left,
            right,
            factor: AVERAGE,
        }
    }

    /// The left line alone.
    pub const fn left_only() -> Self {
        Self {
            left: LineFault::NONE,
            right: LineFault::UNPLUGGED,
            factor: UNITY,
        }
    }

    /// The right line alone.
    pub const fn right_only() -> Self {
        Self {
            left: LineFault::UNPLUGGED,
            right: LineFault::NONE,
            factor: UNITY,
        }
    }

    /// A stereo jack in a balanced mono input: left minus right.
    pub const fn stereo_jack_in_balanced_input() -> Self {
        Self {
            left: LineFault::NONE,
            right: LineFault::FLIP,
            factor: UNITY,
        }
    }

    /// The gain that a fader can make up for, `c·(|g_L| + |g_R|)`, linear.
    pub fn recoverable_gain(&self) -> f64 {
        self.factor * (self.left.broadband_gain().abs() + self.right.broadband_gain().abs())
    }
}

/// The feed's signal of `part`; longer than the part by what the lines add.
pub fn mono_sum(part: &Stereo, feed: &MonoFeed, rate_hz: f64) -> Vec<f64> {
    let arrived = faulty(part, &feed.left, &feed.right, rate_hz);
    arrived
        .left
        .iter()
        .zip(&arrived.right)
        .map(|(l, r)| feed.factor * (l + r))
        .collect()
}

/// Power of `part` in the feed.
pub fn mono_power(part: &Stereo, feed: &MonoFeed, rate_hz: f64) -> f64 {
    let sum = mono_sum(part, feed, rate_hz);
    dot(&sum, &sum) / part.len().max(1) as f64
}

/// Level change of `part` from stereo to the feed, dB, without the recoverable gain: `10·log10(P(feed) / (G²·(P_L +
/// P_R)/2))`. −∞ where nothing arrives, NaN for a silent part.
pub fn change_db(part: &Stereo, feed: &MonoFeed, rate_hz: f64) -> f64 {
    let gain = feed.recoverable_gain();
    if gain == 0.0 {
        return f64::NEG_INFINITY;
    }
    power_db(mono_power(part, feed, rate_hz) / (gain * gain * part.power() / 2.0))
}

/// As [`change_db`], with the recoverable gain included: the change if nobody touches the fader.
pub fn raw_change_db(part: &Stereo, feed: &MonoFeed, rate_hz: f64) -> f64 {
    power_db(mono_power(part, feed, rate_hz) / (part.power() / 2.0))
}

/// The changes of all parts of a preset in one feed, dB.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Changes {
    /// Of the dry sound; NaN if the preset has none.
    pub dry_db: f64,
    /// Of the wet sound; NaN if the preset has none.
    pub wet_db: f64,
    /// Of both together.
    pub total_db: f64,
}

impl Changes {
    /// Wet change minus dry change; positive is wetter, +∞ where the dry is gone.
    pub fn balance_shift_db(&self) -> f64 {
        self.wet_db - self.dry_db
    }
}

/// [`change_db`] of every part of `preset`.
pub fn changes(preset: &Preset, feed: &MonoFeed) -> Changes {
    let change = |part: &Stereo| change_db(part, feed, preset.rate_hz);
    Changes {
        dry_db: change(&preset.dry),
        wet_db: change(&preset.wet),
        total_db: change(&preset.full()),
    }
}

/// Wet over dry in the feed, dB.
pub fn wet_dry_db(preset: &Preset, feed: &MonoFeed) -> f64 {
    let power = |part: &Stereo| mono_power(part, feed, preset.rate_hz);
    power_db(power(&preset.wet) / power(&preset.dry))
}

/// `part` limited to `low_hz..high_hz` by a brick-wall filter over the whole record. Lines and sums are linear, so the
/// change of a band is the change of the part limited to it.
pub fn band_limited(part: &Stereo, low_hz: f64, high_hz: f64, rate_hz: f64) -> Stereo {
    let limit = |channel: &[f64]| {
        // Twice the length, or the end would ring into the beginning.
        let len = 2 * channel.len();
        let mut bins = spectrum(channel, len);
        for (k, bin) in bins.iter_mut().enumerate() {
            let hz = k as f64 * rate_hz / len as f64;
            if hz < low_hz || hz >= high_hz {
                *bin *= 0.0;
            }
        }
        samples(bins, len)
    };
    Stereo::new(limit(&part.left), limit(&part.right))
}
