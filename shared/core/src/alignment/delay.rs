//! The delay and polarity between the channels, from the cross-spectrum.
//!
//! Generalised cross-correlation with the maximum-likelihood weight `C / (|S_LR|·(1 − C))` (Knapp & Carter, "The
//! Generalized Correlation Method for Estimation of Time Delay", IEEE Trans. ASSP-24(4), 1976), on a grid four times as
//! fine as the samples. The peak's position between two grid points is then found from the correlation's closed form, a
//! sum of cosines: a parabola through the raw grid would err by a quarter sample, one through the fine grid still by
//! 0.002.

use std::sync::Arc;

use realfft::{ComplexToReal, RealFftPlanner};

use crate::Complex;
use crate::dsp::fft;
use crate::dsp::numbers::{circular_place, to_index};
use crate::routing::line::Polarity;
use crate::spectrum::cross_spectrum::{CrossSpectrum, unbiased_coherence};
use crate::spectrum::welch::window_autocorrelation;

/// Longest delay searched for in either direction, seconds.
pub const SEARCH_S: f64 = 0.045;

/// Bins whose product of both channels' powers is below this share of the largest one are left out.
const GATE: f64 = 1e-6;
/// Coherence is capped here, so that one perfect bin doesn't outweigh all others.
const COHERENCE_CAP: f64 = 0.999;
/// Oversampling of the correlation: grid points per sample.
const FINER: usize = 4;
/// Least height of a peak that counts as a delay, as a share of a perfectly aligned one.
const CONFIDENT: f64 = 0.35;
/// Power spread over fewer bins than this is a tone (one alone, under a Hann window, spreads over 2 to 2.7): its delay
/// is ambiguous by whole periods.
const TONE_BINS: f64 = 3.0;
/// Least height of a candidate's peak over the root mean square of the rest of the phase transform.
const STANDS_OUT: f64 = 14.0;
/// Frequencies the phase transform uses, Hz: where a guitar has its partials.
const LISTENED_HZ: core::ops::Range<f64> = 70.0..11_000.0;
/// Newton iterations that refine the peak between two grid points; three reach the rounding error.
const NEWTON_STEPS: usize = 4;
/// A second peak of more than this share of the first makes the delay ambiguous (a sine has them every period).
const AMBIGUOUS: f64 = 0.85;

/// A single delay between the channels.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct ChannelDelay {
    /// How much later the right channel is, seconds; negative when the left one is the later.
    pub delay_s: f64,
    /// `Flipped` when one channel is the other's negative.
    pub polarity: Polarity,
    /// The peak's height over that of perfectly aligned channels, 0 to 1.
    pub confidence: f64,
}

/// Finds the delay between the channels; owns its transform and buffers.
pub struct DelayFinder {
    rate_hz: f64,
    block_len: usize,
    inverse: Arc<dyn ComplexToReal<f64>>,
    weighted: Vec<Complex<f64>>,
    /// A copy of the weighted bins: the transform overwrites its input.
    kept: Vec<Complex<f64>>,
    correlation: Vec<f64>,
    /// The share of the correlation that the window leaves at each lag on the fine grid, from lag 0.
    overlaps: Vec<f64>,
    scratch: Vec<Complex<f64>>,
}

impl std::fmt::Debug for DelayFinder {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("DelayFinder")
            .field("block_len", &self.block_len)
            .finish_non_exhaustive()
    }
}

impl DelayFinder {
    /// For spectra of blocks of `block_len` frames at `rate_hz`.
    ///
    /// # Panics
    /// If `block_len` is odd or 0.
    #[must_use]
    pub fn new(rate_hz: f64, block_len: usize) -> Self {
        assert!(
            block_len > 0 && block_len.is_multiple_of(2),
            "a block holds an even number of samples"
        );
        let inverse = RealFftPlanner::<f64>::new().plan_fft_inverse(FINER * block_len);
        let scratch = inverse.make_scratch_vec();
        let weighted = inverse.make_input_vec();
        let correlation = inverse.make_output_vec();
        let fine_len = correlation.len();
        let reach = to_index(SEARCH_S * rate_hz * FINER as f64).min(fine_len / 2 - 2);
        // The search for where a peak has fallen goes one reach past either end.
        let overlaps = (0..=2 * reach)
            .map(|lag| window_autocorrelation(lag as f64 / fine_len as f64).max(0.05))
            .collect();
        Self {
            rate_hz,
            block_len,
            inverse,
            weighted,
            kept: vec![Complex::new(0.0, 0.0); block_len / 2 + 1],
            correlation,
            overlaps,
            scratch,
        }
    }

    /// The delay between the channels, or `None` when there's no single one (unrelated channels, a pure tone, too few
    /// averages). Does not allocate.
    ///
    /// # Panics
    /// If the spectrum's number of cells is not the block length's.
    pub fn find(&mut self, spectrum: &CrossSpectrum) -> Option<ChannelDelay> {
        assert_eq!(
            spectrum.len(),
            self.block_len / 2 + 1,
            "a finder belongs to one block length"
        );
        if spectrum.averages <= 1.0 {
            return None;
        }
        let loudest = spectrum
            .ll
            .iter()
            .zip(&spectrum.rr)
            .map(|(l, r)| l * r)
            .fold(0.0, f64::max);
        if loudest <= 0.0 || is_tone(spectrum) {
            return None;
        }
        self.weighted.fill(Complex::new(0.0, 0.0));
        let mut total = 0.0;
        // The bins at 0 Hz and at half the rate are real: they carry no phase.
        for k in 1..spectrum.len() - 1 {
            let product = spectrum.ll[k] * spectrum.rr[k];
            let magnitude = spectrum.lr[k].norm();
            if product < loudest * GATE * GATE || magnitude <= 0.0 {
                continue;
            }
            let coherence = unbiased_coherence((magnitude * magnitude / product).min(1.0), spectrum.averages)
                .min(COHERENCE_CAP);
            let weight = coherence / (1.0 - coherence);
            // Conjugated, so that a late right channel peaks at a positive lag.
            self.weighted[k] = spectrum.lr[k].conj() * (weight / magnitude);
            total += 2.0 * weight;
        }
        if total <= 0.0 {
            return None;
        }
        self.kept.copy_from_slice(&self.weighted[..spectrum.len()]);
        fft::inverse(
            &*self.inverse,
            &mut self.weighted,
            &mut self.correlation,
            &mut self.scratch,
        );
        self.peak(total)
    }

    /// The delay that would line the channels up best by phase alone (the phase transform, Knapp & Carter 1976),
    /// samples, positive when the right one is later. It is only a candidate: whether it explains the pair is for the
    /// caller to test. `None` if no peak stands out. Does not allocate.
    ///
    /// # Panics
    /// If the spectrum's number of cells is not the block length's.
    pub fn candidate(&mut self, spectrum: &CrossSpectrum) -> Option<f64> {
        assert_eq!(
            spectrum.len(),
            self.block_len / 2 + 1,
            "a finder belongs to one block length"
        );
        self.weighted.fill(Complex::new(0.0, 0.0));
        let bin_hz = self.rate_hz / self.block_len as f64;
        let first = to_index(LISTENED_HZ.start / bin_hz);
        let last = to_index(LISTENED_HZ.end / bin_hz).min(spectrum.len() - 1);
        for k in first.max(1)..last {
            let magnitude = spectrum.lr[k].norm();
            if magnitude > 0.0 {
                self.weighted[k] = spectrum.lr[k].conj() / magnitude;
            }
        }
        self.kept.copy_from_slice(&self.weighted[..spectrum.len()]);
        fft::inverse(
            &*self.inverse,
            &mut self.weighted,
            &mut self.correlation,
            &mut self.scratch,
        );
        let reach = self.overlaps.len().cast_signed() / 2;
        let (mut best, mut squares) = ((0isize, 0.0f64), 0.0);
        for lag in -reach..=reach {
            let height = self.correlation[circular_place(lag, self.correlation.len())];
            squares += height * height;
            if height.abs() > best.1.abs() {
                best = (lag, height);
            }
        }
        let rms = (squares / (2 * reach + 1) as f64).sqrt();
        (best.1.abs() > STANDS_OUT * rms && rms > 0.0).then(|| self.refined(best.0, best.1.signum()))
    }

    /// The correlation at a lag on the fine grid, corrected for the window.
    fn at(&self, lag: isize) -> f64 {
        self.correlation[circular_place(lag, self.correlation.len())] / self.overlaps[lag.unsigned_abs()]
    }

    fn peak(&self, total: f64) -> Option<ChannelDelay> {
        let reach = self.overlaps.len().cast_signed() / 2;
        let mut best = (0isize, 0.0f64);
        for lag in -reach..=reach {
            let height = self.at(lag);
            if height.abs() > best.1.abs() {
                best = (lag, height);
            }
        }
        let (lag, height) = best;
        let sign = height.signum();
        // The next highest peak of the same sign that isn't a shoulder of this one, i.e. beyond where the magnitude has
        // fallen to half.
        let fallen = |step: isize| {
            (1..reach)
                .map(|i| lag + step * i)
                .find(|&l| self.at(l) * sign < 0.5 * height.abs())
                .unwrap_or(lag + step * reach)
        };
        let (below, above) = (fallen(-1), fallen(1));
        let second = (-reach..=reach)
            .filter(|&l| l <= below || l >= above)
            .map(|l| self.at(l) * sign)
            .fold(0.0, f64::max);
        let confidence = (height.abs() / total).min(1.0);
        if confidence < CONFIDENT || second > AMBIGUOUS * height.abs() {
            return None;
        }
        Some(ChannelDelay {
            delay_s: self.refined(lag, sign) / self.rate_hz,
            polarity: if height > 0.0 {
                Polarity::Normal
            } else {
                Polarity::Flipped
            },
            confidence,
        })
    }

    /// The position of the peak (of the given sign) near a grid lag, samples: where the slope of the correlation's
    /// closed form is zero. The window scales the whole of a delayed cross term alike, so it doesn't move the peak.
    fn refined(&self, lag: isize, sign: f64) -> f64 {
        let coarse = lag as f64 / FINER as f64;
        let reach = 1.0 / FINER as f64;
        let bin = core::f64::consts::TAU / self.block_len as f64;
        let mut delay = coarse;
        for _ in 0..NEWTON_STEPS {
            let (mut slope, mut curvature) = (0.0, 0.0);
            // The phase turns by the same angle from bin to bin, so one phasor is enough; over the longest block its
            // rounding errors add up to 1e-11.
            let step = Complex::from_polar(1.0, bin * delay);
            let mut turn = Complex::new(1.0, 0.0);
            for (k, weighted) in self.kept.iter().enumerate() {
                let omega = bin * k as f64;
                slope -= omega * (weighted.re * turn.im + weighted.im * turn.re);
                curvature -= omega * omega * (weighted.re * turn.re - weighted.im * turn.im);
                turn *= step;
            }
            // At a peak the curvature has the opposite sign.
            if curvature * sign >= 0.0 {
                break;
            }
            delay = (delay - slope / curvature).clamp(coarse - reach, coarse + reach);
        }
        delay
    }
}

/// Whether nearly all power lies in a few neighbouring bins.
fn is_tone(spectrum: &CrossSpectrum) -> bool {
    let (mut sum, mut squares) = (0.0, 0.0);
    for (l, r) in spectrum.ll.iter().zip(&spectrum.rr) {
        let power = l + r;
        sum += power;
        squares += power * power;
    }
    sum * sum < TONE_BINS * squares
}
