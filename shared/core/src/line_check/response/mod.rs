//! The response of each part, on the recorder's clock.

pub(crate) mod bands;

use std::sync::Arc;

use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

use crate::Complex;
use crate::dsp::numbers::{circular_place, to_index, to_lag};
use crate::line_check::signal::plan::{Piece, Plan, Sound, Sweep, limit_hz};

/// What is looked at before a sweep begins, seconds: noise, and nothing of the pulses.
pub(crate) const BEFORE_S: f64 = 0.15;
/// What is looked at behind a sweep, seconds: shorter than the silence there.
const BEHIND_S: f64 = 0.6;
/// Share of the highest frequency a rate carries up to which its response is used.
const FULL: f64 = 0.92;
/// CHECKS ESS-1.
const EPSILON: f64 = 1e-6;

/// Transforms of any length, planned once each.
pub(crate) struct Transforms {
    planner: RealFftPlanner<f64>,
}

impl Transforms {
    pub fn new() -> Self {
        Self {
            planner: RealFftPlanner::new(),
        }
    }

    pub fn forward(&mut self, mut x: Vec<f64>) -> Vec<Complex<f64>> {
        let plan: Arc<dyn RealToComplex<f64>> = self.planner.plan_fft_forward(x.len());
        let mut bins = plan.make_output_vec();
        // The lengths are the plan's own, so there is nothing to fail.
        let _ = plan.process(&mut x, &mut bins);
        bins
    }

    pub fn inverse(&mut self, mut bins: Vec<Complex<f64>>, len: usize) -> Vec<f64> {
        let plan: Arc<dyn ComplexToReal<f64>> = self.planner.plan_fft_inverse(len);
        bins.resize(len / 2 + 1, Complex::new(0.0, 0.0));
        bins[0].im = 0.0;
        bins[len / 2].im = 0.0;
        let mut x = plan.make_output_vec();
        let _ = plan.process(&mut bins, &mut x);
        let scale = 1.0 / len as f64;
        x.iter_mut().for_each(|x| *x *= scale);
        x
    }
}

/// An even length of at least `min` that transforms fast.
pub(crate) fn fast_len(min: usize) -> usize {
    let power = min.max(64).next_power_of_two();
    [9, 10, 12, 15, 16]
        .map(|sixteenths| power / 16 * sixteenths)
        .into_iter()
        .find(|&n| n >= min)
        .unwrap_or(power)
}

/// When the signal's time zero is in the recording, and how much faster than the player's the recorder's clock runs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Clock {
    pub start_s: f64,
    /// Recorder seconds per second of the signal, less 1.
    pub drift: f64,
}

impl Clock {
    /// Where a time of the signal is in the recording, seconds.
    pub fn recorded_s(&self, t: f64) -> f64 {
        self.start_s + t * (1.0 + self.drift)
    }
}

/// An impulse response; lag 0 is the piece's place by the clock. Negative lags wrap to the end.
#[derive(Clone, Debug)]
pub(crate) struct Response {
    pub samples: Vec<f64>,
    pub rate_hz: f64,
    /// `L` of the sweep it was found with, seconds.
    pub pace_s: f64,
    /// The band of that sweep without its fades, Hz.
    pub band_hz: (f64, f64),
}

impl Response {
    pub fn at(&self, lag: isize) -> f64 {
        self.samples[circular_place(lag, self.samples.len())]
    }

    pub fn lag(&self, seconds: f64) -> isize {
        to_lag((seconds * self.rate_hz).round())
    }

    /// The largest magnitude between two lags (seconds), and its lag (seconds).
    pub fn peak(&self, from_s: f64, to_s: f64) -> (f64, f64) {
        let mut best = (0.0, from_s);
        for lag in self.lag(from_s)..=self.lag(to_s) {
            let height = self.at(lag).abs();
            if height > best.0 {
                best = (height, lag as f64 / self.rate_hz);
            }
        }
        best
    }

    /// Mean square between two lags (seconds).
    pub fn power(&self, from_s: f64, to_s: f64) -> f64 {
        let (from, to) = (self.lag(from_s), self.lag(to_s));
        (from..to).map(|lag| self.at(lag) * self.at(lag)).sum::<f64>() / (to - from).max(1) as f64
    }

    /// Where there's noise and neither sound nor second harmonic, seconds.
    pub fn noise_lags(&self) -> (f64, f64) {
        let harmonic = self.pace_s * core::f64::consts::LN_2;
        (-(BEFORE_S - 0.02).min(0.8 * harmonic), -0.012)
    }
}

/// What divides a recording by a sweep.
struct Divider {
    sweep: Sweep,
    drift: f64,
    /// `X*/(|X|² + ε·max|X|²)`.
    filter: Vec<Complex<f64>>,
    len: usize,
}

/// Finds responses; keeps what the pieces of one sweep have in common.
pub(crate) struct Deconvolver {
    pub transforms: Transforms,
    rate_hz: f64,
    dividers: Vec<Divider>,
}

impl Deconvolver {
    pub fn new(rate_hz: f64, transforms: Transforms) -> Self {
        Self {
            transforms,
            rate_hz,
            dividers: Vec::new(),
        }
    }

    fn divider(&mut self, sweep: Sweep, drift: f64) -> usize {
        let found = self.dividers.iter().position(|divider| divider.sweep == sweep);
        if let Some(index) = found {
            if self.dividers[index].drift == drift {
                return index;
            }
            self.dividers.swap_remove(index);
        }
        let seconds = BEFORE_S + sweep.seconds * 1.001 + 2.0 * BEHIND_S;
        let len = fast_len(to_index((seconds * self.rate_hz).ceil()));
        let step = 1.0 / (self.rate_hz * (1.0 + drift));
        let template = (0..len)
            .map(|n| sweep.value(n as f64 * step, limit_hz(self.rate_hz)))
            .collect();
        let mut filter = self.transforms.forward(template);
        let loudest = filter.iter().map(Complex::norm_sqr).fold(0.0, f64::max);
        for bin in &mut filter {
            *bin = bin.conj() / (bin.norm_sqr() + EPSILON * loudest);
        }
        self.dividers.push(Divider {
            sweep,
            drift,
            filter,
            len,
        });
        self.dividers.len() - 1
    }

    /// The response from the line (or lines) a piece went out on to the recording, with the piece's own gain taken out.
    pub fn response(&mut self, recording: &[f64], plan: &Plan, piece: &Piece, clock: &Clock) -> Response {
        let sweep = plan.shape(piece.sound);
        let index = self.divider(sweep, clock.drift);
        let len = self.dividers[index].len;
        let place = clock.recorded_s(piece.start_s) * self.rate_hz;
        let whole = place.floor();
        let before = to_lag(BEFORE_S * self.rate_hz);
        let taken = before + to_lag((sweep.seconds * 1.001 + BEHIND_S) * self.rate_hz);
        let fade = to_lag(0.01 * self.rate_hz);
        let mut window = vec![0.0; len];
        for n in 0..taken {
            let Ok(from) = usize::try_from(to_lag(whole) - before + n) else {
                continue;
            };
            let Some(&x) = recording.get(from) else { break };
            let edge = (n.min(taken - 1 - n) as f64 / fade as f64).min(1.0);
            // Lag 0 at sample 0; what is before it wraps to the end.
            window[circular_place(n - before, len)] = x * edge;
        }
        let mut bins = self.transforms.forward(window);
        let turn = core::f64::consts::TAU * (place - whole) / len as f64;
        let gain = 1.0 / loudest(piece.lines);
        for (k, (bin, filter)) in bins.iter_mut().zip(&self.dividers[index].filter).enumerate() {
            *bin *= filter * Complex::from_polar(gain, turn * k as f64);
        }
        Response {
            samples: self.transforms.inverse(bins, len),
            rate_hz: self.rate_hz,
            pace_s: sweep.pace_s(),
            band_hz: (
                1.12 * sweep.low_hz,
                (0.97 * sweep.high_hz).min(FULL * limit_hz(self.rate_hz)),
            ),
        }
    }
}

/// The gain of a piece on the line it is loudest on.
fn loudest(lines: [f64; 2]) -> f64 {
    lines[0].abs().max(lines[1].abs())
}

/// Which sweeps there are to find.
pub(crate) fn is_swept(piece: &Piece) -> bool {
    matches!(piece.sound, Sound::Marker | Sound::Sweep)
}
