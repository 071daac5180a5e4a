//! The broadband correlation the audio thread keeps: three running averages, the same cost every frame.

use core::f64::consts::{PI, SQRT_2};

use crate::db;
use crate::sanitize;

/// Sub-sonic rumble is kept out of the live figures: a second-order Butterworth high-pass at this corner, Hz.
pub const LOWEST_HZ: f64 = 40.0;

/// Running correlation and levels of a pair of channels, above [`LOWEST_HZ`].
///
/// # Real-time
/// No allocation, no lock, no branch on the level; O(1) per frame. Garbage frames are left out.
#[derive(Clone, Debug)]
pub struct RunningCorrelation {
    rate_hz: f64,
    keep: f64,
    b: f64,
    a: [f64; 2],
    state: [[f64; 2]; 2],
    left: f64,
    right: f64,
    cross: f64,
    /// The weight gathered so far, 0 to 1: what makes the first moments read right.
    weight: f64,
}

impl RunningCorrelation {
    /// For a sample rate and an integration time (the time constant of the exponential average), seconds.
    #[must_use]
    pub fn new(rate_hz: f64, integration_s: f64) -> Self {
        let k = (PI * LOWEST_HZ / rate_hz).tan();
        let norm = 1.0 + SQRT_2 * k + k * k;
        let mut meter = Self {
            rate_hz,
            keep: 0.0,
            b: 1.0 / norm,
            a: [2.0 * (k * k - 1.0) / norm, (1.0 - SQRT_2 * k + k * k) / norm],
            state: [[0.0; 2]; 2],
            left: 0.0,
            right: 0.0,
            cross: 0.0,
            weight: 0.0,
        };
        meter.set_integration(integration_s);
        meter
    }

    /// Changes the integration time; what has been averaged stays.
    pub fn set_integration(&mut self, integration_s: f64) {
        self.keep = (-1.0 / (self.rate_hz * integration_s.clamp(0.01, 60.0))).exp();
    }

    /// Forgets everything.
    pub fn reset(&mut self) {
        self.state = [[0.0; 2]; 2];
        (self.left, self.right, self.cross, self.weight) = (0.0, 0.0, 0.0, 0.0);
    }

    /// Takes a block of frames (as many as the shorter slice has).
    pub fn push(&mut self, left: &[f32], right: &[f32]) {
        for (&l, &r) in left.iter().zip(right) {
            if !sanitize::is_sound(l, r) {
                continue;
            }
            self.push_frame(l, r);
        }
        self.settle();
    }

    #[inline]
    fn push_frame(&mut self, left: f32, right: f32) {
        let l = self.high_passed(0, f64::from(sanitize::measured(left)));
        let r = self.high_passed(1, f64::from(sanitize::measured(right)));
        let take = 1.0 - self.keep;
        self.left = self.left * self.keep + l * l * take;
        self.right = self.right * self.keep + r * r * take;
        self.cross = self.cross * self.keep + l * r * take;
        self.weight = self.weight * self.keep + take;
    }

    /// Transposed direct form II of `b·(1 − 2z⁻¹ + z⁻²) / (1 + a1 z⁻¹ + a2 z⁻²)`.
    #[inline]
    fn high_passed(&mut self, channel: usize, input: f64) -> f64 {
        let [s0, s1] = self.state[channel];
        let scaled = self.b * input;
        let output = scaled + s0;
        self.state[channel] = [
            s1 - 2.0 * scaled - self.a[0] * output,
            scaled - self.a[1] * output,
        ];
        output
    }

    /// Keeps decaying states out of the subnormal range; once a block is enough, since double precision takes seconds to
    /// get there.
    fn settle(&mut self) {
        for state in self.state.iter_mut().flatten() {
            *state = sanitize::settled(*state);
        }
        self.left = sanitize::settled(self.left);
        self.right = sanitize::settled(self.right);
        self.cross = sanitize::settled(self.cross);
    }

    /// Mean squares of the left and right channel.
    #[must_use]
    pub fn powers(&self) -> (f64, f64) {
        if self.weight > 0.0 {
            (self.left / self.weight, self.right / self.weight)
        } else {
            (0.0, 0.0)
        }
    }

    /// The correlation, −1 to +1; `None` when a channel is below the reading floor.
    #[must_use]
    pub fn correlation(&self) -> Option<f64> {
        let (left, right) = self.powers();
        let floor = db::to_power(db::NO_READING_DBFS);
        (left > floor && right > floor)
            .then(|| (self.cross / (self.left * self.right).sqrt()).clamp(-1.0, 1.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sine(hz: f64, phase_deg: f64, len: usize) -> Vec<f32> {
        (0..len)
            .map(|n| {
                (0.5 * (core::f64::consts::TAU * hz * n as f64 / 48_000.0 + phase_deg.to_radians()).sin())
                    as f32
            })
            .collect()
    }

    /// CHECKS COR-1: two sines of equal frequency correlate as the cosine of their phase (derivation).
    #[test]
    fn sines_correlate_as_the_cosine_of_their_phase() {
        for phase in [0.0, 30.0, 45.0, 60.0, 90.0, 120.0, 180.0f64] {
            let mut meter = RunningCorrelation::new(48_000.0, 0.3);
            meter.push(&sine(1000.0, 0.0, 96_000), &sine(1000.0, phase, 96_000));
            let got = meter.correlation().unwrap();
            assert!((got - phase.to_radians().cos()).abs() < 1e-3, "{phase}: {got}");
        }
    }

    #[test]
    fn silence_is_no_reading_and_rumble_is_not_heard() {
        let mut meter = RunningCorrelation::new(48_000.0, 0.3);
        meter.push(&[0.0; 4800], &[0.0; 4800]);
        assert_eq!(meter.correlation(), None);
        // Strong opposite rumble at 5 Hz under a quieter equal tone: the tone decides.
        let tone = sine(440.0, 0.0, 192_000);
        let rumble = sine(5.0, 0.0, 192_000);
        let left: Vec<f32> = tone.iter().zip(&rumble).map(|(t, r)| 0.2 * t + r).collect();
        let right: Vec<f32> = tone.iter().zip(&rumble).map(|(t, r)| 0.2 * t - r).collect();
        meter.reset();
        meter.push(&left, &right);
        assert!(meter.correlation().unwrap() > 0.98);
    }

    #[test]
    fn garbage_leaves_no_trace_and_silence_no_subnormals() {
        let mut clean = RunningCorrelation::new(48_000.0, 0.3);
        let mut dirty = clean.clone();
        let (left, right) = (sine(300.0, 0.0, 4800), sine(300.0, 40.0, 4800));
        clean.push(&left, &right);
        dirty.push(&left, &right);
        dirty.push(&[f32::NAN, 0.1, f32::INFINITY, 1e30], &[0.1, f32::NAN, 0.0, 0.0]);
        assert_eq!(clean.correlation(), dirty.correlation());
        for _ in 0..2000 {
            dirty.push(&[0.0; 8192], &[0.0; 8192]);
        }
        assert!(
            [dirty.left, dirty.right, dirty.cross]
                .iter()
                .all(|v| *v == 0.0 || v.is_normal())
        );
    }
}
