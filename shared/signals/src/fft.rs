//! Spectra of whole signals, and fast convolution.

use std::cell::RefCell;

use realfft::RealFftPlanner;
use realfft::num_complex::Complex;

thread_local! {
    // Planning a long transform costs as much as running it, and the same lengths recur.
    static PLANNER: RefCell<RealFftPlanner<f64>> = RefCell::new(RealFftPlanner::new());
}

const LENGTHS: &str = "the buffers have the lengths the plan asks for";

/// The `len/2 + 1` bins of `signal`, zero-padded to `len` samples.
pub(crate) fn spectrum(signal: &[f64], len: usize) -> Vec<Complex<f64>> {
    let plan = PLANNER.with_borrow_mut(|planner| planner.plan_fft_forward(len));
    let mut padded = signal.to_vec();
    padded.resize(len, 0.0);
    let mut bins = plan.make_output_vec();
    plan.process(&mut padded, &mut bins).expect(LENGTHS);
    bins
}

/// The `len` samples whose spectrum is `bins`; undoes [`spectrum`], scaling included.
pub(crate) fn samples(mut bins: Vec<Complex<f64>>, len: usize) -> Vec<f64> {
    let plan = PLANNER.with_borrow_mut(|planner| planner.plan_fft_inverse(len));
    // A real signal has real outer bins; the transform requires it.
    bins[0].im = 0.0;
    if len.is_multiple_of(2)
        && let Some(nyquist) = bins.last_mut()
    {
        nyquist.im = 0.0;
    }
    let mut signal = plan.make_output_vec();
    plan.process(&mut bins, &mut signal).expect(LENGTHS);
    let scale = 1.0 / len as f64;
    signal.iter_mut().for_each(|x| *x *= scale);
    signal
}

/// A length of at least `min` that transforms fast.
pub(crate) fn fast_len(min: usize) -> usize {
    let power = min.max(32).next_power_of_two();
    [9, 10, 12, 15, 16]
        .map(|sixteenths| power / 16 * sixteenths)
        .into_iter()
        .find(|&n| n >= min)
        .unwrap_or(power)
}

/// One signal, prepared for convolution with several responses.
pub(crate) struct Convolver {
    bins: Vec<Complex<f64>>,
    fft_len: usize,
    signal_len: usize,
}

impl Convolver {
    /// Prepares `signal` for responses of at most `max_response_len` samples.
    pub(crate) fn new(signal: &[f64], max_response_len: usize) -> Self {
        let fft_len = fast_len(signal.len() + max_response_len.max(1) - 1);
        Self {
            bins: spectrum(signal, fft_len),
            fft_len,
            signal_len: signal.len(),
        }
    }

    /// The signal convolved with `response`, cut to the signal's length.
    pub(crate) fn through(&self, response: &[f64]) -> Vec<f64> {
        let mut out = self.full(response);
        out.truncate(self.signal_len);
        out
    }

    fn full(&self, response: &[f64]) -> Vec<f64> {
        let mut bins = spectrum(response, self.fft_len);
        bins.iter_mut().zip(&self.bins).for_each(|(h, x)| *h *= x);
        samples(bins, self.fft_len)
    }
}

/// The full linear convolution, `signal.len() + response.len() − 1` samples; empty if either is.
pub fn convolve(signal: &[f64], response: &[f64]) -> Vec<f64> {
    if signal.is_empty() || response.is_empty() {
        return Vec::new();
    }
    let mut out = Convolver::new(signal, response.len()).full(response);
    out.truncate(signal.len() + response.len() - 1);
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Rng;

    #[test]
    fn convolution_agrees_with_its_definition() {
        let mut rng = Rng::new(1);
        let x: Vec<f64> = (0..301).map(|_| rng.gaussian()).collect();
        let h: Vec<f64> = (0..57).map(|_| rng.gaussian()).collect();
        let fast = convolve(&x, &h);
        assert_eq!(fast.len(), 357);
        for (n, y) in fast.iter().enumerate() {
            let direct: f64 = h
                .iter()
                .enumerate()
                .filter_map(|(k, c)| Some(c * x.get(n.checked_sub(k)?)?))
                .sum();
            assert!((y - direct).abs() < 1e-12, "at {n}: {y} instead of {direct}");
        }
    }

    #[test]
    fn fast_lengths_are_long_enough_and_even() {
        for n in (1..5000).chain([470_000, 1_000_001]) {
            let len = fast_len(n);
            assert!(
                len >= n && len.is_multiple_of(2) && len <= 2 * n.max(32),
                "{n} -> {len}"
            );
        }
    }
}
