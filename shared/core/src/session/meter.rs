//! The audio thread's broadband correlation: three running averages, at the same cost for every frame.

use core::f64::consts::{PI, SQRT_2};

use crate::dsp::numbers::to_signed;
use crate::dsp::{db, samples};

/// Sub-sonic rumble is kept out of the live figures: a second-order Butterworth high-pass at this corner, Hz.
pub const LOWEST_HZ: f64 = 40.0;

/// Frames processed at once, and the most that are copied when one of them is invalid.
const CHUNK: usize = 64;

/// Running correlation and levels of a pair of channels, above [`LOWEST_HZ`].
///
/// # Real-time
/// No allocation, no lock, no branch on the level; O(1) per frame. Invalid frames are left out.
#[derive(Clone, Debug)]
pub struct RunningCorrelation {
    rate_hz: f64,
    high_pass: HighPass,
    keep: f64,
    /// Sums of both channels' squares; a frame's weight is 1 at first and is multiplied by `keep` with each later
    /// frame.
    squares: [f64; 2],
    cross: f64,
    /// The weight accumulated so far, 0 to 1; the first moments are normalised with it.
    weight: f64,
    /// The power below which there is no reading.
    floor: f64,
}

/// `(1 − 2z⁻¹ + z⁻²) / (1 + a1 z⁻¹ + a2 z⁻²)` of both channels side by side: transposed direct form II. The
/// Butterworth's gain is not in it, but in [`RunningCorrelation::powers`].
#[derive(Clone, Copy, Debug)]
struct HighPass {
    a: [f64; 2],
    gain: f64,
    state: [[f64; 2]; 2],
}

impl HighPass {
    fn new(rate_hz: f64) -> Self {
        let k = (PI * LOWEST_HZ / rate_hz).tan();
        let norm = 1.0 + SQRT_2 * k + k * k;
        Self {
            a: [2.0 * (k * k - 1.0) / norm, (1.0 - SQRT_2 * k + k * k) / norm],
            gain: 1.0 / norm,
            state: [[0.0; 2]; 2],
        }
    }

    #[inline(always)]
    fn run(&mut self, input: [f64; 2]) -> [f64; 2] {
        let [s0, s1] = self.state;
        let output = lanes(|c| input[c] + s0[c]);
        self.state = [
            lanes(|c| s1[c] - (input[c] + input[c]) - self.a[0] * output[c]),
            lanes(|c| input[c] - self.a[1] * output[c]),
        ];
        output
    }
}

/// An array with `of` called for each channel, which the compiler puts into one instruction.
#[inline(always)]
fn lanes(of: impl FnMut(usize) -> f64) -> [f64; 2] {
    core::array::from_fn(of)
}

impl RunningCorrelation {
    /// Creates one for a sample rate, Hz, and an integration time (the time constant of the exponential average),
    /// seconds.
    #[must_use]
    pub fn new(rate_hz: f64, integration_s: f64) -> Self {
        Self {
            rate_hz,
            high_pass: HighPass::new(rate_hz),
            keep: keep(rate_hz, integration_s),
            squares: [0.0; 2],
            cross: 0.0,
            weight: 0.0,
            floor: db::to_power(db::NO_READING_DBFS),
        }
    }

    /// Changes the integration time; the averages so far stay.
    pub fn set_integration(&mut self, integration_s: f64) {
        let before = 1.0 - self.keep;
        self.keep = keep(self.rate_hz, integration_s);
        // The sums are in units of a new frame's weight, which depends on the integration time.
        let unit = before / (1.0 - self.keep);
        self.squares = self.squares.map(|sum| sum * unit);
        self.cross *= unit;
    }

    /// Clears the averages.
    pub fn reset(&mut self) {
        self.high_pass.state = [[0.0; 2]; 2];
        (self.squares, self.cross, self.weight) = ([0.0; 2], 0.0, 0.0);
    }

    /// Takes a block of frames (as many as the shorter slice has).
    pub fn push(&mut self, left: &[f32], right: &[f32]) {
        let frames = left.len().min(right.len());
        let (mut clean_left, mut clean_right) = ([0.0; CHUNK], [0.0; CHUNK]);
        for (l, r) in left[..frames].chunks(CHUNK).zip(right[..frames].chunks(CHUNK)) {
            let sound =
                samples::measure_block(l, &mut clean_left) & samples::measure_block(r, &mut clean_right);
            let mut count = l.len();
            if !sound {
                count = 0;
                for (&l, &r) in l.iter().zip(r).filter(|&(&l, &r)| samples::is_valid(l, r)) {
                    clean_left[count] = samples::measured(l);
                    clean_right[count] = samples::measured(r);
                    count += 1;
                }
            }
            self.take_in(&clean_left[..count], &clean_right[..count]);
        }
        self.settle();
    }

    fn take_in(&mut self, left: &[f32], right: &[f32]) {
        // Copies, which the compiler keeps in registers.
        let (keep, mut high_pass) = (self.keep, self.high_pass);
        // Even and odd frames have sums of their own, which decay by two frames at once: half as many steps, and the
        // cross terms of a pair take one instruction.
        let ((left_pairs, left_last), (right_pairs, right_last)) =
            (left.as_chunks::<2>(), right.as_chunks::<2>());
        let keep_of_two = keep * keep;
        let (mut first, mut second, mut cross) = ([0.0; 2], self.squares, [0.0, self.cross]);
        for (l, r) in left_pairs.iter().zip(right_pairs) {
            let a = high_pass.run([f64::from(l[0]), f64::from(r[0])]);
            let b = high_pass.run([f64::from(l[1]), f64::from(r[1])]);
            first = lanes(|c| first[c] * keep_of_two + a[c] * a[c]);
            second = lanes(|c| second[c] * keep_of_two + b[c] * b[c]);
            let (both_left, both_right) = ([a[0], b[0]], [a[1], b[1]]);
            cross = lanes(|n| cross[n] * keep_of_two + both_left[n] * both_right[n]);
        }
        self.squares = lanes(|c| first[c] * keep + second[c]);
        self.cross = cross[0] * keep + cross[1];
        for (&l, &r) in left_last.iter().zip(right_last) {
            let frame = high_pass.run([f64::from(l), f64::from(r)]);
            self.squares = lanes(|c| self.squares[c] * keep + frame[c] * frame[c]);
            self.cross = self.cross * keep + frame[0] * frame[1];
        }
        self.high_pass = high_pass;
        // At most a chunk, so the exponent fits.
        self.weight = 1.0 - (1.0 - self.weight) * keep.powi(to_signed(left.len()));
    }

    /// Keeps decaying states out of the subnormal range. Once a block is enough: in double precision they take seconds
    /// to get there.
    fn settle(&mut self) {
        let states = self.high_pass.state.as_flattened_mut().iter_mut();
        for value in states.chain(&mut self.squares).chain([&mut self.cross]) {
            *value = samples::settled(*value);
        }
    }

    /// Mean squares of the left and right channel.
    #[must_use]
    pub fn powers(&self) -> (f64, f64) {
        if self.weight > 0.0 {
            let unit = self.high_pass.gain.powi(2) * (1.0 - self.keep) / self.weight;
            (self.squares[0] * unit, self.squares[1] * unit)
        } else {
            (0.0, 0.0)
        }
    }

    /// The correlation, −1 to +1; `None` when a channel is below the reading floor ([`db::NO_READING_DBFS`]).
    #[must_use]
    pub fn correlation(&self) -> Option<f64> {
        let (left, right) = self.powers();
        (left > self.floor && right > self.floor)
            .then(|| (self.cross / (self.squares[0] * self.squares[1]).sqrt()).clamp(-1.0, 1.0))
    }
}

/// The factor of a frame's weight from one frame to the next.
fn keep(rate_hz: f64, integration_s: f64) -> f64 {
    (-1.0 / (rate_hz * integration_s.clamp(0.01, 60.0))).exp()
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

    /// Against a slow reference: the definition, frame by frame.
    #[test]
    fn it_is_the_exponential_average_of_the_high_passed_channels_whatever_the_blocks() {
        let (rate, seconds) = (48_000.0, 0.3);
        let noise = |seed: u64, len: usize| -> Vec<f32> {
            let mut word = seed;
            (0..len)
                .map(|_| {
                    word = word.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
                    (word >> 40) as f32 / (1u64 << 24) as f32 - 0.5
                })
                .collect()
        };
        let common = noise(1, 30_000);
        let right: Vec<f32> = common
            .iter()
            .zip(noise(2, 30_000))
            .map(|(c, n)| 0.7 * c - 0.2 * n)
            .collect();
        let k = (PI * LOWEST_HZ / rate).tan();
        let (b, norm) = (1.0, 1.0 + SQRT_2 * k + k * k);
        let high_passed = |channel: &[f32]| {
            let (mut x, mut y) = ([0.0; 2], [0.0; 2]);
            let filtered = |&sample: &f32| {
                let now = f64::from(sample);
                let sum = b * (now - 2.0 * x[0] + x[1])
                    - 2.0 * (k * k - 1.0) * y[0]
                    - (1.0 - SQRT_2 * k + k * k) * y[1];
                (x, y) = ([now, x[0]], [sum / norm, y[0]]);
                sum / norm
            };
            channel.iter().map(filtered).collect::<Vec<f64>>()
        };
        let (l, r) = (high_passed(&common), high_passed(&right));
        let keep = (-1.0 / (rate * seconds)).exp();
        let average = |of: &dyn Fn(usize) -> f64| {
            let (sum, weight) = (0..l.len()).fold((0.0, 0.0), |(sum, weight), n| {
                (sum * keep + of(n) * (1.0 - keep), weight * keep + (1.0 - keep))
            });
            sum / weight
        };
        let (left_power, right_power) = (average(&|n| l[n] * l[n]), average(&|n| r[n] * r[n]));
        let correlation = average(&|n| l[n] * r[n]) / (left_power * right_power).sqrt();
        for block in [1, 5, 64, 100, 8192] {
            let mut meter = RunningCorrelation::new(rate, 1.0);
            meter.set_integration(seconds);
            for (l, r) in common.chunks(block).zip(right.chunks(block)) {
                meter.push(l, r);
            }
            let powers = meter.powers();
            assert!(
                (powers.0 / left_power - 1.0).abs() < 1e-9,
                "{block}: {powers:?} {left_power}"
            );
            assert!(
                (powers.1 / right_power - 1.0).abs() < 1e-9,
                "{block}: {powers:?} {right_power}"
            );
            assert!(
                (meter.correlation().unwrap() - correlation).abs() < 1e-9,
                "{block}"
            );
            // A longer integration time must not change the present reading.
            meter.set_integration(3.0);
            assert!((meter.powers().0 / powers.0 - 1.0).abs() < 1e-9);
        }
    }

    #[test]
    fn invalid_leaves_no_trace_and_silence_no_subnormals() {
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
            [dirty.squares[0], dirty.squares[1], dirty.cross]
                .iter()
                .all(|v| *v == 0.0 || v.is_normal())
        );
    }
}
