//! Exact correlation sums of several signals, streamed.
//!
//! For pairs of signals `a`, `b` it keeps `c_ab[k] = Σ a[n]·b[n−k]` over all frames, for lags from −`after` to
//! +`before`. No window, no block edges: the sums equal a direct evaluation, whatever the block length, so a response
//! estimated from them has no leakage. The sums are kept in the frequency domain and transformed back only when read.

use std::sync::Arc;

use multiversion::multiversion;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

use crate::Complex;
use crate::dsp::fft;

/// Streams several signals and sums the correlations of chosen pairs of them.
pub(super) struct Correlator {
    before: usize,
    after: usize,
    hop: usize,
    forward: Arc<dyn RealToComplex<f64>>,
    inverse: Arc<dyn ComplexToReal<f64>>,
    /// Per signal: `before` frames of the past, a hop, `after` frames of the future.
    buffers: Vec<Vec<f64>>,
    /// Frames in the buffer beyond its past.
    filled: usize,
    /// Frames of the hop transformed last.
    summed: usize,
    pairs: Vec<(usize, usize)>,
    masked: Vec<Vec<Complex<f64>>>,
    whole: Vec<Vec<Complex<f64>>>,
    work: Vec<f64>,
    scratch: Vec<Complex<f64>>,
}

/// The sums of one [`Correlator`], pair by pair.
#[derive(Clone, Debug)]
pub(super) struct Sums {
    spectra: Vec<Vec<Complex<f64>>>,
    /// Frames summed.
    pub frames: u64,
}

impl Sums {
    pub fn clear(&mut self) {
        self.frames = 0;
        for spectrum in &mut self.spectra {
            spectrum.fill(Complex::new(0.0, 0.0));
        }
    }
}

impl std::fmt::Debug for Correlator {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Correlator")
            .field("before", &self.before)
            .field("after", &self.after)
            .field("hop", &self.hop)
            .finish_non_exhaustive()
    }
}

impl Correlator {
    /// Creates one for `signals` signals; `before + hop + after` is the FFT's length and should have small prime
    /// factors.
    pub fn new(signals: usize, pairs: &[(usize, usize)], before: usize, after: usize, hop: usize) -> Self {
        let len = before + hop + after;
        let mut planner = RealFftPlanner::<f64>::new();
        let forward = planner.plan_fft_forward(len);
        let inverse = planner.plan_fft_inverse(len);
        let scratch_len = forward.get_scratch_len().max(inverse.get_scratch_len());
        let spectrum = forward.make_output_vec();
        Self {
            before,
            after,
            hop,
            buffers: vec![vec![0.0; len]; signals],
            filled: 0,
            summed: 0,
            pairs: pairs.to_vec(),
            masked: vec![spectrum.clone(); signals],
            whole: vec![spectrum; signals],
            work: vec![0.0; len],
            scratch: vec![Complex::new(0.0, 0.0); scratch_len],
            forward,
            inverse,
        }
    }

    /// Empty sums for this correlator.
    pub fn sums(&self) -> Sums {
        Sums {
            spectra: vec![vec![Complex::new(0.0, 0.0); self.work.len() / 2 + 1]; self.pairs.len()],
            frames: 0,
        }
    }

    /// Clears all frames.
    pub fn restart(&mut self) {
        for buffer in &mut self.buffers {
            buffer.fill(0.0);
        }
        self.filled = 0;
    }

    /// The `before` frames of signal `signal` up to the last hop that was summed (not counting its future).
    pub fn past(&self, signal: usize) -> &[f64] {
        &self.buffers[signal][..self.before]
    }

    /// The frames of the hop just completed.
    pub fn latest(&self, signal: usize) -> &[f64] {
        &self.buffers[signal][self.before..self.before + self.summed]
    }

    /// The spectrum of a signal's whole buffer, past and future included, as of the hop just completed. Only valid for
    /// a signal that is the second of a pair.
    pub fn spectrum(&self, signal: usize) -> &[Complex<f64>] {
        &self.whole[signal]
    }

    /// Takes one frame. Returns true when it completes a hop; [`Self::add_to`] and [`Self::advance`] must follow then.
    pub fn push(&mut self, frame: &[f64]) -> bool {
        let at = self.before + self.filled;
        for (buffer, &sample) in self.buffers.iter_mut().zip(frame) {
            buffer[at] = sample;
        }
        self.filled += 1;
        if self.filled == self.hop + self.after {
            self.transform(self.hop);
            return true;
        }
        false
    }

    /// Ends the stream: prepares the frames in the buffer that have a future for summing. Returns false if there are
    /// none.
    pub fn finish_partial(&mut self) -> bool {
        if self.filled <= self.after {
            return false;
        }
        let frames = self.filled - self.after;
        for buffer in &mut self.buffers {
            buffer[self.before + self.filled..].fill(0.0);
        }
        self.transform(frames);
        true
    }

    fn transform(&mut self, frames: usize) {
        self.summed = frames;
        let Self {
            forward,
            buffers,
            masked,
            whole,
            work,
            scratch,
            before,
            pairs,
            ..
        } = self;
        for (signal, ((buffer, masked), whole)) in buffers.iter().zip(masked).zip(whole).enumerate() {
            // Signals that no pair needs aren't transformed.
            if pairs.iter().any(|&(_, b)| b == signal) {
                work.copy_from_slice(buffer);
                fft::forward(&**forward, work, whole, scratch);
            }
            if pairs.iter().any(|&(a, _)| a == signal) {
                work.fill(0.0);
                work[*before..*before + frames].copy_from_slice(&buffer[*before..*before + frames]);
                fft::forward(&**forward, work, masked, scratch);
            }
        }
    }

    /// Adds the hop just completed to `sums`.
    pub fn add_to(&self, sums: &mut Sums) {
        sums.frames += self.summed as u64;
        for (spectrum, &(a, b)) in sums.spectra.iter_mut().zip(&self.pairs) {
            add_product(spectrum, &self.masked[a], &self.whole[b]);
        }
    }

    /// Makes the frames of an unfinished hop past without summing them.
    pub fn skip(&mut self) {
        self.summed = self.filled.saturating_sub(self.after);
        self.advance();
    }

    /// The spectrum of frames as long as the FFT; overwrites them.
    pub fn transform_frames(&mut self, frames: &mut [f64], spectrum: &mut [Complex<f64>]) {
        fft::forward(&*self.forward, frames, spectrum, &mut self.scratch);
    }

    /// Advances by the hop just completed.
    pub fn advance(&mut self) {
        let frames = self.summed;
        for buffer in &mut self.buffers {
            buffer.copy_within(frames.., 0);
        }
        self.filled -= frames;
    }

    /// Writes `c[k]` of pair number `pair` to `out`, for lags from `first` on.
    ///
    /// # Panics
    /// If a lag is outside the range summed.
    pub fn read(&mut self, sums: &Sums, pair: usize, first: isize, out: &mut [f64]) {
        let len = self.work.len().cast_signed();
        assert!(
            first >= -self.after.cast_signed()
                && first + out.len().cast_signed() <= self.before.cast_signed() + 1,
            "only lags that were summed can be read"
        );
        // The masked spectra are rewritten with every hop, so one of them can be used as scratch.
        let spectrum = &mut self.masked[0];
        spectrum.copy_from_slice(&sums.spectra[pair]);
        fft::inverse(&*self.inverse, spectrum, &mut self.work, &mut self.scratch);
        let scale = 1.0 / len as f64;
        for (lag, value) in (first..).zip(out.iter_mut()) {
            *value = self.work[lag.rem_euclid(len) as usize] * scale;
        }
    }
}

/// Adds `x·conj(y)`, bin by bin.
#[multiversion(targets("x86_64+avx"))]
fn add_product(sums: &mut [Complex<f64>], x: &[Complex<f64>], y: &[Complex<f64>]) {
    for ((sum, x), y) in sums.iter_mut().zip(x).zip(y) {
        sum.re += x.re * y.re + x.im * y.im;
        sum.im += x.im * y.re - x.re * y.im;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dsp::noise;

    #[test]
    fn the_sums_are_the_definition() {
        for len in [700usize, 768, 901] {
            let (a, b) = (noise(1, len), noise(2, len));
            let mut correlator = Correlator::new(2, &[(0, 1), (1, 1)], 100, 28, 64);
            let mut sums = correlator.sums();
            for n in 0..len + 28 {
                let at = |x: &[f64]| x.get(n).copied().unwrap_or(0.0);
                if correlator.push(&[at(&a), at(&b)]) {
                    correlator.add_to(&mut sums);
                    correlator.advance();
                }
            }
            if correlator.finish_partial() {
                correlator.add_to(&mut sums);
            }
            for (pair, x, y) in [(0, &a, &b), (1, &b, &b)] {
                let mut read = vec![0.0; 129];
                correlator.read(&sums, pair, -28, &mut read);
                for (lag, value) in (-28isize..).zip(&read) {
                    let direct: f64 = (0..len as isize)
                        .filter(|n| (0..len as isize).contains(&(n - lag)))
                        .map(|n| x[n as usize] * y[(n - lag) as usize])
                        .sum();
                    assert!(
                        (value - direct).abs() < 1e-10,
                        "{len}: lag {lag}: {value} {direct}"
                    );
                }
            }
        }
    }
}
