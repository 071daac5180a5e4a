//! How the dry lies in the pair, from what begins: short-time covariances of both channels, what is new at each onset, and how
//! the sound is shared out over the seconds between.
//!
//! In comes the stream of believed frames, out comes what an estimate of dry and wet rests on. The direction of a dry that
//! begins is seen in the *increment* of the covariance over an onset: what was ringing before is in both and cancels. A
//! line fitted through all the sound, or the eigenvectors of summed increments, are ten times worse.

mod bands;
mod bounds;
mod evidence;
mod figures;
mod frames;
mod increments;
mod modes;
mod sums;
mod tail;
mod wet;

pub use bands::{BANDS, GROUPS};
pub use bounds::{BandDry, Bounds, Closed, Resolved, Way};
pub use evidence::{Beginning, Evidence, WetAlong};
pub use figures::{FeedWeights, PartChanges, changes};
pub use increments::OnsetIncrements;
pub use modes::{MOST_MODES, Mode, Modes};
pub use sums::{Along, Covariance, Moments};
pub use tail::Tail;

use crate::dsp::samples::Run;
use bands::BandEdges;
use frames::ShortFrames;
use sums::LongTerm;

/// How much of a stream is kept.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Memory {
    /// The last so many onsets.
    pub onsets: usize,
    /// The last so many [`Moments`] of 43 ms.
    pub moments: usize,
    /// Time constant of the long-term sums, seconds; `None` sums everything alike.
    pub forget_s: Option<f64>,
}

impl Memory {
    /// Of a take: every frame counts alike; the last 256 onsets and six minutes.
    pub const TAKE: Self = Self {
        onsets: 256,
        moments: 8192,
        forget_s: None,
    };
    /// Of a live reading.
    pub const LIVE: Self = Self {
        onsets: 48,
        moments: 256,
        forget_s: Some(3.0),
    };
}

/// Follows a pair of channels, of which one may be held back so that a late one lines up. Pushing allocates nothing.
#[derive(Debug)]
pub struct Ways {
    frames: ShortFrames,
    increments: OnsetIncrements,
    sums: LongTerm,
}

impl Ways {
    /// For a sample rate, Hz.
    #[must_use]
    pub fn new(rate_hz: f64, memory: Memory) -> Self {
        let edges = BandEdges::new(rate_hz);
        let frames = ShortFrames::new(rate_hz, edges);
        let hop_s = frames.hop() as f64 / rate_hz;
        Self {
            increments: OnsetIncrements::new(&memory, hop_s),
            sums: LongTerm::new(&memory, hop_s),
            frames,
        }
    }

    /// Forgets everything, and lines the channels up from now on: the right one is so many samples late (the left one, if
    /// negative). At most 45 ms; what is more is cut off.
    pub fn restart(&mut self, delay_samples: f64) {
        self.frames.restart(delay_samples);
        self.increments.reset();
        self.sums.reset();
    }

    /// The delay that is taken out, samples; positive where the right channel is the later one.
    #[must_use]
    pub fn delay_samples(&self) -> f64 {
        self.frames.delay_samples()
    }

    /// How many transforms of how many samples were made, for a bench to set the cost against.
    #[must_use]
    pub fn transforms(&self) -> (u64, usize) {
        self.frames.transforms()
    }

    /// Takes frames.
    pub fn push(&mut self, run: &Run<'_>) {
        let (increments, sums) = (&mut self.increments, &mut self.sums);
        self.frames.push(run, |bands| {
            sums.add(bands);
            increments.add(bands);
        });
    }

    /// What began.
    #[must_use]
    pub fn increments(&self) -> &OnsetIncrements {
        &self.increments
    }

    /// Mean covariance per band over the whole.
    #[must_use]
    pub fn means(&self) -> [Covariance; BANDS] {
        self.sums.means()
    }

    /// The covariances of octave groups in pieces of 43 ms, oldest first.
    pub fn moments(&self) -> impl Iterator<Item = &Moments> {
        (0..self.moment_count()).map(|n| self.sums.moment(n))
    }

    /// How many of them are kept.
    #[must_use]
    pub fn moment_count(&self) -> usize {
        self.sums.moment_count()
    }

    /// One of them, the oldest being 0.
    ///
    /// # Panics
    /// If there are no more than that.
    #[must_use]
    pub fn moment(&self, n: usize) -> &Moments {
        self.sums.moment(n)
    }

    /// Seconds of a moment.
    #[must_use]
    pub fn moment_s(&self) -> f64 {
        self.sums.moment_s()
    }

    /// The directions that what begins shows.
    #[must_use]
    pub fn modes(&self) -> Modes {
        Modes::find(&self.increments, &self.means())
    }
}
