//! One plucked string: the looped delay line of Karplus and Strong (Computer Music Journal 7(2), 1983), tuned by an
//! all-pass as Jaffe and Smith show in the same issue.

use std::f64::consts::{PI, TAU};

use crate::Rng;
use crate::numbers::to_index;

/// Brightness of the loop: corner of the low-pass of every round trip, Hz.
const LOSS_CORNER_HZ: f64 = 11_000.0;
/// Highest partial of a pluck, Hz.
const BRIGHTEST_HZ: f64 = 7000.0;
/// Time constant of a damped string, seconds.
const RELEASE_S: f64 = 0.035;
/// Amplitude at which a decaying string is cut off: −90 dB.
const INAUDIBLE: f64 = 3e-5;

/// A string about to be released.
pub(super) struct Pluck {
    pub hz: f64,
    pub held_s: f64,
    pub loudness: f64,
    /// Where it is plucked, as a share of its length.
    pub position: f64,
    /// Draws the phases of the partials, the only difference in shape between two plucks of the same note.
    pub phase_rng: Rng,
}

impl Pluck {
    /// Adds the string's sound to `out`, beginning at its first sample.
    pub(super) fn add_to(mut self, out: &mut [f64], rate_hz: f64) {
        let omega = TAU * self.hz / rate_hz;
        let pole = (-TAU * LOSS_CORNER_HZ / rate_hz).exp();
        let loss_delay = (pole * omega.sin() / (1.0 - pole * omega.cos())).atan() / omega;
        let around = rate_hz / self.hz - loss_delay;
        // The all-pass works best between a tenth and just over one sample.
        let whole = (around - 0.1).floor().max(1.0);
        let part = around - whole;
        let all_pass = (((1.0 - part) * omega / 2.0).sin()) / (((1.0 + part) * omega / 2.0).sin());
        // Low strings ring longer: about 4 s for the lowest of a guitar, 1.5 s for its highest frets.
        let ring_s = (4.0 * (82.4 / self.hz).sqrt()).clamp(0.8, 4.5);
        let loop_gain = 10f64.powf(-3.0 / (self.hz * ring_s));

        let mut line = self.shape(to_index(whole), rate_hz);
        let held = to_index(self.held_s * rate_hz);
        let release = (-1.0 / (RELEASE_S * rate_hz)).exp();
        let (mut at, mut low, mut last_in, mut last_out) = (0, 0.0, 0.0, 0.0);
        let mut hand = self.loudness;
        for (n, y) in out.iter_mut().enumerate() {
            let x = line[at];
            low = x + pole * (low - x);
            let looped = loop_gain * low;
            last_out = all_pass * (looped - last_out) + last_in;
            last_in = looped;
            line[at] = last_out;
            at += 1;
            if at == line.len() {
                at = 0;
            }
            if n >= held {
                hand *= release;
                if hand < INAUDIBLE {
                    break;
                }
            }
            *y += hand * x;
        }
    }

    /// The string's shape as one period of partials. Made of partials rather than of noise, so the same pluck sounds
    /// alike at every sample rate.
    fn shape(&mut self, len: usize, rate_hz: f64) -> Vec<f64> {
        let mut shape = vec![0.0; len];
        let highest = to_index(BRIGHTEST_HZ.min(0.45 * rate_hz) / self.hz);
        for partial in 1..=highest.min(len.saturating_sub(1) / 2) {
            let k = partial as f64;
            let amplitude = (PI * k * self.position).sin() / k.powf(0.9);
            let step = TAU * k / len as f64;
            // A recurrence for the cosine; one call per sample would cost more than the string itself.
            let phase = TAU * self.phase_rng.uniform();
            let (mut before, mut now) = (amplitude * (phase - step).cos(), amplitude * phase.cos());
            let twice_cos = 2.0 * step.cos();
            for x in &mut shape {
                *x += now;
                (before, now) = (now, twice_cos * now - before);
            }
        }
        shape
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fft::spectrum;

    #[test]
    fn strings_are_in_tune_at_every_rate() {
        for rate_hz in [8000.0, 22_050.0, 44_100.0, 48_000.0, 192_000.0] {
            for hz in [82.4, 196.0, 329.6, 659.3] {
                let mut out = vec![0.0; (2.0 * rate_hz) as usize];
                let pluck = Pluck {
                    hz,
                    held_s: 9.0,
                    loudness: 1.0,
                    position: 0.13,
                    phase_rng: Rng::new(7),
                };
                pluck.add_to(&mut out, rate_hz);
                // Half-hertz bins; a Hann window and a parabola through three levels find the fundamental.
                let len = out.len() as f64;
                out.iter_mut()
                    .enumerate()
                    .for_each(|(n, x)| *x *= 0.5 - 0.5 * (TAU * n as f64 / len).cos());
                let level: Vec<f64> = spectrum(&out, out.len()).iter().map(|b| b.norm().ln()).collect();
                let (low, high) = ((1.6 * hz) as usize, (2.4 * hz) as usize);
                let top = (low..high)
                    .max_by(|a, b| level[*a].total_cmp(&level[*b]))
                    .unwrap();
                let (a, b, c) = (level[top - 1], level[top], level[top + 1]);
                let found = (top as f64 + 0.5 * (a - c) / (a - 2.0 * b + c)) / 2.0;
                let cents = 1200.0 * (found / hz).log2();
                assert!(
                    cents.abs() < 3.0,
                    "{hz} Hz at {rate_hz}: {found} Hz, {cents} cents off"
                );
            }
        }
    }
}
