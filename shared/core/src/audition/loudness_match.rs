//! Loudness matching, and the limiter behind it.

use super::{CHUNK, Frames, MATCH_LIMIT_DB};
use crate::dsp::db;
use crate::dsp::numbers::to_single;

const MATCH_SMOOTHING_S: f64 = 0.1;
const CEILING_RELEASE_S: f64 = 0.2;

/// A gain closer to its target than this is set to it: −120 dB.
const THERE: f64 = 1e-6;

/// The share of a step made in one sample, for a time constant of `seconds`.
fn share(seconds: f64, rate_hz: f64) -> f64 {
    1.0 - (-1.0 / (seconds * rate_hz)).exp()
}

/// The gain that makes a feed as loud as stereo, and its smoothing.
#[derive(Clone, Debug)]
pub(super) struct Match {
    wanted_db: Option<f64>,
    target: f64,
    /// What the gain still lacks to its target.
    missing: f64,
    keep: f64,
}

impl Match {
    pub(super) fn new(rate_hz: f64) -> Self {
        Self {
            wanted_db: None,
            target: 1.0,
            missing: 0.0,
            keep: 1.0 - share(MATCH_SMOOTHING_S, rate_hz),
        }
    }

    /// Sets the target gain, dB; `None` is unity.
    pub(super) fn set(&mut self, match_db: Option<f64>) {
        if match_db == self.wanted_db {
            return;
        }
        self.wanted_db = match_db;
        let finite_db = match_db.filter(|db| db.is_finite()).unwrap_or(0.0);
        let target = db::to_amplitude(finite_db.clamp(-MATCH_LIMIT_DB, MATCH_LIMIT_DB));
        self.missing += target - self.target;
        self.target = target;
    }

    /// Sets the gain without smoothing, for a feed that isn't heard yet.
    pub(super) fn begin(&mut self, match_db: Option<f64>) {
        self.set(match_db);
        self.missing = 0.0;
    }

    /// Writes the gains of the next frames. Returns whether any of them is not 1.
    pub(super) fn run(&mut self, gains: &mut [f32]) -> bool {
        if self.missing == 0.0 {
            gains.fill(to_single(self.target));
            return self.target != 1.0;
        }
        for gain in gains {
            self.missing *= self.keep;
            if self.missing.abs() < THERE {
                self.missing = 0.0;
            }
            *gain = to_single(self.target - self.missing);
        }
        true
    }
}

/// Turns both channels down at once when one would exceed its ceiling, and releases slowly.
///
/// While it's on, the ceiling is full scale. When switched on, the ceiling moves over the length of a fade from the
/// samples asked for (the feeds' without loudness matching) to full scale. When switched off it releases slowly, and as
/// long as a gain is returning nothing exceeds full scale or the samples asked for, whichever is higher.
#[derive(Clone, Debug)]
pub(super) struct Limiter {
    is_on: bool,
    /// Frames since it was switched on, up to `closing`.
    closed: usize,
    closing: usize,
    gain: f64,
    release: f64,
}

impl Limiter {
    pub(super) fn new(rate_hz: f64, closing: usize) -> Self {
        Self {
            is_on: false,
            closed: 0,
            closing,
            gain: 1.0,
            release: share(CEILING_RELEASE_S, rate_hz),
        }
    }

    pub(super) fn set(&mut self, is_on: bool) {
        if is_on != self.is_on {
            self.is_on = is_on;
            self.closed = 0;
        }
    }

    /// Whether its ceiling is full scale.
    pub(super) fn is_closed(&self) -> bool {
        self.is_on && self.closed == self.closing
    }

    /// Resets it while nothing passes through it: no slow release is needed.
    pub(super) fn rest(&mut self) {
        self.gain = 1.0;
        self.closed = self.closing;
    }

    /// Whether [`Self::run`] needs the samples asked for; `matched` says that a gain is not 1.
    pub(super) fn asks(&self, matched: bool) -> bool {
        if self.is_on {
            self.closed < self.closing
        } else {
            matched
        }
    }

    /// How far it's closed in the next frame, on the curve of a fade.
    fn close(&mut self) -> f32 {
        if !self.is_on {
            return 0.0;
        }
        self.closed = (self.closed + 1).min(self.closing);
        let share = self.closed as f32 / self.closing as f32;
        share * share * (3.0 - 2.0 * share)
    }

    /// Limits the first `count` frames. `asked` must be given where [`Self::asks`] returned `true`.
    pub(super) fn run(&mut self, out: &mut Frames, asked: Option<&Frames>, count: usize) {
        let [left, right] = out;
        let (left, right) = (&mut left[..count], &mut right[..count]);
        let has_let_go = self.gain == 1.0;
        if asked.is_none() && has_let_go && (!self.is_on || fits(left) && fits(right)) {
            return;
        }
        let mut most = [[if self.is_on { 1.0 } else { f32::INFINITY }; CHUNK]; 2];
        if let Some(asked) = asked {
            self.allow(asked, &mut most, count);
        }
        // Three passes, of which only the middle one has to run frame by frame.
        let mut gains = [0.0; CHUNK];
        for (gain, (left, most)) in gains.iter_mut().zip(left.iter().zip(&most[0])) {
            *gain = left.abs() / most;
        }
        for (gain, (right, most)) in gains.iter_mut().zip(right.iter().zip(&most[1])) {
            *gain = gain.max(right.abs() / most);
        }
        for gain in &mut gains[..count] {
            let peak = f64::from(*gain);
            self.gain = self.gain * (1.0 - self.release) + self.release;
            if 1.0 - self.gain < THERE {
                self.gain = 1.0;
            }
            if peak * self.gain > 1.0 {
                self.gain = 1.0 / peak;
            }
            *gain = to_single(self.gain);
        }
        for (channel, most) in [left, right].into_iter().zip(&most) {
            for ((sample, gain), most) in channel.iter_mut().zip(&gains).zip(most) {
                // Rounding may leave the product a hair above.
                *sample = (*sample * gain).clamp(-most, *most);
            }
        }
    }

    /// Writes the ceiling of the next frames: between the samples asked for and full scale.
    fn allow(&mut self, asked: &Frames, most: &mut Frames, count: usize) {
        for frame in 0..count {
            let open = 1.0 - self.close();
            for (most, asked) in most.iter_mut().zip(asked) {
                most[frame] = 1.0 + (asked[frame].abs() - 1.0).max(0.0) * open;
            }
        }
    }
}

/// Whether all samples lie within full scale.
fn fits(samples: &[f32]) -> bool {
    // No early exit: the cost is always the same, and the loop vectorises.
    samples
        .iter()
        .fold(true, |all, sample| all & (sample.abs() <= 1.0))
}
