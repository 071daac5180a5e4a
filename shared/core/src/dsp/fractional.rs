//! Delays of a fraction of a sample, for the audition path.
//!
//! A sinc under a Kaiser window, 64 taps. Up to 0.93 of half the sample rate its response is flat to 0.02 dB; the
//! filter is causal, so everything is delayed by [`COMMON_DELAY`] samples besides.

use core::f64::consts::PI;

use multiversion::multiversion;

use crate::dsp::numbers::{to_index, to_single};

/// Taps of the interpolation filter.
pub const TAPS: usize = 64;

/// Latency of the interpolation, whole samples, on top of the delay asked for.
pub const COMMON_DELAY: usize = TAPS / 2 - 1;

const PHASES: usize = 256;
const KAISER_BETA: f64 = 6.0;

/// Samples computed side by side.
const GROUP: usize = 32;

/// Input samples that a group of output samples needs.
const WINDOW: usize = GROUP + TAPS - 1;

/// A kernel prepared for running over a block.
#[derive(Clone, Copy, Debug)]
#[repr(align(16))]
pub struct Kernel {
    /// Last tap first, as the samples come.
    taps: [f32; TAPS],
}

impl Kernel {
    /// The kernel whose tap `j` belongs to the sample `j` frames ago, times `amplitude`.
    #[must_use]
    pub fn new(taps: &[f32; TAPS], amplitude: f32) -> Self {
        let mut ready = [0.0; TAPS];
        for (ready, tap) in ready.iter_mut().zip(taps.iter().rev()) {
            *ready = tap * amplitude;
        }
        Self { taps: ready }
    }

    /// Fills `out`: its sample `n` from the [`TAPS`] `samples` from `n` on. `samples` must be `TAPS − 1` longer than
    /// `out`; where they are missing, zeros are taken.
    #[inline]
    pub fn run(&self, samples: &[f32], out: &mut [f32]) {
        run(&self.taps, samples, out);
    }
}

#[multiversion(targets("x86_64+avx"))]
fn run(taps: &[f32; TAPS], samples: &[f32], out: &mut [f32]) {
    for (group, out) in out.chunks_mut(GROUP).enumerate() {
        let samples = samples.get(group * GROUP..).unwrap_or_default();
        let mut padded;
        let window = if let Some(window) = samples.first_chunk() {
            window
        } else {
            padded = [0.0; WINDOW];
            padded[..samples.len()].copy_from_slice(samples);
            &padded
        };
        let sums = weighted(taps, window);
        out.copy_from_slice(&sums[..out.len()]);
    }
}

/// Applies each tap to all samples of a group at once, which needs no sum across a vector.
#[inline(always)]
fn weighted(taps: &[f32; TAPS], window: &[f32; WINDOW]) -> [f32; GROUP] {
    let mut sums = [0.0; GROUP];
    for (number, taps) in taps.as_chunks::<4>().0.iter().enumerate() {
        let window = &window[4 * number..];
        for (tap, samples) in taps.iter().zip(window.windows(GROUP)) {
            for (sum, sample) in sums.iter_mut().zip(samples) {
                *sum += tap * sample;
            }
        }
    }
    sums
}

/// A table of interpolation kernels for any fraction of a sample.
#[derive(Clone, Debug)]
pub struct FractionalTable {
    kernels: Vec<[f32; TAPS]>,
}

/// The modified Bessel function of the first kind, order 0, by its power series.
fn bessel_i0(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let (mut term, mut sum) = (1.0, 1.0);
    for k in 1..64 {
        term *= quarter / f64::from(k * k);
        sum += term;
    }
    sum
}

impl Default for FractionalTable {
    fn default() -> Self {
        Self::new()
    }
}

impl FractionalTable {
    /// Computes the table (allocates 66 kB).
    #[must_use]
    pub fn new() -> Self {
        let kernels = (0..=PHASES)
            .map(|phase| Self::exact(phase as f64 / PHASES as f64))
            .collect();
        Self { kernels }
    }

    fn exact(fraction: f64) -> [f32; TAPS] {
        let mut taps = [0.0f64; TAPS];
        for (j, tap) in taps.iter_mut().enumerate() {
            let t = j as f64 - COMMON_DELAY as f64 - fraction;
            let sinc = if t.abs() < 1e-12 {
                1.0
            } else {
                (PI * t).sin() / (PI * t)
            };
            let edge = t / (TAPS as f64 / 2.0);
            let window =
                bessel_i0(KAISER_BETA * (1.0 - (edge * edge).min(1.0)).sqrt()) / bessel_i0(KAISER_BETA);
            *tap = sinc * window;
        }
        // Exactly 1 at 0 Hz.
        let sum: f64 = taps.iter().sum();
        taps.map(|tap| to_single(tap / sum))
    }

    /// The kernel for a delay of `fraction` of a sample, 0 to 1: tap `j` belongs to the sample `j` frames ago.
    /// Does not allocate.
    #[must_use]
    pub fn kernel(&self, fraction: f64) -> [f32; TAPS] {
        let position = fraction.clamp(0.0, 1.0) * PHASES as f64;
        let phase = to_index(position).min(PHASES - 1);
        let blend = to_single(position - phase as f64);
        let (low, high) = (&self.kernels[phase], &self.kernels[phase + 1]);
        let mut taps = *low;
        for (tap, high) in taps.iter_mut().zip(high) {
            *tap += (high - *tap) * blend;
        }
        taps
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Complex;

    #[test]
    fn the_response_is_flat_and_the_delay_is_what_was_asked_for() {
        let table = FractionalTable::new();
        for fraction in [0.0, 0.1, 0.25, 0.4999, 0.5, 0.77, 1.0] {
            let kernel = table.kernel(fraction);
            for share in [0.01, 0.1, 0.3, 0.5, 0.8, 0.93] {
                let turn = PI * share;
                let response: Complex<f64> = kernel
                    .iter()
                    .enumerate()
                    .map(|(j, &tap)| Complex::from_polar(f64::from(tap), -turn * j as f64))
                    .sum();
                let wanted = Complex::from_polar(1.0, -turn * (COMMON_DELAY as f64 + fraction));
                let error = (response / wanted - Complex::new(1.0, 0.0)).norm();
                assert!(
                    error < if share < 0.9 { 1e-3 } else { 3e-3 },
                    "{fraction} at {share}: {error}"
                );
            }
        }
    }
}
