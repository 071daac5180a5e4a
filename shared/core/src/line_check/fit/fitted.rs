//! What makes a ratio of two lines: gain, delay, and a first-order high-pass in either.

use crate::Complex;
use crate::dsp::numbers::to_index;
use crate::line_check::fit::point::Point;

/// Corners that are tried, Hz; 0 stands for none.
const LOWEST_HZ: f64 = 2.0;
const HIGHEST_HZ: f64 = 256.0;
const STEPS_PER_OCTAVE: f64 = 4.0;
/// How much better (in deviations squared) a fit must be for each further corner.
const WORTH: f64 = 12.0;
/// Variance that no measurement goes below: what a model leaves out.
const FLOOR: f64 = 1e-6;

/// A fitted ratio.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Fit {
    /// Gain of the second over the first, above the corners.
    pub gain_db: f64,
    /// Its standard deviation, dB.
    pub gain_sigma_db: f64,
    /// What is left of the delay, seconds.
    pub delay_s: f64,
    /// Its standard deviation, seconds.
    pub delay_sigma_s: f64,
    /// High-pass corners of the first and second line, Hz; 0: none seen.
    pub corners_hz: [f64; 2],
    /// Rms of what the model leaves of levels, dB.
    pub left_over_db: f64,
}

impl Fit {
    /// Second over first at a frequency, but for the delay and the sign.
    pub fn ratio(&self, hz: f64) -> Complex<f64> {
        let [first, second] = self.corners_hz.map(|corner_hz| high_pass(hz, corner_hz));
        let gain = self.gain_db * core::f64::consts::LN_10 / 20.0;
        Complex::from_polar((gain + second.0 - first.0).exp(), second.1 - first.1)
    }
}

/// `ln|H|` and phase of `jf/(fc + jf)`.
fn high_pass(hz: f64, corner_hz: f64) -> (f64, f64) {
    let x = corner_hz / hz;
    (-0.5 * (x * x).ln_1p(), x.atan())
}

struct Problem<'a> {
    points: &'a [Point],
    /// Weights of the levels and of the phases.
    weights: Vec<(f64, f64)>,
}

struct Solved {
    chi: f64,
    ln_gain: f64,
    delay_s: f64,
    sum_gain: f64,
    sum_delay: f64,
}

impl Problem<'_> {
    fn solve(&self, corners: [f64; 2]) -> Solved {
        let mut sums = [0.0; 6];
        let models: Vec<(f64, f64)> = self
            .points
            .iter()
            .map(|point| {
                let (first, second) = (high_pass(point.hz, corners[0]), high_pass(point.hz, corners[1]));
                (second.0 - first.0, second.1 - first.1)
            })
            .collect();
        for ((point, model), weight) in self.points.iter().zip(&models).zip(&self.weights) {
            let omega = core::f64::consts::TAU * point.hz;
            sums[0] += weight.0 * (point.ln_gain - model.0);
            sums[1] += weight.0;
            sums[2] += weight.1 * omega * wrapped(point.phase - model.1);
            sums[3] += weight.1 * omega * omega;
        }
        let ln_gain = sums[0] / sums[1].max(1e-300);
        let delay_s = -sums[2] / sums[3].max(1e-300);
        let mut chi = 0.0;
        for ((point, model), weight) in self.points.iter().zip(&models).zip(&self.weights) {
            let omega = core::f64::consts::TAU * point.hz;
            let level = point.ln_gain - model.0 - ln_gain;
            let phase = wrapped(point.phase - model.1 + omega * delay_s);
            chi += weight.0 * level * level + weight.1 * phase * phase;
        }
        Solved {
            chi,
            ln_gain,
            delay_s,
            sum_gain: sums[1],
            sum_delay: sums[3],
        }
    }

    /// By how many deviations level and phase of each point are off, in magnitude.
    fn deviations(&self, corners: [f64; 2]) -> Vec<(f64, f64)> {
        let solved = self.solve(corners);
        self.points
            .iter()
            .zip(&self.weights)
            .map(|(point, weight)| {
                let (first, second) = (high_pass(point.hz, corners[0]), high_pass(point.hz, corners[1]));
                let omega = core::f64::consts::TAU * point.hz;
                (
                    (point.ln_gain - (second.0 - first.0) - solved.ln_gain).abs() * weight.0.sqrt(),
                    wrapped(point.phase - (second.1 - first.1) + omega * solved.delay_s).abs()
                        * weight.1.sqrt(),
                )
            })
            .collect()
    }

    /// The corners; each further one must make it better by so much.
    fn corners(&self, needed: f64) -> [f64; 2] {
        let mut chi = self.solve([0.0; 2]).chi;
        let one = [self.search([true, false]), self.search([false, true])];
        let two = self.search([true, true]);
        let better = if one[0].1 < one[1].1 { one[0] } else { one[1] };
        let mut corners = [0.0; 2];
        if better.1 < chi - needed {
            (corners, chi) = better;
        }
        // Two corners can bend to almost anything: only a clear case.
        if two.1 < chi - 2.0 * needed {
            corners = two.0;
        }
        corners
    }

    /// The best corners with those kept at 0 that aren't free.
    fn search(&self, free: [bool; 2]) -> ([f64; 2], f64) {
        let count = to_index((HIGHEST_HZ / LOWEST_HZ).log2() * STEPS_PER_OCTAVE);
        let grid: Vec<f64> = (0..=count)
            .map(|n| LOWEST_HZ * (n as f64 / STEPS_PER_OCTAVE).exp2())
            .collect();
        let none = [0.0];
        let tried = |free: bool| if free { &grid[..] } else { &none[..] };
        let mut best = ([0.0; 2], f64::INFINITY);
        for &first in tried(free[0]) {
            for &second in tried(free[1]) {
                let chi = self.solve([first, second]).chi;
                if chi < best.1 {
                    best = ([first, second], chi);
                }
            }
        }
        let mut step = (0.5 / STEPS_PER_OCTAVE).exp2();
        while step > 1.0002 {
            let mut better = best;
            for index in (0..2).filter(|&index| free[index]) {
                for factor in [step, 1.0 / step] {
                    let mut corners = best.0;
                    corners[index] = (corners[index] * factor).min(HIGHEST_HZ);
                    let chi = self.solve(corners).chi;
                    if chi < better.1 {
                        better = (corners, chi);
                    }
                }
            }
            if better.1 < best.1 {
                best = better;
            } else {
                step = step.sqrt();
            }
        }
        best
    }
}

fn wrapped(phase: f64) -> f64 {
    use core::f64::consts::{PI, TAU};
    (phase + PI).rem_euclid(TAU) - PI
}

/// Fits the points. `None` with too few.
pub(crate) fn fit(points: &[Point]) -> Option<Fit> {
    if points.len() < 6 {
        return None;
    }
    let weights = |scale: &[(f64, f64)]| {
        points
            .iter()
            .zip(scale)
            .map(|(point, scale)| {
                (
                    scale.0 / (point.variance + point.level_variance + FLOOR),
                    scale.1 / (point.variance + FLOOR),
                )
            })
            .collect()
    };
    let mut problem = Problem {
        points,
        weights: weights(&vec![(1.0, 1.0); points.len()]),
    };
    let (mut corners, mut noise) = ([0.0; 2], 1.0);
    for round in 0..3 {
        // How much larger than by noise the deviations are, from their median; then outliers count less (Huber).
        let deviations = problem.deviations(corners);
        if round > 0 {
            let mut sorted: Vec<f64> = deviations.iter().flat_map(|d| [d.0, d.1]).collect();
            sorted.sort_by(f64::total_cmp);
            // The median of a normal deviate's magnitude is 0.6745.
            let spread = (sorted[sorted.len() / 2] / 0.6745).max(0.05);
            noise = spread * spread;
            let huber = |deviation: f64| (2.0 * spread / deviation.max(1e-12)).min(1.0);
            let scale: Vec<(f64, f64)> = deviations.iter().map(|d| (huber(d.0), huber(d.1))).collect();
            problem.weights = weights(&scale);
        }
        corners = problem.corners(WORTH * noise.max(0.05));
    }
    let solved = problem.solve(corners);
    let noise = noise.max(1.0);
    let levels: f64 = points
        .iter()
        .map(|point| {
            let (first, second) = (high_pass(point.hz, corners[0]), high_pass(point.hz, corners[1]));
            (point.ln_gain - (second.0 - first.0) - solved.ln_gain).powi(2)
        })
        .sum();
    let to_db = 20.0 / core::f64::consts::LN_10;
    Some(Fit {
        gain_db: to_db * solved.ln_gain,
        gain_sigma_db: to_db * (noise / solved.sum_gain.max(1e-300)).sqrt(),
        delay_s: solved.delay_s,
        delay_sigma_s: (noise / solved.sum_delay.max(1e-300)).sqrt(),
        corners_hz: corners,
        left_over_db: to_db * (levels / points.len() as f64).sqrt(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn made(gain: f64, delay_s: f64, corners: [f64; 2], from_hz: f64) -> Vec<Point> {
        (0..100)
            .map(|n| from_hz * (f64::from(n) / 12.0).exp2())
            .filter(|&hz| hz < 16_000.0)
            .map(|hz| {
                let (first, second) = (high_pass(hz, corners[0]), high_pass(hz, corners[1]));
                Point {
                    hz,
                    ln_gain: gain.ln() + second.0 - first.0,
                    phase: second.1 - first.1 - core::f64::consts::TAU * hz * delay_s,
                    variance: 1e-4,
                    level_variance: 0.0,
                    coherence: 1.0,
                }
            })
            .collect()
    }

    #[test]
    fn gain_delay_and_corners_come_back() {
        for corners in [[0.0, 0.0], [0.0, 30.0], [120.0, 0.0], [20.0, 150.0]] {
            let fit = fit(&made(0.1, 3e-6, corners, 20.0)).unwrap();
            assert!((fit.gain_db + 20.0).abs() < 0.01, "{corners:?}: {fit:?}");
            assert!((fit.delay_s - 3e-6).abs() < 1e-8, "{corners:?}: {fit:?}");
            for (found, truth) in fit.corners_hz.iter().zip(corners) {
                assert!((found - truth).abs() <= 0.02 * truth, "{corners:?}: {fit:?}");
            }
        }
    }
}
