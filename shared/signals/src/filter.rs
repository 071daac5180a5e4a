//! Small recursive filters.

use std::f64::consts::{PI, TAU};

/// A second-order section, run in transposed direct form II.
#[derive(Debug, Clone, Copy)]
pub struct Biquad {
    b: [f64; 3],
    a: [f64; 2],
}

/// Highest design frequency over the rate: a cabinet must still make sense at 8 kHz.
const MAX_DESIGN: f64 = 0.45;

impl Biquad {
    // The designs are those of Robert Bristow-Johnson's 'Cookbook formulae for audio EQ biquad filter coefficients'
    // (W3C Note, 2021); frequencies are limited to 0.45 of the rate.

    /// Second-order low-pass, −3 dB at `hz` for `q` = 0.7071.
    pub fn low_pass(rate_hz: f64, hz: f64, q: f64) -> Self {
        let (cos, alpha) = design(rate_hz, hz, q);
        let gain = (1.0 - cos) / 2.0;
        Self::normalised([gain, 2.0 * gain, gain], [1.0 + alpha, -2.0 * cos, 1.0 - alpha])
    }

    /// Second-order high-pass, −3 dB at `hz` for `q` = 0.7071.
    pub fn high_pass(rate_hz: f64, hz: f64, q: f64) -> Self {
        let (cos, alpha) = design(rate_hz, hz, q);
        let gain = (1.0 + cos) / 2.0;
        Self::normalised([gain, -2.0 * gain, gain], [1.0 + alpha, -2.0 * cos, 1.0 - alpha])
    }

    /// A bell of `gain_db` at `hz`, 0 dB far from it.
    pub fn bell(rate_hz: f64, hz: f64, q: f64, gain_db: f64) -> Self {
        let (cos, alpha) = design(rate_hz, hz, q);
        let root_gain = 10f64.powf(gain_db / 40.0);
        Self::normalised(
            [1.0 + alpha * root_gain, -2.0 * cos, 1.0 - alpha * root_gain],
            [1.0 + alpha / root_gain, -2.0 * cos, 1.0 - alpha / root_gain],
        )
    }

    fn normalised(b: [f64; 3], a: [f64; 3]) -> Self {
        Self {
            b: b.map(|c| c / a[0]),
            a: [a[1] / a[0], a[2] / a[0]],
        }
    }

    /// Filters `signal` in place, starting from rest.
    pub fn run(&self, signal: &mut [f64]) {
        let ([b0, b1, b2], [a1, a2]) = (self.b, self.a);
        let (mut s1, mut s2) = (0.0, 0.0);
        for x in signal {
            let y = b0 * *x + s1;
            s1 = b1 * *x - a1 * y + s2;
            s2 = b2 * *x - a2 * y;
            *x = y;
        }
    }
}

fn design(rate_hz: f64, hz: f64, q: f64) -> (f64, f64) {
    let (sin, cos) = (TAU * (hz / rate_hz).min(MAX_DESIGN)).sin_cos();
    (cos, sin / (2.0 * q))
}

/// A first-order high-pass in place, from rest: the transformer of a line. Bilinear transform of `s/(s + 2π·corner)`,
/// exact at the corner (−3.01 dB, +45°); for corners in the bass it follows the analogue one over the whole band.
pub fn high_pass_first_order(signal: &mut [f64], rate_hz: f64, corner_hz: f64) {
    let k = (PI * corner_hz / rate_hz).tan();
    let (gain, pole) = (1.0 / (1.0 + k), (1.0 - k) / (1.0 + k));
    let (mut last_x, mut y) = (0.0, 0.0);
    for x in signal {
        y = gain * (*x - last_x) + pole * y;
        last_x = *x;
        *x = y;
    }
}

/// A first-order low-pass in place, from rest; the corner is that of the matched pole, `exp(−2π·corner/rate)`.
pub fn low_pass_first_order(signal: &mut [f64], rate_hz: f64, corner_hz: f64) {
    let step = 1.0 - (-TAU * corner_hz / rate_hz).exp();
    let mut y = 0.0;
    for x in signal {
        y += step * (*x - y);
        *x = y;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fft::spectrum;

    /// The response at `hz`, which must be a bin of 48000 samples.
    fn gain_db(hz: usize, run: impl Fn(&mut [f64])) -> (f64, f64) {
        let mut impulse = vec![0.0; 48_000];
        impulse[0] = 1.0;
        run(&mut impulse);
        let bin = spectrum(&impulse, 48_000)[hz];
        (20.0 * bin.norm().log10(), bin.arg().to_degrees())
    }

    #[test]
    fn transformer_follows_the_analogue_first_order() {
        // |H| = 1/√(1 + (fc/f)²), phase atan(fc/f): closed form.
        for (hz, corner) in [
            (30usize, 30.0f64),
            (100, 30.0),
            (1000, 30.0),
            (40, 80.0),
            (400, 40.0),
        ] {
            let (level, phase) = gain_db(hz, |x| high_pass_first_order(x, 48_000.0, corner));
            let ratio = corner / hz as f64;
            assert!(
                (level + 10.0 * (1.0 + ratio * ratio).log10()).abs() < 1e-3,
                "{hz} Hz over {corner}: {level}"
            );
            assert!(
                (phase - ratio.atan().to_degrees()).abs() < 0.01,
                "{hz} Hz over {corner}: {phase} degrees"
            );
        }
    }

    #[test]
    fn sections_do_what_their_names_say() {
        let q = std::f64::consts::FRAC_1_SQRT_2;
        let low = Biquad::low_pass(48_000.0, 1000.0, q);
        let high = Biquad::high_pass(48_000.0, 1000.0, q);
        let bell = Biquad::bell(48_000.0, 1000.0, 1.0, 6.0);
        for (section, expected) in [
            (low, [0.0, -3.01, -40.2]),
            (high, [-40.0, -3.01, 0.0]),
            (bell, [0.0, 6.0, 0.0]),
        ] {
            for (hz, db) in [100, 1000, 10_000].into_iter().zip(expected) {
                let (level, _) = gain_db(hz, |x| section.run(x));
                // 12 dB per octave, warped near the top.
                let tolerance = if db < -30.0 { 3.0 } else { 0.1 };
                assert!(
                    (level - db).abs() < tolerance,
                    "{section:?} at {hz} Hz: {level} instead of {db}"
                );
            }
        }
    }
}
