//! Loudness matching, and the limiter over it.

use super::{CHUNK, Frames, MATCH_LIMIT_DB};
use crate::dsp::db;

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

    /// The same at once, for what isn't heard yet.
    pub(super) fn begin(&mut self, match_db: Option<f64>) {
        self.set(match_db);
        self.missing = 0.0;
    }

    /// The gains of the next frames. Says whether any of them is not 1.
    pub(super) fn run(&mut self, gains: &mut [f32]) -> bool {
        if self.missing == 0.0 {
            gains.fill(self.target as f32);
            return self.target != 1.0;
        }
        for gain in gains {
            self.missing *= self.keep;
            if self.missing.abs() < THERE {
                self.missing = 0.0;
            }
            *gain = (self.target - self.missing) as f32;
        }
        true
    }
}

/// Turns both channels down at once when one would exceed what it may have, and lets go slowly.
///
/// While it's on, that is full scale. Switched on, it closes over the length of a fade, from what is asked for (what the feeds
/// have without their loudness being matched). Switched off it lets go slowly, and as long as a gain is on its way back nothing
/// gets above full scale or what is asked for.
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

    /// Whether nothing that comes out of it is above full scale.
    pub(super) fn is_closed(&self) -> bool {
        self.is_on && self.closed == self.closing
    }

    /// Nothing goes through it now: it need not go slowly.
    pub(super) fn rest(&mut self) {
        self.gain = 1.0;
        self.closed = self.closing;
    }

    /// Whether it has to be told what is asked for; `matched` says that a gain is not 1.
    pub(super) fn asks(&self, matched: bool) -> bool {
        if self.is_on {
            self.closed < self.closing
        } else {
            matched
        }
    }

    /// How far it's closed in the next frame, as far as a fade would be.
    fn close(&mut self) -> f32 {
        if !self.is_on {
            return 0.0;
        }
        self.closed = (self.closed + 1).min(self.closing);
        let share = self.closed as f32 / self.closing as f32;
        share * share * (3.0 - 2.0 * share)
    }

    /// Works on the first `count` frames. What is `asked` for is given where [`Self::asks`] said so.
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
        // In three goes, of which only the middle one has to go frame by frame.
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
            *gain = self.gain as f32;
        }
        for (channel, most) in [left, right].into_iter().zip(&most) {
            for ((sample, gain), most) in channel.iter_mut().zip(&gains).zip(most) {
                // Rounding may leave the product a hair above.
                *sample = (*sample * gain).clamp(-most, *most);
            }
        }
    }

    /// What the next frames may have: on the way from what is asked for to full scale.
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
    // No early end: the same cost every time, and many at once.
    samples
        .iter()
        .fold(true, |all, sample| all & (sample.abs() <= 1.0))
}
