//! The side-chain split: dry and wet from the dry signal on an auxiliary input.
//!
//! The response from the reference to each channel is found by least squares over everything heard ([`solver`]). Its
//! part up to the *split time* after the first arrival, run on the reference, is the dry; the rest of the channel is
//! the wet. What arrives within the split time counts as dry, whatever it is: a short room, a doubler of 15 ms. A
//! reverb and an echo are as linear as the dry is, so coherence with the reference can't tell them apart (it books the
//! reverb as dry, by 9 dB); the time of arrival can. What isn't linear in the reference at all (modulation, distortion
//! after the tap, other inputs) is wet too, and its share is told ([`SideChainState::unexplained`]).
//!
//! The reference must be tapped after the amplifier stage and before time effects: distortion behind the tap would be
//! booked as wet.
//!
//! # The first arrival
//! Found in the response itself, from 20 ms before the reference (a host may delay the auxiliary input) to 200 ms after
//! it: this is the cross-correlation of reference and channel with the reference's own colour taken out. A reverb alone
//! has no first arrival that stands out; then there is none, and the split time counts from the reference.
//!
//! # Cost
//! For `N` frames of a [`crate::spectrum::grid::block_len`] (1/6 to 1/3 s): responses of `16·N` taps. Memory: about 50 MB at 48 kHz
//! with one reference, 90 MB with two; during a take 16 bytes a frame for [`STORED_S`] more. Pushing costs FFTs of `20·N`
//! once every `4·N` frames (a burst) and small ones between: about 3 % of one core. [`SideChain::work`] costs about 10 ms per
//! step and 130 000 taps, both channels together. Nothing allocates after construction but starting and
//! finishing a take.

mod convolver;
mod correlator;
mod estimator;
mod solver;

use std::collections::VecDeque;

use crate::alignment::delay::{ChannelDelay, DelayFinder};
use crate::dsp::samples::{self, Cleaner};
use crate::session::take::{Pass, Take};
use crate::spectrum::cross_spectrum::CrossSpectrum;
use crate::spectrum::grid::{Grid, block_len};
use crate::spectrum::pair_sums::PairSums;
use crate::spectrum::welch::{Average, Blocks, window_autocorrelation};
use crate::split::{Method, Split};

use convolver::{Early, EarlyConvolver, Hop};
use estimator::Estimator;

/// The split time unless somebody sets another, seconds.
pub const SPLIT_S: f64 = 0.020;

/// Shortest and longest split time, seconds.
pub const SPLIT_RANGE_S: (f64, f64) = (0.005, 0.100);

/// A first arrival is looked for up to this far behind the reference, seconds.
pub const LATEST_ARRIVAL_S: f64 = 0.200;

/// What comes up to this much before the first arrival still belongs to it (filters without delay ring before), seconds.
const GUARD_S: f64 = 0.003;

/// So much of a take is kept as sound, so that it can be split with what is known at its end; what is older is split with
/// what is known when it leaves the store. Seconds.
pub const STORED_S: f64 = 30.0;

/// Steps of the solver at the end of a take. On 8 s of plucked strings with a wet of −20 dB, 60 leave 0.1 dB, 150 leave 0.01.
const TAKE_STEPS: usize = 100;

/// Hops of the estimator before the first live solution: 2 s at 48 kHz.
const FIRST_HOPS: u64 = 3;

/// Sound behind a live response, in hops of the estimator, before a fresh one replaces it.
const RENEW_HOPS: u64 = 12;

/// A live response rests on at most so many hops of the estimator (40 s at 48 kHz), so that it follows slow changes.
const OLDEST_HOPS: u64 = 60;

/// When so much of a hop comes unforeseen, twice in a row, the preset was changed and the response is begun anew.
const CHANGED: f64 = 0.3;

/// How many references come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reference {
    /// One: the auxiliary input is mono.
    Mono,
    /// Two. If they are the same, or one is silent, they are one.
    Stereo,
}

/// How a side-chain split stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SideChainState {
    /// How far behind the reference the first arrival is, seconds (negative: before it); `None` when nothing stands out.
    pub arrival_s: Option<f64>,
    /// What comes later than this after the first arrival counts as wet, seconds.
    pub split_s: f64,
    /// Share of the sound's energy that is not linear in the reference at all, 0 to 1. In a short take the many taps
    /// explain some of it by chance, so this is a lower limit.
    pub unexplained: f64,
    /// How much sound the response rests on, seconds.
    pub heard_s: f64,
    /// How many references were told apart: 1 or 2.
    pub references: usize,
}

/// A take and how its split stands.
#[derive(Clone, Debug, PartialEq)]
pub struct SideChainTake {
    /// The take.
    pub take: Take,
    /// How its split stands.
    pub state: SideChainState,
    /// Its split on the FFT bins it was made on.
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

/// A take being recorded.
#[derive(Debug)]
struct Recording {
    parts: Parts,
    /// References and channels (late by the lead), single precision as they came.
    stored: VecDeque<[f32; 4]>,
    capacity: usize,
    sums: PairSums,
    invalid_frames: u64,
    /// Frames of the lead that lie before the take.
    skip: usize,
}

/// Hears a pair of channels and the dry signal they were made of, and tells dry from wet.
#[derive(Debug)]
pub struct SideChain {
    rate_hz: f64,
    grid: Grid,
    split_s: f64,
    integration_s: f64,
    /// The channels are taken this many frames late, so that lags from before the reference are causal.
    lead: usize,
    delay_line: VecDeque<[f64; 2]>,
    estimator: Estimator,
    live: Parts,
    recording: Option<Recording>,
    finder: DelayFinder,
    /// Lag of the first arrival in the estimator's taps, if something stands out.
    arrival: Option<usize>,
    known: bool,
    due: bool,
    solve_from: u64,
    surprises: u32,
    invalid_frames: u64,
}

impl SideChain {
    /// For a sample rate, 1 kHz to 1 MHz (others are moved there), and one or two references. Allocates all it needs.
    #[must_use]
    pub fn new(rate_hz: f64, reference: Reference) -> Self {
        let rate_hz = if rate_hz.is_nan() {
            48_000.0
        } else {
            rate_hz.clamp(1000.0, 1_000_000.0)
        };
        let len = block_len(rate_hz);
        // 20 ms; the taps must hold that, the latest arrival, the longest split and a long reverb.
        let lead = (0.020 * rate_hz) as usize;
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
            recording: None,
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
        lead + (LATEST_ARRIVAL_S * rate_hz) as usize
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

    /// Changes the split time (moved into [`SPLIT_RANGE_S`]; not a number is ignored).
    pub fn set_split(&mut self, split_s: f64) {
        let (shortest, longest) = SPLIT_RANGE_S;
        if split_s.is_nan() || split_s == self.split_s {
            return;
        }
        self.split_s = split_s.clamp(shortest, longest);
        if self.known {
            Self::set_early(
                &self.estimator,
                self.early(),
                &mut self.live,
                self.recording.as_mut(),
            );
        }
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

    /// Forgets everything but the settings. A take being recorded is dropped.
    pub fn reset(&mut self) {
        self.delay_line.iter_mut().for_each(|frame| *frame = [0.0; 2]);
        self.estimator.reset();
        self.live.reset();
        self.recording = None;
        self.arrival = None;
        self.known = false;
        self.due = false;
        self.solve_from = FIRST_HOPS;
        self.surprises = 0;
    }

    /// Takes frames of the references and the channels (as many as the shortest slice has). With one reference, `second`
    /// is ignored and may be empty; with two, an empty `second` means the first once more.
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
        // Taken out first: the line has no room for one more.
        let channels = self.delay_line.pop_front().unwrap_or_default();
        self.delay_line.push_back([frame[2], frame[3]]);
        if self.estimator.push(references, channels) {
            self.due = true;
            self.watch();
        }
        if self.known {
            self.live.push(self.chosen(references), channels);
        }
        if let Some(recording) = &mut self.recording {
            Self::store(recording, &self.estimator, references, channels);
        }
    }

    /// The references as the estimator numbers them.
    fn chosen(&self, references: [f64; 2]) -> [f64; 2] {
        choose(&self.estimator, references)
    }

    fn store(recording: &mut Recording, estimator: &Estimator, references: [f64; 2], channels: [f64; 2]) {
        if recording.stored.len() == recording.capacity
            && let Some(oldest) = recording.stored.pop_front()
        {
            Self::replay(recording, estimator, oldest);
        }
        let [a, b, l, r] = [references[0], references[1], channels[0], channels[1]].map(|x| x as f32);
        recording.stored.push_back([a, b, l, r]);
    }

    /// Splits a stored frame. The first ones hold channels from before the take, which don't belong to it.
    fn replay(recording: &mut Recording, estimator: &Estimator, frame: [f32; 4]) {
        let [a, b, l, r] = frame.map(f64::from);
        let references = choose(estimator, [a, b]);
        if recording.skip > 0 {
            recording.skip -= 1;
            recording.parts.convolver.note(references);
        } else {
            recording.parts.push(references, [l, r]);
        }
    }

    /// Begins the response anew where it no longer fits, or has grown old.
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

    /// Does a share of the work the response needs, if there's any: `steps` of the solver (8 to 15 live). Call it after
    /// pushing, where time is no matter; it returns at once while there is nothing new. True when the response changed.
    pub fn work(&mut self, steps: usize) -> bool {
        let hop = self.estimator.taps() as u64 / 4;
        if !self.due || self.estimator.frames() < self.solve_from * hop {
            return false;
        }
        self.due = false;
        self.solve(steps);
        true
    }

    fn solve(&mut self, steps: usize) {
        self.estimator.solve(steps);
        if self.estimator.unexplained().is_none() {
            return;
        }
        self.arrival = self
            .estimator
            .first_arrival(Self::longest_lag(self.rate_hz, self.lead));
        self.known = true;
        Self::set_early(
            &self.estimator,
            self.early(),
            &mut self.live,
            self.recording.as_mut(),
        );
    }

    /// Which taps are dry.
    fn early(&self) -> Early {
        let arrival = self.arrival.unwrap_or(self.lead);
        let guard = (GUARD_S * self.rate_hz) as usize;
        let first = arrival.saturating_sub(guard);
        Early {
            first,
            taps: arrival + (self.split_s * self.rate_hz) as usize - first,
        }
    }

    fn set_early(estimator: &Estimator, early: Early, live: &mut Parts, recording: Option<&mut Recording>) {
        for parts in core::iter::once(live).chain(recording.map(|recording| &mut recording.parts)) {
            parts.convolver.set(
                estimator.responses(),
                estimator.taps(),
                estimator.references(),
                early,
            );
        }
    }

    /// Begins a take with the next frame; one that was being recorded is dropped. The response is estimated from the
    /// take alone; the live one follows it. Allocates.
    pub fn start_take(&mut self) {
        let len = block_len(self.rate_hz);
        self.estimator.restart();
        self.due = false;
        self.solve_from = if self.known { RENEW_HOPS } else { FIRST_HOPS };
        let capacity = (STORED_S * self.rate_hz) as usize;
        let mut recording = Recording {
            parts: Parts::new(
                len,
                Self::longest_lag(self.rate_hz, self.lead),
                &Average::take(len),
            ),
            stored: VecDeque::with_capacity(capacity),
            capacity,
            sums: PairSums::default(),
            invalid_frames: 0,
            skip: self.lead,
        };
        if self.known {
            Self::set_early(&self.estimator, self.early(), &mut recording.parts, None);
        }
        self.recording = Some(recording);
    }

    /// Whether a take is being recorded.
    #[must_use]
    pub fn is_recording(&self) -> bool {
        self.recording.is_some()
    }

    /// Ends the take and solves for its response, which takes a few seconds. `None` when none was being recorded or it
    /// has no frames. Allocates.
    pub fn finish_take(&mut self, name: String, pass: Pass) -> Option<SideChainTake> {
        self.recording.as_ref()?;
        self.estimator.finish();
        self.solve(TAKE_STEPS);
        let mut recording = self.recording.take()?;
        self.solve_from = RENEW_HOPS;
        if recording.sums.frames == 0 {
            return None;
        }
        while let Some(frame) = recording.stored.pop_front() {
            Self::replay(&mut recording, &self.estimator, frame);
        }
        // The last of the take is still on its way.
        for channels in &self.delay_line {
            let [l, r] = channels.map(|x| x as f32);
            Self::replay(&mut recording, &self.estimator, [0.0, 0.0, l, r]);
        }
        recording.parts.flush();
        let mut split = Split::silent(self.grid.len(), Method::SideChain);
        recording.parts.read(&mut split);
        let delay = self.line_up(&mut split);
        let Recording {
            sums, invalid_frames, ..
        } = recording;
        Some(SideChainTake {
            take: Take::new(name, pass, sums, invalid_frames, &self.grid, &split, delay),
            state: self.state_now(),
            split,
        })
    }

    /// How the live split stands; `None` as long as no response is known.
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
            heard_s: self.estimator.frames() as f64 / self.rate_hz,
            references: self.estimator.references(),
        }
    }

    /// The live split, on the bins of [`Self::grid`], with the delay between the channels' dry if there's a single one. Does
    /// not allocate. `None`, and `out` untouched, as long as no response is known.
    ///
    /// # Panics
    /// If `out` has another number of cells than the grid.
    pub fn read(&mut self, out: &mut Split) -> Option<(SideChainState, Option<ChannelDelay>)> {
        let state = self.state()?;
        self.live.read(out);
        let delay = self.line_up(out);
        Some((state, delay))
    }

    /// Gives back what the window took off the dry's cross term where the channels are apart.
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

/// The references in the order in which the estimator uses them.
fn choose(estimator: &Estimator, references: [f64; 2]) -> [f64; 2] {
    match estimator.first_reference() {
        0 => references,
        _ => [references[1], references[0]],
    }
}
