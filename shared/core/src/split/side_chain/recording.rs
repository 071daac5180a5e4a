//! A take during recording and after its end: its sound is kept to be split with the response known at its end.

use std::collections::VecDeque;

use super::convolver::Early;
use super::estimator::Estimator;
use super::{Parts, SideChainState};
use crate::dsp::numbers::to_single;
use crate::spectrum::pair_sums::PairSums;
use crate::spectrum::welch::Average;
use crate::split::pass::Pass;

/// Frames split at once after the end.
const FRAMES_A_STEP: usize = 8192;

/// Marks a gap between two frames.
const GAP: [f32; 4] = [f32::NAN; 4];

/// A take's sound while it is split into dry and wet.
#[derive(Debug)]
pub(super) struct Recording {
    parts: Parts,
    /// References and channels (delayed by the lead), in single precision.
    stored: VecDeque<[f32; 4]>,
    capacity: usize,
    pub sums: PairSums,
    pub invalid_frames: u64,
    /// Frames of the lead still to be skipped: those before the take, or after a gap.
    skip: usize,
    lead: usize,
    /// Sum of squares of the frames that each solver step so far was based on.
    pub squared_frames: f64,
    /// Frames that the best response so far is based on.
    pub best_frames: u64,
    pub gaps: u32,
}

impl Recording {
    /// A take that begins with the next frame; `capacity` frames of it are kept as sound. Allocates.
    pub fn new(len: usize, longest_lag: usize, lead: usize, capacity: usize) -> Self {
        Self {
            parts: Parts::new(len, longest_lag, &Average::take(len)),
            stored: VecDeque::with_capacity(capacity + 2 * lead),
            capacity,
            sums: PairSums::default(),
            invalid_frames: 0,
            skip: lead,
            lead,
            squared_frames: 0.0,
            best_frames: 0,
            gaps: 0,
        }
    }

    /// Sets the responses to split with from here on.
    pub fn set(&mut self, estimator: &Estimator, early: Early) {
        self.parts.set(estimator, early);
    }

    /// Keeps a frame; without room the oldest is split with the present responses.
    pub fn push(&mut self, estimator: &Estimator, frame: [f64; 4]) {
        if self.stored.len() >= self.capacity {
            self.split_next(estimator.first_reference());
        }
        self.stored.push_back(frame.map(to_single));
    }

    /// Marks a gap: the next frame does not follow the last one. `on_way` are the channels' frames still in the lead's
    /// delay.
    pub fn mark_gap(&mut self, on_way: impl Iterator<Item = [f64; 2]>) {
        self.end_of_sound(on_way);
        self.stored.push_back(GAP);
        self.gaps += 1;
    }

    /// Takes the channels' frames still in the lead's delay, beside silent references.
    pub fn end_of_sound(&mut self, on_way: impl Iterator<Item = [f64; 2]>) {
        self.stored
            .extend(on_way.map(|[left, right]| [0.0, 0.0, to_single(left), to_single(right)]));
    }

    /// Splits the oldest frame. The first ones hold channels from before the take and are skipped.
    fn split_next(&mut self, first_reference: usize) -> bool {
        let Some(frame) = self.stored.pop_front() else {
            return false;
        };
        if frame[0].is_nan() {
            self.parts.mark_gap();
            self.skip = self.lead;
            return true;
        }
        let [a, b, left, right] = frame.map(f64::from);
        let references = if first_reference == 0 { [a, b] } else { [b, a] };
        if self.skip > 0 {
            self.skip -= 1;
            self.parts.convolver.note(references);
        } else {
            self.parts.push(references, [left, right]);
        }
        true
    }
}

/// A take after its end.
#[derive(Debug)]
pub(super) struct Ending {
    pub recording: Recording,
    pub name: String,
    pub pass: Pass,
    /// What it is split with, once its response is solved.
    pub solved: Option<Solved>,
}

/// What a take is split with.
#[derive(Clone, Copy, Debug)]
pub(super) struct Solved {
    pub state: SideChainState,
    pub first_reference: usize,
}

impl Ending {
    /// Splits some of the sound kept. Returns its parts once all of it is split, `None` while there's more to do.
    pub fn go_on(&mut self) -> Option<&mut Parts> {
        let solved = self.solved?;
        for _ in 0..FRAMES_A_STEP {
            if !self.recording.split_next(solved.first_reference) {
                self.recording.parts.flush();
                return Some(&mut self.recording.parts);
            }
        }
        None
    }
}
