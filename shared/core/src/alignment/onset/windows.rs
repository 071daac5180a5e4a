//! The windows on an attack: what is new in them against what was there before.

use std::sync::Arc;

use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

use crate::Complex;
use crate::dsp::fft;
use crate::dsp::history::FrameHistory;
use crate::dsp::numbers::{circular_place, to_single};

/// Length of a window's fade at either edge, seconds.
const EDGE_S: f64 = 0.002;

/// Keeps the last samples of two channels and takes windows of them. Only [`Self::new`] allocates.
pub(super) struct Windows {
    window: Vec<f64>,
    /// Both channels, long enough for two windows and the longest delay.
    history: FrameHistory,
    forward: Arc<dyn RealToComplex<f64>>,
    inverse: Arc<dyn ComplexToReal<f64>>,
    time: Vec<f64>,
    scratch: Vec<Complex<f64>>,
    /// The spectra of both channels in the older windows.
    pub(super) before: [Vec<Complex<f64>>; 2],
    /// Powers that are new, per channel and bin; slightly negative where nothing is.
    pub(super) powers: [Vec<f64>; 2],
    /// Cross terms that are new, left times the right one's conjugate.
    pub(super) cross: Vec<Complex<f64>>,
    turned: Vec<Complex<f64>>,
    /// Number of transforms made, forward and inverse.
    pub(super) made: [u64; 2],
}

impl Windows {
    /// Creates windows of `len` samples, for delays up to `reach` samples.
    pub(super) fn new(rate_hz: f64, len: usize, reach: usize) -> Self {
        let edge = (EDGE_S * rate_hz).round().max(4.0);
        let window = (0..len)
            .map(|n| {
                let from_edge = (n.min(len - 1 - n) as f64 + 0.5) / edge;
                0.5 - 0.5 * (core::f64::consts::PI * from_edge.min(1.0)).cos()
            })
            .collect();
        // Long enough for no lag within reach to wrap around.
        let fft_len = (len + reach + 1).next_power_of_two();
        let mut planner = RealFftPlanner::<f64>::new();
        let forward = planner.plan_fft_forward(fft_len);
        let inverse = planner.plan_fft_inverse(fft_len);
        let scratch_len = forward.get_scratch_len().max(inverse.get_scratch_len());
        let bins = fft_len / 2 + 1;
        let nothing = Complex::new(0.0, 0.0);
        Self {
            window,
            history: FrameHistory::new(2 * len + reach + 1),
            forward,
            inverse,
            time: vec![0.0; fft_len],
            scratch: vec![nothing; scratch_len],
            before: [vec![nothing; bins], vec![nothing; bins]],
            powers: [vec![0.0; bins], vec![0.0; bins]],
            cross: vec![nothing; bins],
            turned: vec![nothing; bins],
            made: [0; 2],
        }
    }

    /// Samples in a window.
    pub(super) fn len(&self) -> usize {
        self.window.len()
    }

    /// Samples in a transform.
    pub(super) fn fft_len(&self) -> usize {
        self.time.len()
    }

    /// Clears the history.
    pub(super) fn reset(&mut self) {
        self.history.reset();
    }

    /// Takes frames, fewer than a window has.
    pub(super) fn push(&mut self, left: &[f64], right: &[f64]) {
        self.history.push(left, right);
    }

    /// The last so many frames, the channels `lag` samples apart: the left one earlier by that if `lag` is positive,
    /// else the right one.
    pub(super) fn last(&self, frames: usize, lag: isize) -> [&[f64]; 2] {
        let back = |lag: isize| lag.max(0).unsigned_abs();
        [
            self.history.last(0, frames, back(lag)),
            self.history.last(1, frames, back(-lag)),
        ]
    }

    /// Writes the windowed spectra of both channels to `before`, the windows ending `back` samples ago in each channel.
    fn transform(&mut self, back: [usize; 2]) {
        let len = self.window.len();
        self.made[0] += 2;
        for (channel, back) in back.into_iter().enumerate() {
            let frames = self.history.last(channel, len, back);
            fft::weigh(frames, &self.window, &mut self.time);
            self.time[len..].fill(0.0);
            fft::forward(
                &*self.forward,
                &mut self.time,
                &mut self.before[channel],
                &mut self.scratch,
            );
        }
    }

    /// Finds the powers and cross terms that are new in the windows, ending `back` samples ago in each channel, less
    /// what was there before. Returns the powers in the windows.
    pub(super) fn news(&mut self, back: [usize; 2]) -> [f64; 2] {
        self.transform(back);
        for k in 0..self.cross.len() {
            let (l, r) = (self.before[0][k], self.before[1][k]);
            self.powers[0][k] = l.norm_sqr();
            self.powers[1][k] = r.norm_sqr();
            self.cross[k] = l * r.conj();
        }
        let heard: [f64; 2] = [0, 1].map(|channel| self.powers[channel].iter().sum());
        self.transform(back.map(|back| back + self.window.len()));
        for k in 0..self.cross.len() {
            let (l, r) = (self.before[0][k], self.before[1][k]);
            self.powers[0][k] -= l.norm_sqr();
            self.powers[1][k] -= r.norm_sqr();
            self.cross[k] -= l * r.conj();
        }
        heard
    }

    /// The correlation of what is new over lags of ± half of `curve`'s length, a late right channel at a positive lag,
    /// normalised by the root of the product of both channels' new powers.
    pub(super) fn correlate(&mut self, both: f64, curve: &mut [f32]) {
        // Conjugated, so that a late right channel peaks at a positive lag.
        for (turned, cross) in self.turned.iter_mut().zip(&self.cross) {
            *turned = cross.conj();
        }
        self.made[1] += 1;
        fft::inverse(
            &*self.inverse,
            &mut self.turned,
            &mut self.time,
            &mut self.scratch,
        );
        // The bins of `powers` are one half of the spectrum; the inverse adds up both.
        let scale = 0.5 / both;
        let reach = curve.len().cast_signed() / 2;
        for (n, value) in curve.iter_mut().enumerate() {
            let share = self.time[circular_place(n.cast_signed() - reach, self.time.len())] * scale;
            // The subtraction can leave shares beyond ±1.
            *value = to_single(share.clamp(-1.0, 1.0));
        }
    }
}
