//! The offsets of passes in a full one, to within a step: on sound decimated to a few kHz, by transforms.

use realfft::RealFftPlanner;

use super::sound::{PIECE, Sound};
use crate::Complex;
use crate::dsp::numbers::circular_place;
use crate::spectrum::pair_sums;

/// Number of peaks of each cross-correlation that are combined.
const TOPS: usize = 24;

/// A decimated pass.
pub(super) struct Thin {
    spectra: [Vec<Complex<f64>>; 2],
    energy: f64,
}

/// Cross-correlations of decimated passes by FFT.
pub(super) struct Coarse {
    /// Decimation factor.
    step: usize,
    /// Longest lag searched, decimated frames.
    reach: isize,
    /// Length of the longest pass, decimated frames.
    longest: usize,
    len: usize,
    forward: std::sync::Arc<dyn realfft::RealToComplex<f64>>,
    inverse: std::sync::Arc<dyn realfft::ComplexToReal<f64>>,
}

impl Coarse {
    /// Creates one for passes of up to `longest` frames that begin up to `reach` frames apart, decimated by `step`.
    pub(super) fn new(longest: usize, reach: usize, step: usize) -> Self {
        let longest = longest.div_ceil(step);
        let reach = reach.div_ceil(step).min(longest);
        // Two passes may lie twice the reach apart; up to there lags don't wrap around.
        let len = transform_len(longest + (2 * reach).min(longest) + 2);
        let mut planner = RealFftPlanner::<f64>::new();
        Self {
            step,
            reach: reach.cast_signed(),
            longest,
            len,
            forward: planner.plan_fft_forward(len),
            inverse: planner.plan_fft_inverse(len),
        }
    }

    /// Decimates a pass.
    pub(super) fn thin(&self, pass: &impl Sound) -> Thin {
        let mut energy = 0.0;
        let spectra = [0, 1].map(|channel| {
            let mut padded = vec![0.0; self.len];
            let thinned = thinned(pass, channel, self.step);
            energy += pair_sums::product(&thinned, &thinned);
            padded[..thinned.len()].copy_from_slice(&thinned);
            let mut spectrum = self.forward.make_output_vec();
            if self.forward.process(&mut padded, &mut spectrum).is_err() {
                spectrum.fill(Complex::new(0.0, 0.0));
            }
            spectrum
        });
        Thin { spectra, energy }
    }

    /// `Σ a[n]·b[n−lag]` over both channels.
    pub(super) fn cross(&self, a: &Thin, b: &Thin) -> Cross {
        let [[a_left, a_right], [b_left, b_right]] = [&a.spectra, &b.spectra];
        let mut product: Vec<Complex<f64>> = (0..=self.len / 2)
            .map(|k| a_left[k] * b_left[k].conj() + a_right[k] * b_right[k].conj())
            .collect();
        product[0].im = 0.0;
        product[self.len / 2].im = 0.0;
        let mut lags = vec![0.0; self.len];
        if self.inverse.process(&mut product, &mut lags).is_err() {
            lags.fill(0.0);
        }
        let scale = 1.0 / self.len as f64;
        lags.iter_mut().for_each(|lag| *lag *= scale);
        Cross {
            lags,
            longest: self.longest,
            reach: self.reach,
        }
    }

    /// The lags with the least residual among the peaks of the cross-correlations, in frames.
    pub(super) fn together(&self, passes: [&Thin; 2], in_full: [&Cross; 2], between: &Cross) -> [isize; 2] {
        super::terms::least_residual(
            [&in_full[0].tops(), &in_full[1].tops()],
            passes.map(|pass| pass.energy),
            |d| in_full[0].at(d),
            |w| in_full[1].at(w),
            |lag| between.at(lag),
        )
        .0
        .map(|lag| lag * self.step.cast_signed())
    }

    /// The lag of the highest peak, in frames.
    pub(super) fn highest(&self, cross: &Cross) -> isize {
        (-self.reach..=self.reach)
            .max_by(|&p, &q| cross.height(p).total_cmp(&cross.height(q)))
            .unwrap_or(0)
            * self.step.cast_signed()
    }
}

/// A cross-correlation; negative lags at the end.
pub(super) struct Cross {
    lags: Vec<f64>,
    longest: usize,
    reach: isize,
}

impl Cross {
    fn at(&self, lag: isize) -> f64 {
        if lag.unsigned_abs() >= self.longest {
            return 0.0;
        }
        self.lags[circular_place(lag, self.lags.len())]
    }

    fn height(&self, lag: isize) -> f64 {
        self.at(lag).abs()
    }

    /// The lags of the highest peaks, of either sign; always includes 0.
    fn tops(&self) -> Vec<isize> {
        let mut found: Vec<isize> = (-self.reach..=self.reach)
            .filter(|&lag| {
                self.height(lag) >= self.height(lag - 1) && self.height(lag) > self.height(lag + 1)
            })
            .collect();
        found.sort_by(|&a, &b| self.height(b).total_cmp(&self.height(a)));
        found.truncate(TOPS);
        found.push(0);
        found
    }
}

/// Every `step`-th sample under a triangular low-pass of two steps, which is enough for a search.
fn thinned(pass: &impl Sound, channel: usize, step: usize) -> Vec<f64> {
    // A triangle: its zeros lie on the frequencies that would alias to 0 Hz.
    let weights: Vec<f64> = (1..2 * step)
        .map(|i| (step - i.abs_diff(step)) as f64 / (step * step) as f64)
        .collect();
    let per_piece = (PIECE / step).max(1);
    let mut around = vec![0.0; (per_piece + 1) * step];
    let mut out = Vec::with_capacity(pass.len().div_ceil(step));
    for start in (0..pass.len()).step_by(per_piece * step) {
        pass.fill(channel, start.cast_signed() + 1 - step.cast_signed(), &mut around);
        let frames = (pass.len() - start).div_ceil(step).min(per_piece);
        out.extend((0..frames).map(|n| pair_sums::product(&around[n * step..], &weights)));
    }
    out
}

/// The least length that transforms quickly: even, with the prime factors 2, 3 and 5 only.
pub(super) fn transform_len(at_least: usize) -> usize {
    let at_least = at_least.max(32);
    let mut best = at_least.next_power_of_two();
    let mut fives = 1;
    while fives < best {
        let mut odd = fives;
        while odd < best {
            let twos = at_least.div_ceil(odd).next_power_of_two().max(2);
            best = best.min(odd * twos);
            odd *= 3;
        }
        fives *= 5;
    }
    best
}

#[cfg(test)]
mod tests {
    use super::super::sound::Recorded;
    use super::*;

    #[test]
    fn transforms_are_hardly_longer_than_they_must_be() {
        for at_least in [1, 31, 100, 1000, 78_125, 138_001, 1_000_001] {
            let len = transform_len(at_least);
            assert!(len >= at_least && len.is_multiple_of(2), "{at_least}: {len}");
            assert!(len as f64 <= 1.1 * at_least.max(32) as f64, "{at_least}: {len}");
            let mut rest = len;
            for factor in [2, 3, 5] {
                while rest.is_multiple_of(factor) {
                    rest /= factor;
                }
            }
            assert_eq!(rest, 1, "{len}");
        }
    }

    #[test]
    fn thinning_is_the_mean_under_a_triangle() {
        let samples: Vec<f32> = (0..1003u32)
            .map(|n| ((n * 7919) % 1000) as f32 / 500.0 - 1.0)
            .collect();
        let pass = Recorded([&samples, &samples]);
        for step in [1, 2, 8, 32] {
            let thin = thinned(&pass, 0, step);
            assert_eq!(thin.len(), samples.len().div_ceil(step));
            for (at, found) in (0..).step_by(step).zip(&thin) {
                let plain: f64 = samples
                    .iter()
                    .enumerate()
                    .map(|(n, &x)| f64::from(x) * (step as f64 - n.abs_diff(at) as f64).max(0.0))
                    .sum::<f64>()
                    / (step * step) as f64;
                assert!((found - plain).abs() < 1e-12, "{step}, {at}: {found} {plain}");
            }
        }
    }
}
