//! The lines to the desk, as ground truth in the time domain.

use crate::delay::delayed;
use crate::filter::high_pass_first_order;
use crate::numbers::to_index;
use crate::{Stereo, amplitude};

/// A line's effect on its channel. The default is a line without fault.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct LineFault {
    /// Polarity inverted.
    pub flip: bool,
    /// Gain, dB; a pad is negative.
    pub gain_db: f64,
    /// Delay, seconds, not negative.
    pub delay_s: f64,
    /// Corner of the transformer's first-order high-pass, Hz.
    pub high_pass_hz: Option<f64>,
    /// Nothing arrives.
    pub unplugged: bool,
}

impl LineFault {
    /// A line that passes everything as it is.
    pub const NONE: Self = Self {
        flip: false,
        gain_db: 0.0,
        delay_s: 0.0,
        high_pass_hz: None,
        unplugged: false,
    };
    /// Only flipped.
    pub const FLIP: Self = Self {
        flip: true,
        ..Self::NONE
    };
    /// Only unplugged.
    pub const UNPLUGGED: Self = Self {
        unplugged: true,
        ..Self::NONE
    };

    /// Only padded; `gain_db` is negative for a loss.
    pub const fn gain(gain_db: f64) -> Self {
        Self {
            gain_db,
            ..Self::NONE
        }
    }

    /// Only late by `delay_s` seconds.
    pub const fn late(delay_s: f64) -> Self {
        Self {
            delay_s,
            ..Self::NONE
        }
    }

    /// Only through a transformer with this corner, Hz.
    pub const fn high_pass(corner_hz: f64) -> Self {
        Self {
            high_pass_hz: Some(corner_hz),
            ..Self::NONE
        }
    }

    /// The signed linear gain, without delay and high-pass: `p·g`, 0 if unplugged.
    pub fn broadband_gain(&self) -> f64 {
        let polarity = if self.flip { -1.0 } else { 1.0 };
        if self.unplugged {
            0.0
        } else {
            polarity * amplitude(self.gain_db)
        }
    }

    /// The channel as it arrives, with room at the end for the delay and the ringing of the high-pass (to −160 dB).
    ///
    /// # Panics
    /// If the delay is negative or not finite.
    pub fn apply(&self, channel: &[f64], rate_hz: f64) -> Vec<f64> {
        let gain = self.broadband_gain();
        let mut out = delayed(channel, self.delay_s * rate_hz);
        out.iter_mut().for_each(|x| *x *= gain);
        if let Some(corner_hz) = self.high_pass_hz {
            let ringing = to_index((3.0 * rate_hz / corner_hz).ceil());
            out.resize(out.len() + ringing, 0.0);
            high_pass_first_order(&mut out, rate_hz, corner_hz);
        }
        out
    }
}

/// Both channels as they arrive at the far end of their lines. Longer than `sound` by what the slower line needs, so no
/// energy is lost; [`Stereo::resized`] cuts it back to a plugin's output.
pub fn faulty(sound: &Stereo, left: &LineFault, right: &LineFault, rate_hz: f64) -> Stereo {
    let (mut l, mut r) = (
        left.apply(&sound.left, rate_hz),
        right.apply(&sound.right, rate_hz),
    );
    let len = l.len().max(r.len());
    l.resize(len, 0.0);
    r.resize(len, 0.0);
    Stereo::new(l, r)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{mean_power, tones};

    #[test]
    fn a_faultless_line_changes_no_bit() {
        let x = tones::white_noise(1000, 0.1, 2);
        let y = LineFault::NONE.apply(&x, 48_000.0);
        assert_eq!(y[..1000], x[..]);
        assert!(y[1000..].iter().all(|s| *s == 0.0));
    }

    #[test]
    fn faults_add_up() {
        let x = tones::sine(48_000, 48_000.0, 1000.0, 0.5, 0.0);
        let all = LineFault {
            flip: true,
            gain_db: -20.0,
            delay_s: 0.000_25,
            ..LineFault::NONE
        };
        let y = all.apply(&x, 48_000.0);
        // A quarter period late and flipped: −sin becomes +cos, a tenth as large.
        for (n, y) in y.iter().enumerate().take(40_000).skip(1000) {
            let expected = 0.05 * (std::f64::consts::TAU * (n as f64 / 48.0)).cos();
            assert!(
                (y - expected).abs() < 1e-9,
                "sample {n}: {y} instead of {expected}"
            );
        }
        assert_eq!(mean_power(&LineFault::UNPLUGGED.apply(&x, 48_000.0)), 0.0);
    }

    #[test]
    fn both_lines_come_out_equally_long_and_cut_back() {
        let sound = Stereo::dual_mono(&tones::white_noise(2000, 0.1, 2));
        let out = faulty(
            &sound,
            &LineFault::high_pass(30.0),
            &LineFault::late(0.001),
            44_100.0,
        );
        assert_eq!(out.left.len(), out.right.len());
        assert_eq!(out.resized(2000).len(), 2000);
    }
}
