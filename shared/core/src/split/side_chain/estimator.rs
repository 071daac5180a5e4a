//! The responses from the references to both channels, from all frames since the last restart.

use std::sync::Arc;

use realfft::{ComplexToReal, RealFftPlanner};

use super::correlator::{Correlator, Sums};
use super::solver::{Descent, References, Solver};
use crate::Complex;
use crate::dsp::fft;
use crate::dsp::numbers::to_index;

/// Ridge: directions in which the references have this share of their energy or less are not solved for.
const RIDGE: f64 = 1e-9;

/// Two references whose difference is this far below their sum are the same; a reference this far below the other is
/// silent. Power ratio.
const SAME: f64 = 1e-9;

/// Length of the first arrival, seconds.
const ARRIVAL_S: f64 = 0.003;

/// Least share of the response's audible energy in a first arrival. A reverb's densest 3 ms hold 3 %.
const CONCENTRATED: f64 = 0.08;

/// The first arrival is the earliest one with this share of the loudest one's energy.
const FIRST: f64 = 0.25;

/// Streams references and channels and solves for the responses between them.
pub(super) struct Estimator {
    rate_hz: f64,
    /// Number of reference inputs.
    inputs: usize,
    /// Number of references in use.
    used: usize,
    /// The input of the first reference in use.
    first_used: usize,
    correlator: Correlator,
    sums: Sums,
    /// Σ of squares of both channels over the frames in the sums.
    energy: [f64; 2],
    solver: Solver,
    responses: [Vec<f64>; 2],
    starts: [Vec<f64>; 2],
    correlations: [Vec<f64>; 4],
    right_sides: [Vec<f64>; 2],
    descents: [Descent; 2],
    job: Option<Job>,
    heard: Vec<f64>,
    unexplained: Option<f64>,
    /// Number of frames the responses are based on.
    solved_frames: u64,
    /// For the prediction of the next hop.
    inverse: Arc<dyn ComplexToReal<f64>>,
    filters: [[Vec<Complex<f64>>; 2]; 2],
    product: Vec<Complex<f64>>,
    work: Vec<f64>,
    scratch: Vec<Complex<f64>>,
    solved: bool,
    surprise: Option<f64>,
}

/// A job of improving the responses, from the sums as they were at its beginning.
#[derive(Clone, Copy, Debug)]
struct Job {
    /// Remaining steps.
    steps_left: usize,
    frames: u64,
    energy: [f64; 2],
}

impl std::fmt::Debug for Estimator {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Estimator")
            .field("taps", &self.solver.taps())
            .field("frames", &self.sums.frames)
            .finish_non_exhaustive()
    }
}

impl Estimator {
    /// Creates one for one or two references, with responses of `taps` samples and sums updated every quarter of that.
    pub fn new(rate_hz: f64, inputs: usize, taps: usize) -> Self {
        let hop = taps / 4;
        let mut pairs = Vec::new();
        for a in 0..inputs {
            for b in 0..inputs {
                pairs.push((a, b));
            }
        }
        for channel in 0..2 {
            for reference in 0..inputs {
                pairs.push((inputs + channel, reference));
            }
        }
        let correlator = Correlator::new(inputs + 2, &pairs, taps, 0, hop);
        let inverse = RealFftPlanner::<f64>::new().plan_fft_inverse(taps + hop);
        let product = inverse.make_input_vec();
        Self {
            rate_hz,
            inputs,
            used: 1,
            first_used: 0,
            sums: correlator.sums(),
            energy: [0.0; 2],
            solver: Solver::new(taps),
            responses: core::array::from_fn(|_| vec![0.0; 2 * taps]),
            starts: core::array::from_fn(|_| vec![0.0; taps]),
            correlations: core::array::from_fn(|i| vec![0.0; if i < inputs * inputs { taps } else { 0 }]),
            right_sides: core::array::from_fn(|_| vec![0.0; 2 * taps]),
            descents: core::array::from_fn(|_| Descent::new(2 * taps)),
            job: None,
            solved_frames: 0,
            heard: vec![0.0; taps],
            unexplained: None,
            filters: core::array::from_fn(|_| core::array::from_fn(|_| product.clone())),
            product,
            work: inverse.make_output_vec(),
            scratch: inverse.make_scratch_vec(),
            inverse,
            correlator,
            solved: false,
            surprise: None,
        }
    }

    /// Taps of a response.
    pub fn taps(&self) -> usize {
        self.solver.taps()
    }

    /// Frames in the sums.
    pub fn frames(&self) -> u64 {
        self.sums.frames
    }

    /// Number of frames the responses are based on.
    pub fn solved_frames(&self) -> u64 {
        self.solved_frames
    }

    /// Number of references in use.
    pub fn references(&self) -> usize {
        self.used
    }

    /// The input of the first reference in use.
    pub fn first_reference(&self) -> usize {
        self.first_used
    }

    /// The responses to left and right, the references' taps one after another.
    pub fn responses(&self) -> [&[f64]; 2] {
        [&self.responses[0], &self.responses[1]]
    }

    /// Share of the channels' energy that is not linear in the references, 0 to 1, after the last job.
    pub fn unexplained(&self) -> Option<f64> {
        self.unexplained
    }

    /// Share of the last hop's energy that the responses known before it did not predict.
    pub fn surprise(&self) -> Option<f64> {
        self.surprise
    }

    /// Restarts the sums with the next frame. The references' past stays, and so do the responses, from which the next
    /// solution starts.
    pub fn restart(&mut self) {
        self.correlator.skip();
        self.sums.clear();
        self.energy = [0.0; 2];
        for (reference, start) in self.starts.iter_mut().enumerate().take(self.inputs) {
            start.copy_from_slice(self.correlator.past(reference));
        }
    }

    /// Marks a gap: the sums end here and restart without a past.
    pub fn mark_gap(&mut self) {
        self.correlator.restart();
        self.sums.clear();
        self.energy = [0.0; 2];
        self.starts.iter_mut().for_each(|start| start.fill(0.0));
        self.surprise = None;
    }

    /// Clears everything.
    pub fn reset(&mut self) {
        self.job = None;
        self.solved_frames = 0;
        self.correlator.restart();
        self.sums.clear();
        self.energy = [0.0; 2];
        self.starts.iter_mut().for_each(|start| start.fill(0.0));
        self.responses.iter_mut().for_each(|response| response.fill(0.0));
        self.unexplained = None;
        self.solved = false;
        self.surprise = None;
    }

    /// Takes one frame; returns true when a hop is complete and there is something new to solve for. With `watching`,
    /// that hop is compared with the responses' prediction.
    pub fn push(&mut self, references: [f64; 2], channels: [f64; 2], watching: bool) -> bool {
        let complete = match self.inputs {
            1 => self.correlator.push(&[references[0], channels[0], channels[1]]),
            _ => self
                .correlator
                .push(&[references[0], references[1], channels[0], channels[1]]),
        };
        if complete {
            if watching {
                self.foresee();
            }
            self.account();
        }
        complete
    }

    /// Adds the frames still in the buffer to the sums.
    pub fn finish(&mut self) {
        if self.correlator.finish_partial() {
            self.account();
        }
    }

    fn account(&mut self) {
        self.correlator.add_to(&mut self.sums);
        for channel in 0..2 {
            self.energy[channel] += energy(self.correlator.latest(self.inputs + channel));
        }
        self.correlator.advance();
    }

    /// Compares the hop just completed with the responses' prediction from the references.
    fn foresee(&mut self) {
        if !self.solved {
            return;
        }
        let (mut missed, mut whole) = (0.0, 0.0);
        let scale = 1.0 / self.work.len() as f64;
        for channel in 0..2 {
            self.product.fill(Complex::new(0.0, 0.0));
            for reference in 0..self.used {
                let heard = self.correlator.spectrum(self.first_used + reference);
                for ((sum, x), h) in self
                    .product
                    .iter_mut()
                    .zip(heard)
                    .zip(&self.filters[channel][reference])
                {
                    *sum += x * h;
                }
            }
            fft::inverse(
                &*self.inverse,
                &mut self.product,
                &mut self.work,
                &mut self.scratch,
            );
            let latest = self.correlator.latest(self.inputs + channel);
            let foreseen = &self.work[self.work.len() - latest.len()..];
            for (y, f) in latest.iter().zip(foreseen) {
                missed += (y - f * scale).powi(2);
                whole += y * y;
            }
        }
        // Only judged above the reading floor.
        let floor = crate::dsp::db::to_power(crate::dsp::db::NO_READING_DBFS) * self.taps() as f64 / 4.0;
        self.surprise = (whole > floor).then(|| (missed / whole).min(1.0));
    }

    /// Chooses the references that can be distinguished. Returns true if they changed.
    fn choose_references(&mut self) -> bool {
        let before = (self.used, self.first_used);
        (self.used, self.first_used) = if self.inputs == 1 {
            (1, 0)
        } else {
            let (first, second) = (self.correlations[0][0], self.correlations[3][0]);
            let difference = first + second - 2.0 * self.correlations[1][0];
            if second <= SAME * first || difference <= SAME * (first + second) {
                (1, 0)
            } else if first <= SAME * second {
                (1, 1)
            } else {
                (2, 0)
            }
        };
        before != (self.used, self.first_used)
    }

    /// Whether responses are being improved.
    pub fn is_solving(&self) -> bool {
        self.job.is_some()
    }

    /// Number of frames the current job is based on.
    pub fn job_frames(&self) -> u64 {
        self.job.map_or(0, |job| job.frames)
    }

    /// Begins a job of up to `steps` steps that improves the responses, from the present sums; a current job is
    /// dropped. Returns false, and changes nothing, while the references are silent.
    pub fn begin_job(&mut self, steps: usize) -> bool {
        self.job = None;
        let (taps, inputs) = (self.taps(), self.inputs);
        for pair in 0..inputs * inputs {
            self.correlator
                .read(&self.sums, pair, 0, &mut self.correlations[pair]);
        }
        let anew = self.choose_references();
        let pair = |a: usize, b: usize| (self.first_used + a) * inputs + self.first_used + b;
        if self.correlations[pair(0, 0)][0] <= 0.0 || self.sums.frames == 0 {
            return false;
        }
        let other = self.used - 1;
        let correlation = |a: usize, b: usize| -> &[f64] { &self.correlations[pair(a * other, b * other)] };
        let second = self.first_used + other;
        self.solver.prepare(&References {
            correlations: [
                [correlation(0, 0), correlation(0, 1)],
                [correlation(1, 0), correlation(1, 1)],
            ],
            ends: [
                self.correlator.past(self.first_used),
                self.correlator.past(second),
            ],
            starts: [&self.starts[self.first_used], &self.starts[second]],
            count: self.used,
            ridge: RIDGE,
        });
        for channel in 0..2 {
            for reference in 0..self.used {
                let pair = inputs * inputs + channel * inputs + self.first_used + reference;
                let taps = reference * taps..(reference + 1) * taps;
                self.correlator
                    .read(&self.sums, pair, 0, &mut self.right_sides[channel][taps]);
            }
            let descent = &mut self.descents[channel];
            descent.response.copy_from_slice(&self.responses[channel]);
            if anew {
                descent.response.fill(0.0);
            }
            self.solver.begin(&self.right_sides[channel], descent);
        }
        self.job = Some(Job {
            steps_left: steps,
            frames: self.sums.frames,
            energy: self.energy,
        });
        true
    }

    /// Takes one step for both channels. Returns true when that ended the job and the responses are the new ones.
    pub fn step(&mut self) -> bool {
        let Some(job) = &mut self.job else { return false };
        if job.steps_left > 0 {
            job.steps_left -= 1;
            for (side, descent) in self.right_sides.iter().zip(&mut self.descents) {
                self.solver.step(side, descent);
            }
        }
        if job.steps_left == 0 || self.descents.iter().all(Descent::is_done) {
            self.conclude();
            return true;
        }
        false
    }

    /// Ends the current job with the responses found so far.
    pub fn conclude(&mut self) {
        let Some(job) = self.job.take() else { return };
        let size = self.used * self.taps();
        let mut left = 0.0;
        for channel in 0..2 {
            let (descent, response) = (&self.descents[channel], &mut self.responses[channel]);
            response.copy_from_slice(&descent.response);
            // The residual energy for any h is Σy² − b·h − r·h, with r the residual of the equations.
            let lacking = self.solver.lacking(descent);
            let explained: f64 = self.right_sides[channel][..size]
                .iter()
                .zip(&*response)
                .map(|(b, h)| b * h)
                .sum();
            left += (job.energy[channel] - explained - lacking).max(0.0);
        }
        let whole = job.energy[0] + job.energy[1];
        self.unexplained = (whole > 0.0).then(|| (left / whole).min(1.0));
        self.solved_frames = job.frames;
        self.prepare_foresight();
    }

    fn prepare_foresight(&mut self) {
        let taps = self.taps();
        for channel in 0..2 {
            for reference in 0..self.used {
                self.work.fill(0.0);
                self.work[..taps]
                    .copy_from_slice(&self.responses[channel][reference * taps..(reference + 1) * taps]);
                let mut filter = core::mem::take(&mut self.filters[channel][reference]);
                self.correlator.transform_frames(&mut self.work, &mut filter);
                self.filters[channel][reference] = filter;
            }
        }
        self.solved = true;
    }

    /// The lag of the first arrival in either channel, among the first `search` lags; `None` if nothing there is
    /// concentrated enough to be the direct sound.
    pub fn first_arrival(&mut self, search: usize) -> Option<usize> {
        let taps = self.taps();
        let window = to_index(ARRIVAL_S * self.rate_hz).max(1);
        let search = search.min(taps - window);
        let mut earliest: Option<usize> = None;
        for channel in 0..2 {
            for reference in 0..self.used {
                let own = (self.first_used + reference) * (self.inputs + 1);
                self.solver.heard(
                    &self.responses[channel][reference * taps..(reference + 1) * taps],
                    &self.correlations[own],
                    window,
                    &mut self.heard,
                );
                let whole = energy(&self.heard);
                if whole <= 0.0 {
                    continue;
                }
                if let Some(lag) = arrival(&self.heard, search, window, whole) {
                    earliest = Some(earliest.map_or(lag, |other| other.min(lag)));
                }
            }
        }
        earliest
    }
}

/// The first concentrated arrival in one response, if there is one.
fn arrival(heard: &[f64], search: usize, window: usize, whole: f64) -> Option<usize> {
    let mut inside = energy(&heard[..window]);
    let mut loudest = inside;
    let sums = |lag: usize, inside: &mut f64| {
        *inside += heard[lag + window].powi(2) - heard[lag].powi(2);
    };
    for lag in 0..search {
        sums(lag, &mut inside);
        loudest = loudest.max(inside);
    }
    let needed = (FIRST * loudest).max(CONCENTRATED * whole);
    if loudest < needed {
        return None;
    }
    inside = energy(&heard[..window]);
    let mut begin = 0;
    while inside < needed && begin < search {
        sums(begin, &mut inside);
        begin += 1;
    }
    // The window has just reached the arrival, so it lies within the next two window lengths.
    let end = (begin + 2 * window).min(heard.len());
    (begin..end).max_by(|&a, &b| heard[a].abs().total_cmp(&heard[b].abs()))
}

fn energy(samples: &[f64]) -> f64 {
    samples.iter().map(|x| x * x).sum()
}
