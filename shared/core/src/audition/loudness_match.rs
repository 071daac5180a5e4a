//! Loudness matching, and the limiter over it.

use super::{CHUNK, Frames, MATCH_LIMIT_DB};
use crate::dsp::{db, samples};

const MATCH_SMOOTHING_S: f64 = 0.1;
const CEILING_RELEASE_S: f64 = 0.2;

/// Nearer to where they are going than this, gains are there: −120 dB.
const THERE: f64 = 1e-6;

/// The share of a step that one sample takes.
fn share(seconds: f64, rate_hz: f64) -> f64 {
    1.0 - (-1.0 / (seconds * rate_hz)).exp()
}

/// The gain that makes a feed as loud as stereo, and the way to it.
#[derive(Clone, Debug)]
pub(super) struct Match {
    wanted_db: Option<f64>,
    target: f64,
    /// What is missing to the target.
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

    /// Sets the gain to go to, dB; `None` is none.
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

    pub(super) fn reset(&mut self) {
        self.missing = self.target - 1.0;
    }

    /// The gains of the next frames.
    pub(super) fn run(&mut self, gains: &mut [f32]) {
        if self.missing == 0.0 {
            gains.fill(self.target as f32);
            return;
        }
        for gain in gains {
            self.missing *= self.keep;
            if self.missing.abs() < THERE {
                self.missing = 0.0;
            }
            *gain = (self.target - self.missing) as f32;
        }
    }
}

/// Turns both channels down at once when one would exceed full scale, and lets go slowly.
#[derive(Clone, Debug)]
pub(super) struct Limiter {
    pub(super) is_on: bool,
    gain: f64,
    release: f64,
}

impl Limiter {
    pub(super) fn new(rate_hz: f64) -> Self {
        Self {
            is_on: false,
            gain: 1.0,
            release: share(CEILING_RELEASE_S, rate_hz),
        }
    }

    pub(super) fn reset(&mut self) {
        self.gain = 1.0;
    }

    /// Works on the first `count` frames.
    pub(super) fn run(&mut self, out: &mut Frames, count: usize) {
        let [left, right] = out;
        let (left, right) = (&mut left[..count], &mut right[..count]);
        if !self.is_on || self.gain == 1.0 && fits(left) && fits(right) {
            return;
        }
        // In three goes, of which only the middle one has to go frame by frame.
        let mut gains = [0.0; CHUNK];
        for (gain, (left, right)) in gains.iter_mut().zip(left.iter().zip(&*right)) {
            // An invalid sample passes while it's faded out, and is not the limiter's concern.
            *gain = samples::measured(*left)
                .abs()
                .max(samples::measured(*right).abs());
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
            *gain = self.gain as f32;
        }
        for channel in [left, right] {
            for (sample, gain) in channel.iter_mut().zip(&gains) {
                // Rounding may leave the product a hair above 1.
                let kept = (*sample * gain).clamp(-1.0, 1.0);
                *sample = if samples::is_valid(*sample, 0.0) {
                    kept
                } else {
                    *sample
                };
            }
        }
    }
}

/// Whether all samples lie within full scale.
fn fits(samples: &[f32]) -> bool {
    // No early end: the same cost every time, and many at once.
    samples
        .iter()
        .fold(true, |all, sample| all & (sample.abs() <= 1.0))
}
