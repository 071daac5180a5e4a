//! Convolves the streamed references with the early part of the responses, and takes that from the channels.

use std::sync::Arc;

use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

use crate::Complex;
use crate::dsp::fft;

/// The early part's taps.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Early {
    /// First lag, samples.
    pub first: usize,
    /// Number of taps.
    pub taps: usize,
}

/// Splits the channels into the references convolved with the early responses, and the rest, hop by hop.
pub(super) struct EarlyConvolver {
    hop: usize,
    len: usize,
    longest_lag: usize,
    forward: Arc<dyn RealToComplex<f64>>,
    inverse: Arc<dyn ComplexToReal<f64>>,
    scratch: Vec<Complex<f64>>,
    work: Vec<f64>,
    early: Early,
    /// `[channel][reference]`.
    filters: [[Vec<Complex<f64>>; 2]; 2],
    references: usize,
    history: [Vec<f64>; 2],
    channels: [Vec<f64>; 2],
    filled: usize,
    spectra: [Vec<Complex<f64>>; 2],
    product: Vec<Complex<f64>>,
    dry: [Vec<f64>; 2],
    wet: [Vec<f64>; 2],
}

impl std::fmt::Debug for EarlyConvolver {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("EarlyConvolver")
            .field("hop", &self.hop)
            .field("early", &self.early)
            .finish_non_exhaustive()
    }
}

/// One hop, split. Channels are left and right.
#[derive(Debug)]
pub(super) struct Hop<'a> {
    pub dry: [&'a [f64]; 2],
    pub wet: [&'a [f64]; 2],
    pub total: [&'a [f64]; 2],
}

impl EarlyConvolver {
    /// Creates one with FFTs of `len` and hops of a quarter of it, so at most three quarters of it in taps; lags up to
    /// `longest_lag`.
    pub fn new(len: usize, longest_lag: usize) -> Self {
        let hop = len / 4;
        let mut planner = RealFftPlanner::<f64>::new();
        let forward = planner.plan_fft_forward(len);
        let inverse = planner.plan_fft_inverse(len);
        let scratch_len = forward.get_scratch_len().max(inverse.get_scratch_len());
        let spectrum = forward.make_output_vec();
        Self {
            hop,
            len,
            longest_lag,
            scratch: vec![Complex::new(0.0, 0.0); scratch_len],
            work: vec![0.0; len],
            early: Early { first: 0, taps: 0 },
            filters: core::array::from_fn(|_| core::array::from_fn(|_| spectrum.clone())),
            references: 1,
            history: core::array::from_fn(|_| vec![0.0; len + longest_lag]),
            channels: core::array::from_fn(|_| vec![0.0; hop]),
            filled: 0,
            spectra: core::array::from_fn(|_| spectrum.clone()),
            product: spectrum,
            dry: core::array::from_fn(|_| vec![0.0; hop]),
            wet: core::array::from_fn(|_| vec![0.0; hop]),
            forward,
            inverse,
        }
    }

    /// Clears all frames; the responses stay.
    pub fn restart(&mut self) {
        for history in &mut self.history {
            history.fill(0.0);
        }
        self.filled = 0;
    }

    /// Sets new responses from the next hop on: `responses[channel]` holds all references' taps one after another, each
    /// `stride` long; those in `early` are used.
    ///
    /// # Panics
    /// If the early part is too long or too late for the lengths given at construction.
    pub fn set(&mut self, responses: [&[f64]; 2], stride: usize, references: usize, early: Early) {
        assert!(
            early.taps <= self.len - self.hop && early.first <= self.longest_lag,
            "the early part fits the convolver"
        );
        self.early = early;
        self.references = references;
        for (channel, response) in responses.iter().enumerate() {
            for reference in 0..references {
                let at = reference * stride + early.first;
                self.work.fill(0.0);
                self.work[..early.taps].copy_from_slice(&response[at..at + early.taps]);
                let mut filter = core::mem::take(&mut self.filters[channel][reference]);
                fft::forward(&*self.forward, &mut self.work, &mut filter, &mut self.scratch);
                self.filters[channel][reference] = filter;
            }
        }
    }

    /// Takes one frame of both references (the second is ignored if there's only one) and both channels; calls `on_hop`
    /// when that completes a hop.
    pub fn push(&mut self, references: [f64; 2], channels: [f64; 2], on_hop: impl FnOnce(&Hop<'_>)) {
        let at = self.len + self.longest_lag - self.hop + self.filled;
        for i in 0..2 {
            self.history[i][at] = references[i];
            self.channels[i][self.filled] = channels[i];
        }
        self.filled += 1;
        if self.filled == self.hop {
            self.complete(on_hop);
        }
    }

    /// Takes one frame of the references as past, before the first hop.
    pub fn note(&mut self, references: [f64; 2]) {
        let newest = self.len + self.longest_lag - self.hop;
        for (history, reference) in self.history.iter_mut().zip(references) {
            history.copy_within(1..newest, 0);
            history[newest - 1] = reference;
        }
    }

    /// Ends the stream: splits what is in the buffer, then clears everything except the responses.
    pub fn flush(&mut self, on_hop: impl FnOnce(&Hop<'_>)) {
        if self.filled > 0 {
            let at = self.len + self.longest_lag - self.hop + self.filled;
            for history in &mut self.history {
                history[at..].fill(0.0);
            }
            self.complete(on_hop);
        }
        self.restart();
    }

    fn complete(&mut self, on_hop: impl FnOnce(&Hop<'_>)) {
        let frames = self.filled;
        let end = self.history[0].len() - self.early.first;
        for reference in 0..self.references {
            self.work
                .copy_from_slice(&self.history[reference][end - self.len..end]);
            let mut spectrum = core::mem::take(&mut self.spectra[reference]);
            fft::forward(&*self.forward, &mut self.work, &mut spectrum, &mut self.scratch);
            self.spectra[reference] = spectrum;
        }
        let scale = 1.0 / self.len as f64;
        for channel in 0..2 {
            for (k, product) in self.product.iter_mut().enumerate() {
                *product = (0..self.references)
                    .map(|r| self.filters[channel][r][k] * self.spectra[r][k])
                    .sum();
            }
            fft::inverse(
                &*self.inverse,
                &mut self.product,
                &mut self.work,
                &mut self.scratch,
            );
            let newest = &self.work[self.len - self.hop..];
            let parts = self.dry[channel].iter_mut().zip(&mut self.wet[channel]);
            for ((dry, wet), (sample, whole)) in
                parts.zip(newest.iter().zip(&self.channels[channel])).take(frames)
            {
                *dry = sample * scale;
                *wet = whole - *dry;
            }
        }
        on_hop(&Hop {
            dry: [&self.dry[0][..frames], &self.dry[1][..frames]],
            wet: [&self.wet[0][..frames], &self.wet[1][..frames]],
            total: [&self.channels[0][..frames], &self.channels[1][..frames]],
        });
        for history in &mut self.history {
            history.copy_within(self.hop.., 0);
        }
        self.filled = 0;
    }
}
