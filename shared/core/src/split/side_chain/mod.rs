//! The side-chain split: dry and wet from the dry signal on an auxiliary input.
//!
//! The response from the reference to each channel is found by least squares over everything heard ([`solver`]). The
//! reference convolved with its part up to the *split time* after the first arrival is the dry; the rest of the channel
//! is the wet. Everything that arrives within the split time counts as dry, even a short room or a doubler of 15 ms. A
//! reverb and an echo are as linear as the dry, so coherence with the reference can't distinguish them (it counts the
//! reverb as dry, by 9 dB); the time of arrival can. Everything that isn't linear in the reference (modulation,
//! distortion after the tap, other inputs) is wet too, and its share is reported ([`SideChainState::unexplained`]).
//!
//! The reference must be tapped after the amplifier stage and before time effects: distortion after the tap would count
//! as wet.
//!
//! # The first arrival
//! Found in the response itself, from 20 ms before the reference (a host may delay the auxiliary input) to 200 ms after
//! it: this is the cross-correlation of reference and channel, freed from the reference's own colour. A reverb alone
//! has no first arrival that stands out; then the split time counts from the reference.
//!
//! # Cost
//! For `N` frames of a [`crate::spectrum::grid::block_len`] (1/6 to 1/3 s): responses of `16·N` taps. Memory: about 60
//! MB at 48 kHz with one reference, 105 MB with two; during a take another 16 bytes a frame for [`STORED_S`]. Pushing
//! costs FFTs of `20·N` once every `4·N` frames (a burst) and small ones between: about 1 % of one core. A step of
//! [`SideChain::work`] costs about 10 ms for 130 000 taps, both channels together, twice that with two references, and
//! so does each step of [`SideChain::refine`]; the beginning of a job costs three times as much. After construction
//! only starting and ending a take allocates.

mod convolver;
mod correlator;
mod estimator;
mod recording;
mod solver;

use std::collections::VecDeque;

use crate::alignment::delay::{ChannelDelay, DelayFinder};
use crate::dsp::numbers::to_index;
use crate::dsp::samples::{self, Cleaner};
use crate::spectrum::cross_spectrum::CrossSpectrum;
use crate::spectrum::grid::{Grid, block_len};
use crate::spectrum::pair_sums::PairSums;
use crate::spectrum::welch::{Average, Blocks, window_autocorrelation};
use crate::split::pass::Pass;
use crate::split::{Method, Split};

use convolver::{Early, EarlyConvolver, Hop};
use estimator::Estimator;
use recording::{Ending, Recording, Solved};

/// Default split time, seconds.
pub const SPLIT_S: f64 = 0.020;

/// Shortest and longest split time, seconds.
pub const SPLIT_RANGE_S: (f64, f64) = (0.005, 0.100);

/// Latest first arrival searched for, after the reference, seconds.
pub const LATEST_ARRIVAL_S: f64 = 0.200;

/// Everything up to this much before the first arrival still belongs to it (zero-latency filters ring before it),
/// seconds.
const GUARD_S: f64 = 0.003;

/// How much of a take is kept as sound and split with the response known at its end, seconds; older sound is split with
/// the response known when it leaves the store.
pub const STORED_S: f64 = 30.0;

/// Solver steps for a take. A step during recording counts as the square of the share of the sound it was based on,
/// because later sound changes the response again. On 30 s of plucked strings with a wet of +12 dB these leave 0.01 dB
/// in all and 0.2 dB in a third of an octave.
const TAKE_STEPS: f64 = 60.0;

/// Least number of steps at its end.
const LEAST_STEPS: usize = 6;

/// Steps of one job during live sound.
const JOB_STEPS: usize = 10;

/// Hops of the estimator before the first live solution: 2 s at 48 kHz.
const FIRST_HOPS: u64 = 3;

/// Sound that a new live response must be based on before it replaces the old one, hops of the estimator.
const RENEW_HOPS: u64 = 12;

/// Most hops of the estimator that a live response is based on (40 s at 48 kHz), so it follows slow changes.
const OLDEST_HOPS: u64 = 60;

/// Unpredicted share of a hop's energy that, twice in a row, means a changed preset: the response is then restarted.
const CHANGED: f64 = 0.3;

/// The number of reference channels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reference {
    /// One: the auxiliary input is mono.
    Mono,
    /// Two. If they are equal, or one is silent, they count as one.
    Stereo,
}

/// The state of a side-chain split.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SideChainState {
    /// The first arrival after the reference, seconds (negative: before it); `None` if none stands out.
    pub arrival_s: Option<f64>,
    /// Sound later than this after the first arrival counts as wet, seconds.
    pub split_s: f64,
    /// Share of the sound's energy that is not linear in the reference at all, 0 to 1. A lower limit: in a short take
    /// the many taps explain some of it by chance.
    pub unexplained: f64,
    /// How much sound the response is based on, seconds.
    pub heard_s: f64,
    /// References in use: 1 or 2.
    pub references: usize,
}

/// What is known of a take after its end.
#[derive(Clone, Debug, PartialEq)]
pub struct EndedTake {
    /// The player's name for it.
    pub name: String,
    /// Its pass.
    pub pass: Pass,
    /// Exact sums over all frames.
    pub sums: PairSums,
    /// Frames that were invalid and left out.
    pub invalid_frames: u64,
    /// Number of gaps: places where frames are missing.
    pub gaps: u64,
    /// The single delay between the channels' dry, if there's one.
    pub delay: Option<ChannelDelay>,
    /// The state of its split.
    pub state: SideChainState,
    /// Its split on the bins of [`SideChain::grid`].
    pub split: Split,
}

/// Spectra of dry, wet and total from one early convolver.
#[derive(Debug)]
struct Parts {
    convolver: EarlyConvolver,
    blocks: [Blocks; 3],
    averages: [Average; 3],
}

impl Parts {
    fn new(len: usize, longest_lag: usize, average: &Average) -> Self {
        Self {
            convolver: EarlyConvolver::new(2 * len, longest_lag),
            blocks: core::array::from_fn(|_| Blocks::new(len)),
            averages: core::array::from_fn(|_| average.clone()),
        }
    }

    fn add(blocks: &mut [Blocks; 3], averages: &mut [Average; 3], hop: &Hop<'_>) {
        let mut cleaner = Cleaner::default();
        for ((blocks, average), part) in blocks.iter_mut().zip(averages).zip([hop.dry, hop.wet, hop.total]) {
            cleaner.runs(part[0], part[1], |run| {
                blocks.push(run, |block| average.add(block))
            });
        }
    }

    fn push(&mut self, references: [f64; 2], channels: [f64; 2]) {
        let Self {
            convolver,
            blocks,
            averages,
        } = self;
        convolver.push(references, channels, |hop| Self::add(blocks, averages, hop));
    }

    fn flush(&mut self) {
        let Self {
            convolver,
            blocks,
            averages,
        } = self;
        convolver.flush(|hop| Self::add(blocks, averages, hop));
        for (blocks, average) in blocks.iter_mut().zip(averages) {
            blocks.flush(|block| average.add(block));
        }
    }

    fn set(&mut self, estimator: &Estimator, early: Early) {
        self.convolver.set(
            estimator.responses(),
            estimator.taps(),
            estimator.references(),
            early,
        );
    }

    /// Marks a gap: the next frame does not follow the last one.
    fn mark_gap(&mut self) {
        let Self {
            convolver,
            blocks,
            averages,
        } = self;
        convolver.flush(|hop| Self::add(blocks, averages, hop));
        blocks.iter_mut().for_each(Blocks::restart);
    }

    fn reset(&mut self) {
        self.convolver.restart();
        for (blocks, average) in self.blocks.iter_mut().zip(&mut self.averages) {
            blocks.restart();
            average.reset();
        }
    }

    fn read(&self, out: &mut Split) {
        out.method = Method::SideChain;
        for (average, part) in self
            .averages
            .iter()
            .zip([&mut out.dry, &mut out.wet, &mut out.total])
        {
            average.read(part);
        }
    }
}

/// Splits a pair of channels into dry and wet, given the dry signal as reference.
#[derive(Debug)]
pub struct SideChain {
    rate_hz: f64,
    grid: Grid,
    split_s: f64,
    integration_s: f64,
    /// The channels are delayed by this many frames, which makes lags before the reference causal.
    lead: usize,
    delay_line: VecDeque<[f64; 2]>,
    estimator: Estimator,
    live: Parts,
    /// The live split is read.
    watched: bool,
    recording: Option<Recording>,
    /// Ended takes that are not yet split. Only the last one may be waiting for its response.
    ending: VecDeque<Ending>,
    finder: DelayFinder,
    /// Lag of the first arrival in the estimator's taps, if one stands out.
    arrival: Option<usize>,
    known: bool,
    due: bool,
    solve_from: u64,
    surprises: u32,
    invalid_frames: u64,
}

impl SideChain {
    /// Creates one for a sample rate, Hz, clamped to 1 kHz to 1 MHz, and one or two references. Allocates all buffers.
    #[must_use]
    pub fn new(rate_hz: f64, reference: Reference) -> Self {
        let rate_hz = if rate_hz.is_nan() {
            48_000.0
        } else {
            rate_hz.clamp(1000.0, 1_000_000.0)
        };
        let len = block_len(rate_hz);
        // 20 ms; the taps must hold that, the latest arrival, the longest split and a long reverb.
        let lead = to_index(0.020 * rate_hz);
        let inputs = match reference {
            Reference::Mono => 1,
            Reference::Stereo => 2,
        };
        let integration_s = 1.0;
        Self {
            rate_hz,
            grid: Grid::fft(rate_hz, len),
            split_s: SPLIT_S,
            integration_s,
            lead,
            delay_line: core::iter::repeat_n([0.0; 2], lead).collect(),
            estimator: Estimator::new(rate_hz, inputs, 16 * len),
            live: Parts::new(
                len,
                Self::longest_lag(rate_hz, lead),
                &Average::live(rate_hz, len, integration_s),
            ),
            watched: true,
            recording: None,
            ending: VecDeque::new(),
            finder: DelayFinder::new(rate_hz, len),
            arrival: None,
            known: false,
            due: false,
            solve_from: FIRST_HOPS,
            surprises: 0,
            invalid_frames: 0,
        }
    }

    fn longest_lag(rate_hz: f64, lead: usize) -> usize {
        lead + to_index(LATEST_ARRIVAL_S * rate_hz)
    }

    /// The sample rate, Hz.
    #[must_use]
    pub fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    /// The FFT bins that splits are read on: the same as [`crate::session::monitor::Monitor`]'s.
    #[must_use]
    pub fn grid(&self) -> &Grid {
        &self.grid
    }

    /// The split time, seconds.
    #[must_use]
    pub fn split_s(&self) -> f64 {
        self.split_s
    }

    /// Changes the split time, seconds (clamped to [`SPLIT_RANGE_S`]; NaN is ignored).
    pub fn set_split(&mut self, split_s: f64) {
        let (shortest, longest) = SPLIT_RANGE_S;
        if split_s.is_nan() || split_s == self.split_s {
            return;
        }
        self.split_s = split_s.clamp(shortest, longest);
        if self.known {
            self.set_early();
        }
    }

    /// Sets whether the live split is read. While it isn't, it is not computed; it restarts when it is read again.
    pub fn set_watched(&mut self, watched: bool) {
        if watched && !self.watched {
            self.live.reset();
        }
        self.watched = watched;
    }

    /// Changes the live integration time, seconds.
    pub fn set_integration(&mut self, integration_s: f64) {
        if integration_s != self.integration_s {
            self.integration_s = integration_s;
            for average in &mut self.live.averages {
                average.set_integration(self.rate_hz, integration_s);
            }
        }
    }

    /// Frames that were invalid, in a channel or a reference, since construction; they count as silence.
    #[must_use]
    pub fn invalid_frames(&self) -> u64 {
        self.invalid_frames
    }

    /// Clears everything except the settings. Takes being recorded, or not yet split, are dropped.
    pub fn reset(&mut self) {
        self.delay_line.iter_mut().for_each(|frame| *frame = [0.0; 2]);
        self.estimator.reset();
        self.live.reset();
        self.recording = None;
        self.ending.clear();
        self.arrival = None;
        self.known = false;
        self.due = false;
        self.solve_from = FIRST_HOPS;
        self.surprises = 0;
    }

    /// Takes frames of the references and the channels (as many as the shortest slice has). With one reference,
    /// `second` is ignored and may be empty; with two, an empty `second` means the same as `first`.
    pub fn push(&mut self, first: &[f32], second: &[f32], left: &[f32], right: &[f32]) {
        let second = if second.is_empty() { first } else { second };
        for (((&a, &b), &l), &r) in first.iter().zip(second).zip(left).zip(right) {
            let sound = samples::is_valid(a, b) && samples::is_valid(l, r);
            let frame = if sound {
                [a, b, l, r].map(samples::measured)
            } else {
                self.invalid_frames += 1;
                [0.0; 4]
            };
            if let Some(recording) = &mut self.recording {
                if sound {
                    recording.sums.add(f64::from(frame[2]), f64::from(frame[3]));
                } else {
                    recording.invalid_frames += 1;
                }
            }
            self.push_frame(frame.map(f64::from));
        }
    }

    fn push_frame(&mut self, frame: [f64; 4]) {
        let references = [frame[0], frame[1]];
        // Popped first: the line has no room for one more.
        let channels = self.delay_line.pop_front().unwrap_or_default();
        self.delay_line.push_back([frame[2], frame[3]]);
        let watching = self.recording.is_none() && self.known;
        if self.estimator.push(references, channels, watching) {
            self.due = true;
            self.watch();
        }
        if self.known && self.watched {
            self.live.push(self.chosen(references), channels);
        }
        if let Some(recording) = &mut self.recording {
            let [[a, b], [l, r]] = [references, channels];
            recording.push(&self.estimator, [a, b, l, r]);
        }
    }

    /// The references as the estimator numbers them.
    fn chosen(&self, references: [f64; 2]) -> [f64; 2] {
        match self.estimator.first_reference() {
            0 => references,
            _ => [references[1], references[0]],
        }
    }

    /// Marks a gap, after which the next frame does not follow the last one: no response is estimated across the gap.
    /// The present one stays; in a take it is replaced if more sound follows the gap than came before it.
    pub fn mark_gap(&mut self) {
        self.estimator.finish();
        if let Some(recording) = &mut self.recording {
            recording.mark_gap(self.delay_line.iter().copied());
        }
        if self.recording.is_some() {
            self.begin_last_job();
        }
        self.estimator.mark_gap();
        self.live.mark_gap();
        self.delay_line.iter_mut().for_each(|frame| *frame = [0.0; 2]);
        self.due = false;
        self.surprises = 0;
    }

    /// Restarts the response if it no longer fits, or is too old.
    fn watch(&mut self) {
        if self.recording.is_some() {
            return;
        }
        let usual = self.estimator.unexplained().unwrap_or(0.0);
        let unforeseen = self.estimator.surprise().unwrap_or(0.0);
        if self.known && unforeseen > CHANGED && unforeseen > 2.0 * usual {
            self.surprises += 1;
        } else {
            self.surprises = 0;
        }
        let hop = self.estimator.taps() as u64 / 4;
        let hops = self.estimator.frames() / hop;
        if self.surprises >= 2 && hops > FIRST_HOPS + 2 {
            self.estimator.restart();
            self.solve_from = FIRST_HOPS;
            self.surprises = 0;
        } else if hops >= OLDEST_HOPS {
            self.estimator.restart();
            self.solve_from = RENEW_HOPS;
        }
    }

    /// Does part of the work on the response, if there is any: `steps` steps of the solver. Call it after pushing, on a
    /// thread without deadlines; it returns at once if there is nothing new. Returns true when the response changed.
    pub fn work(&mut self, steps: usize) -> bool {
        if !self.estimator.is_solving() && !self.begin_job() {
            return false;
        }
        (0..steps).any(|_| self.step())
    }

    /// Whether [`Self::work`] has something to do.
    #[must_use]
    pub fn has_work(&self) -> bool {
        self.estimator.is_solving() || self.is_due()
    }

    fn is_due(&self) -> bool {
        let hop = self.estimator.taps() as u64 / 4;
        self.due && self.estimator.frames() >= self.solve_from * hop
    }

    fn begin_job(&mut self) -> bool {
        if !self.is_due() {
            return false;
        }
        self.due = false;
        let frames = self.estimator.frames();
        match &mut self.recording {
            // After a gap, wait until more sound has followed it than came before.
            Some(recording) if frames <= recording.best_frames => false,
            Some(recording) => {
                recording.best_frames = frames;
                self.estimator.begin_job(JOB_STEPS)
            }
            None => self.estimator.begin_job(JOB_STEPS),
        }
    }

    /// Takes one step of the current job. Returns true when that ended it.
    fn step(&mut self) -> bool {
        if !self.estimator.is_solving() {
            return false;
        }
        if let Some(recording) = &mut self.recording {
            recording.squared_frames += (self.estimator.job_frames() as f64).powi(2);
        }
        let ended = self.estimator.step();
        if ended {
            self.learn();
            self.mark_solved();
        }
        ended
    }

    /// Takes over the result of a job.
    fn learn(&mut self) {
        if self.estimator.unexplained().is_none() {
            return;
        }
        self.arrival = self
            .estimator
            .first_arrival(Self::longest_lag(self.rate_hz, self.lead));
        self.known = true;
        self.set_early();
    }

    /// Which taps are dry.
    fn early(&self) -> Early {
        let arrival = self.arrival.unwrap_or(self.lead);
        let guard = to_index(GUARD_S * self.rate_hz);
        let first = arrival.saturating_sub(guard);
        Early {
            first,
            taps: arrival + to_index(self.split_s * self.rate_hz) - first,
        }
    }

    fn set_early(&mut self) {
        let early = self.early();
        self.live.set(&self.estimator, early);
        if let Some(recording) = &mut self.recording {
            recording.set(&self.estimator, early);
        }
    }

    /// Begins a take with the next frame; one that was being recorded is dropped. The response is estimated from the
    /// take alone; the live one follows it. Allocates.
    pub fn start_take(&mut self) {
        self.estimator.restart();
        self.due = false;
        self.solve_from = if self.known { RENEW_HOPS } else { FIRST_HOPS };
        let mut recording = Recording::new(
            block_len(self.rate_hz),
            Self::longest_lag(self.rate_hz, self.lead),
            self.lead,
            to_index(STORED_S * self.rate_hz),
        );
        if self.known {
            recording.set(&self.estimator, self.early());
        }
        self.recording = Some(recording);
    }

    /// Whether a take is being recorded.
    #[must_use]
    pub fn is_recording(&self) -> bool {
        self.recording.is_some()
    }

    /// Drops the take being recorded.
    pub fn drop_take(&mut self) {
        self.recording = None;
    }

    /// Drops the ended takes that are not yet split.
    pub fn drop_endings(&mut self) {
        self.ending.clear();
    }

    /// Ends the take. [`Self::refine_ending`] computes its response and its parts and returns it when it's done. Returns false
    /// when none was being recorded or it has no frames. Allocates.
    pub fn end_take(&mut self, name: String, pass: Pass) -> bool {
        self.solve_ending();
        let Some(mut recording) = self.recording.take() else {
            return false;
        };
        self.solve_from = RENEW_HOPS;
        if recording.sums.frames == 0 {
            return false;
        }
        self.estimator.finish();
        self.due = false;
        recording.end_of_sound(self.delay_line.iter().copied());
        self.recording = Some(recording);
        self.begin_last_job();
        if let Some(recording) = self.recording.take() {
            self.ending.push_back(Ending {
                recording,
                name,
                pass,
                solved: None,
            });
        }
        true
    }

    /// Begins the last job of a take, or of its part before a gap; not if an earlier response was based on more sound,
    /// which is then the better one.
    fn begin_last_job(&mut self) {
        let Some(recording) = &mut self.recording else {
            return;
        };
        let frames = self.estimator.frames();
        if frames <= recording.best_frames {
            return;
        }
        let taken = recording.squared_frames / (frames as f64).powi(2);
        let steps = to_index((TAKE_STEPS - taken).max(0.0)).max(LEAST_STEPS);
        if self.estimator.begin_job(steps) {
            recording.best_frames = frames;
        }
    }

    /// Ends the current job with the response found so far, for the take that waits for it.
    fn solve_ending(&mut self) {
        if self.ending.back().is_some_and(|ending| ending.solved.is_none()) {
            if self.estimator.is_solving() {
                self.estimator.conclude();
                self.learn();
            }
            self.mark_solved();
        }
    }

    /// Gives the waiting take the present response.
    fn mark_solved(&mut self) {
        let (early, state) = (self.early(), self.state_now());
        if let Some(ending) = self.ending.back_mut().filter(|ending| ending.solved.is_none()) {
            ending.recording.set(&self.estimator, early);
            ending.solved = Some(Solved {
                state,
                first_reference: self.estimator.first_reference(),
            });
        }
    }

    /// Whether [`Self::refine_ending`] has something to do.
    #[must_use]
    pub fn is_ending(&self) -> bool {
        !self.ending.is_empty()
    }

    /// Does part of the work at the end of a take: a step of the solver, or splitting some of its sound. Returns the
    /// take once it is done. Allocates.
    pub fn refine_ending(&mut self) -> Option<EndedTake> {
        if self.ending.front()?.solved.is_none() {
            // The job is this take's own: the next recording begins none while one is running.
            if self.estimator.is_solving() {
                self.step();
            } else {
                self.mark_solved();
            }
            return None;
        }
        let mut split = Split::silent(self.grid.len(), Method::SideChain);
        self.ending.front_mut()?.go_on()?.read(&mut split);
        let delay = self.line_up(&mut split);
        let Ending {
            recording,
            name,
            pass,
            solved,
        } = self.ending.pop_front()?;
        Some(EndedTake {
            name,
            pass,
            sums: recording.sums,
            invalid_frames: recording.invalid_frames,
            gaps: u64::from(recording.gaps),
            delay,
            state: solved?.state,
            split,
        })
    }

    /// The state of the live split; `None` as long as no response is known.
    #[must_use]
    pub fn state(&self) -> Option<SideChainState> {
        self.known.then(|| self.state_now())
    }

    fn state_now(&self) -> SideChainState {
        SideChainState {
            arrival_s: self
                .arrival
                .map(|lag| (lag as f64 - self.lead as f64) / self.rate_hz),
            split_s: self.split_s,
            unexplained: self.estimator.unexplained().unwrap_or(0.0),
            heard_s: self.estimator.solved_frames() as f64 / self.rate_hz,
            references: self.estimator.references(),
        }
    }

    /// Reads the live split, on the bins of [`Self::grid`], with the delay between the channels' dry if there's a
    /// single one. Does not allocate. `None`, and `out` untouched, as long as no response is known.
    ///
    /// # Panics
    /// If the number of `out`'s cells is not the grid's.
    pub fn read(&mut self, out: &mut Split) -> Option<(SideChainState, Option<ChannelDelay>)> {
        let state = self.state()?;
        self.live.read(out);
        let delay = self.line_up(out);
        Some((state, delay))
    }

    /// Corrects the dry's cross term for the window where there is a delay between the channels.
    fn line_up(&mut self, split: &mut Split) -> Option<ChannelDelay> {
        let delay = self.finder.find(&split.dry);
        if let Some(delay) = delay {
            let lag = delay.delay_s * self.rate_hz / block_len(self.rate_hz) as f64;
            let overlap = window_autocorrelation(lag).max(0.1);
            give_back(&mut split.dry, overlap);
        }
        delay
    }
}

fn give_back(spectrum: &mut CrossSpectrum, overlap: f64) {
    for cross in &mut spectrum.lr {
        *cross /= overlap;
    }
}
