//! Corrects a windowed cross term over lag for the window's loss at a delay.
//!
//! The cross term of blocks under a window is the true cross-correlation times the window's autocorrelation. The part
//! around one delay is corrected by a single factor: dividing at every lag would sharpen the cross term over frequency,
//! but not the powers.

use std::sync::Arc;

use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

use super::window_autocorrelation;
use crate::Complex;
use crate::dsp::fft;
use crate::spectrum::cross_spectrum::CrossSpectrum;

/// Lower limit of the window's autocorrelation as a divisor.
const LEAST_LEFT: f64 = 0.2;

/// Corrects spectra of one block length; owns its transforms and buffers.
pub struct Lags {
    rate_hz: f64,
    len: usize,
    inverse: Arc<dyn ComplexToReal<f64>>,
    forward: Arc<dyn RealToComplex<f64>>,
    bins: Vec<Complex<f64>>,
    lags: Vec<f64>,
    spare: Vec<f64>,
    scratch: Vec<Complex<f64>>,
}

impl std::fmt::Debug for Lags {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Lags")
            .field("len", &self.len)
            .finish_non_exhaustive()
    }
}

impl Lags {
    /// Creates one for averages over blocks of `len` frames.
    ///
    /// # Panics
    /// If `len` is odd or below 4.
    #[must_use]
    pub fn new(rate_hz: f64, len: usize) -> Self {
        assert!(
            len >= 4 && len.is_multiple_of(2),
            "a block holds an even number of samples"
        );
        let mut planner = RealFftPlanner::<f64>::new();
        let inverse = planner.plan_fft_inverse(len);
        let forward = planner.plan_fft_forward(len);
        let scratch_len = inverse.get_scratch_len().max(forward.get_scratch_len());
        Self {
            rate_hz,
            len,
            bins: inverse.make_input_vec(),
            lags: inverse.make_output_vec(),
            spare: inverse.make_output_vec(),
            scratch: vec![Complex::new(0.0, 0.0); scratch_len],
            inverse,
            forward,
        }
    }

    /// Corrects the part of a cross term that is late by about `delay_s` (positive when the right channel is later) for
    /// the window's loss. Does not allocate.
    ///
    /// # Panics
    /// If the spectrum's number of bins is not `len / 2 + 1`.
    pub fn correct(&mut self, spectrum: &mut CrossSpectrum, delay_s: f64) {
        if delay_s == 0.0 {
            return;
        }
        self.make_lags(&spectrum.lr);
        let more = self.gain(delay_s) - 1.0;
        for n in 0..self.len {
            self.spare[n] = self.lags[n] * (1.0 + more * self.lateness(n, delay_s));
        }
        self.make_bins(&mut spectrum.lr);
    }

    /// The factor that corrects for the window at a delay.
    fn gain(&self, delay_s: f64) -> f64 {
        1.0 / window_autocorrelation(delay_s * self.rate_hz / self.len as f64).max(LEAST_LEFT)
    }

    /// How far a lag belongs to the delay rather than to lag zero: 0 up to a quarter of the delay, 1 from three
    /// quarters on.
    fn lateness(&self, n: usize, delay_s: f64) -> f64 {
        // A late right channel peaks at a negative lag of the cross term as it stands.
        let lag = if n <= self.len / 2 {
            n as f64
        } else {
            n as f64 - self.len as f64
        };
        let place = -lag / self.rate_hz / delay_s;
        let late = ((place - 0.25) / 0.5).clamp(0.0, 1.0);
        0.5 - 0.5 * (core::f64::consts::PI * late).cos()
    }

    fn make_lags(&mut self, cross: &[Complex<f64>]) {
        let last = self.bins.len() - 1;
        for (k, (bin, cross)) in self.bins.iter_mut().zip(cross).enumerate() {
            // One-sided: an inner bin includes its mirror image.
            *bin = if k == 0 || k == last { *cross } else { cross * 0.5 };
        }
        fft::inverse(&*self.inverse, &mut self.bins, &mut self.lags, &mut self.scratch);
    }

    /// The spectrum of `spare`, which is overwritten.
    fn make_bins(&mut self, cross: &mut [Complex<f64>]) {
        fft::forward(&*self.forward, &mut self.spare, &mut self.bins, &mut self.scratch);
        let last = self.bins.len() - 1;
        let scale = 1.0 / self.len as f64;
        for (k, (cross, bin)) in cross.iter_mut().zip(&self.bins).enumerate() {
            *cross = bin * if k == 0 || k == last { scale } else { 2.0 * scale };
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dsp::noise;
    use crate::spectrum::welch::spectrum_of;

    /// The sum of a channel and its late copy, in the time domain and from the corrected cross term, for delays up to
    /// 40 ms and a line that is late by as much again.
    #[test]
    fn a_late_copy_adds_up_as_in_the_time_domain() {
        const RATE_HZ: f64 = 48_000.0;
        let len = 8192;
        let source = noise(3, 480_000);
        let mut lags = Lags::new(RATE_HZ, len);
        for delay in [0usize, 48, 480, 960, 1200, 1920] {
            let right: Vec<f64> = (0..source.len())
                .map(|n| if n < delay { 0.0 } else { source[n - delay] })
                .collect();
            let (_, mut spectrum) = spectrum_of(&source, &right, RATE_HZ, len);
            lags.correct(&mut spectrum, delay as f64 / RATE_HZ);
            // A line that cancels the delay leaves equal channels.
            let turned: f64 = spectrum
                .lr
                .iter()
                .enumerate()
                .map(|(k, cross)| {
                    let angle = -core::f64::consts::TAU * (k * delay) as f64 / len as f64;
                    (cross * Complex::from_polar(1.0, angle)).re
                })
                .sum();
            let (left, right) = spectrum.powers();
            let sum_db = 10.0 * ((left + right + 2.0 * turned) / (2.0 * (left + right))).log10();
            assert!(sum_db.abs() < 0.05, "{delay}: {sum_db}");
        }
    }
}
