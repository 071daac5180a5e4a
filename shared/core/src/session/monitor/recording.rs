//! Takes: of a recording, and of a finished phrase.

use crate::alignment::onset::OnsetEvidence;
use crate::dsp::numbers::to_frames;
use crate::dsp::samples::Run;
use crate::explain::diagnosis::Clues;
use crate::session::monitor::Monitor;
use crate::session::take::{Pass, Take};
use crate::spectrum::cross_spectrum::CrossSpectrum;
use crate::spectrum::grid::Grid;
use crate::spectrum::pair_sums::PairSums;
use crate::spectrum::welch::{Average, Blocks};
use crate::split::estimated::Tracker;
use crate::split::ways::Memory;

/// Length of the blocks a take's total is averaged over, against the short ones. Bins of 6 Hz let a string just below a
/// band's edge (the low E at 82 Hz, below the 100 Hz band) into the band: 0.4 dB of sum difference on a real guitar; a
/// quarter of that width, 0.05 dB. Dry and wet stay with the short blocks, which are numerous enough for telling them
/// apart.
pub const LONGER: usize = 4;

/// A take being recorded.
#[derive(Debug)]
pub(super) struct Recording {
    pub(super) average: Average,
    pub(super) long_blocks: Blocks,
    pub(super) long_average: Average,
    pub(super) onsets: OnsetEvidence,
    pub(super) tracker: Tracker,
    /// When the delay between the channels is searched for first, frames of the take.
    pub(super) first_look: u64,
    /// When it is searched for next, frames of the take.
    pub(super) next_look: u64,
    pub(super) sums: PairSums,
    pub(super) invalid_frames: u64,
    pub(super) active: bool,
}

impl Recording {
    /// For live sound the delay is searched for from the first second on, because only the last three seconds can be
    /// replayed.
    pub(super) fn new(rate_hz: f64, block_len: usize) -> Self {
        let tracker = Tracker::new(rate_hz, Memory::TAKE);
        Self::with(rate_hz, block_len, tracker, to_frames(rate_hz))
    }

    /// For a file, whose sound can be replayed from further back.
    pub(super) fn of_file(rate_hz: f64, block_len: usize) -> Self {
        let tracker = Tracker::of_file(rate_hz, Memory::TAKE);
        let first_look = tracker.kept_frames() as u64;
        Self::with(rate_hz, block_len, tracker, first_look)
    }

    fn with(rate_hz: f64, block_len: usize, tracker: Tracker, first_look: u64) -> Self {
        Self {
            average: Average::take(block_len),
            long_blocks: Blocks::new(LONGER * block_len),
            long_average: Average::take(LONGER * block_len),
            onsets: OnsetEvidence::new(rate_hz),
            tracker,
            first_look,
            next_look: 0,
            sums: PairSums::default(),
            invalid_frames: 0,
            active: false,
        }
    }

    /// Takes frames for everything except the average over the short blocks, which the monitor feeds itself.
    pub(super) fn push(&mut self, run: &Run<'_>) {
        if run.sound {
            self.sums.add_run(run.left, run.right);
        } else {
            self.invalid_frames += run.len() as u64;
        }
        self.onsets.push(run);
        self.tracker.push(run);
        self.long_blocks.push(run, |block| self.long_average.add(block));
    }
}

impl Monitor {
    /// Tries the candidate delay between the take's channels: of the whole sound, or, where a loud wet hides that, of
    /// its attacks.
    pub(super) fn look_for_delay(&mut self) {
        self.recording.average.read(&mut self.spectrum);
        let candidate = self.finder.candidate(&self.spectrum).or_else(|| {
            let attacks = self.recording.onsets.read(f64::INFINITY)?;
            attacks.shows_delay().then_some(attacks.delay_s * self.rate_hz)
        });
        self.recording.tracker.try_delay(candidate);
    }

    /// Begins a take with the next frame; one that was being recorded is dropped.
    pub fn start_take(&mut self) {
        self.blocks.restart();
        self.recording.average.reset();
        self.recording.long_blocks.restart();
        self.recording.long_average.reset();
        self.recording.onsets.reset();
        self.recording.tracker.restart();
        self.recording.next_look = self.recording.first_look;
        self.recording.sums = PairSums::default();
        self.recording.invalid_frames = 0;
        self.recording.active = true;
    }

    /// Whether a take is being recorded.
    #[must_use]
    pub fn is_recording(&self) -> bool {
        self.recording.active
    }

    /// Drops the take being recorded.
    pub fn drop_take(&mut self) {
        self.recording.active = false;
    }

    /// Ends the take. `None` when none was being recorded or it has no frames. Allocates.
    pub fn finish_take(&mut self, name: String, pass: Pass) -> Option<Take> {
        if !self.recording.active {
            return None;
        }
        self.recording.active = false;
        let average = &mut self.recording.average;
        self.blocks.flush(|block| average.add(block));
        let long = &mut self.recording.long_average;
        self.recording.long_blocks.flush(|block| long.add(block));
        if self.recording.sums.frames == 0 {
            return None;
        }
        let all_kept = self.recording.sums.frames <= self.recording.tracker.kept_frames() as u64;
        if all_kept || !self.recording.tracker.tries_delay() {
            self.look_for_delay();
        }
        self.recording.average.read(&mut self.spectrum);
        let (evidence, ways) = self.recording.tracker.evidence();
        let resolved = evidence.resolve(self.kind);
        let clues = Clues::heard(
            &evidence,
            &resolved.bounds,
            ways,
            self.recording.onsets.read(f64::INFINITY),
        );
        let diagnosis = self.diagnoser.examine(&self.spectrum, &clues);
        let long_len = self.recording.long_blocks.block_len();
        let mut total = CrossSpectrum::silent(long_len / 2 + 1);
        self.recording.long_average.read(&mut total);
        // There are fewer long blocks, but each cell of the take gathers more bins by the same factor.
        total.averages = self.spectrum.averages;
        let grid = Grid::fft(self.rate_hz, long_len);
        let take = Take::estimated(name, pass, self.recording.sums, &grid, total, evidence, self.kind);
        Some(
            take.with_invalid_frames(self.recording.invalid_frames)
                .with_diagnosis(diagnosis),
        )
    }

    /// A take of the phrase whose `sound` was given by [`Self::last_phrase`], from the averages, without analysing the
    /// sound again. Its bins are 6 Hz wide, four times those of a recorded take, so a string just below the lowest band
    /// may change a figure by some tenths of a decibel. `None` if nothing was played. Allocates; a few milliseconds.
    pub fn phrase_take(&mut self, name: String, sound: &[Vec<f32>; 2]) -> Option<Take> {
        let listening = self.listening.as_mut()?;
        listening.read(&mut self.spectrum);
        let attacks = listening.attacks();
        let (evidence, ways) = listening.evidence();
        let resolved = evidence.resolve(self.kind);
        let diagnosis = self.diagnoser.examine(
            &self.spectrum,
            &Clues::heard(&evidence, &resolved.bounds, ways, attacks),
        );
        let [left, right] = sound;
        let mut sums = PairSums::default();
        let mut invalid_frames = 0;
        // Invalid frames are kept as NaN in both channels.
        for (left, right) in left.iter().zip(right) {
            match left.is_nan() || right.is_nan() {
                true => invalid_frames += 1,
                false => sums.add(f64::from(*left), f64::from(*right)),
            }
        }
        if sums.frames == 0 {
            return None;
        }
        let grid = self.board.scorer().grid();
        let total = self.spectrum.clone();
        let take = Take::estimated(name, Pass::Full, sums, grid, total, evidence, self.kind);
        Some(take.with_invalid_frames(invalid_frames).with_diagnosis(diagnosis))
    }
}
