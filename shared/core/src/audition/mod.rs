//! Live audition: both lines and the feed in the time domain.
//!
//! In: blocks of stereo samples and [`AuditionSettings`]. Out: the same blocks as the feed's listener gets them. Uses
//! `routing` and `dsp`.
//!
//! While auditioning, every signal is late by [`COMMON_DELAY`] samples or up to one less (both lines alike). Every
//! change of setting is a crossfade of [`FADE_S`]. When auditioning is off and the last fade is over
//! ([`Auditioner::is_idle`]) the buffer is not touched, so the sound passes bit for bit.

mod filters;
mod loudness_match;
mod path;
mod ring;

use multiversion::multiversion;

use crate::dsp::fractional::{COMMON_DELAY, FractionalTable};
use crate::dsp::numbers::{to_index, to_signed};
use crate::routing::feed::Feed;
use loudness_match::{Limiter, Match};
use path::Path;
use ring::DelayRing;

/// Length of a crossfade, seconds.
pub const FADE_S: f64 = 0.010;

/// The longest delay of a line that can be auditioned, seconds: the player's own and a feed's fault together.
pub const LONGEST_S: f64 = 0.032;

/// Loudness matching never changes the level by more than this, dB.
pub const MATCH_LIMIT_DB: f64 = 12.0;

/// Frames processed at once: enough for the cost per chunk not to matter, few enough for the stack.
const CHUNK: usize = 64;

/// Both channels of a chunk.
type Frames = [[f32; CHUNK]; 2];

/// What to audition.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct AuditionSettings {
    /// The feed, or `None` to pass the sound through.
    pub feed: Option<Feed>,
    /// Loudness matching: the gain that makes the feed as loud as stereo, dB, limited to ±[`MATCH_LIMIT_DB`]; while
    /// it's on, the feed's samples are kept within full scale; after it was switched off, and until its gain is back at
    /// 1, within full scale or the feed's own samples. `None` is off.
    pub match_db: Option<f64>,
}

/// Runs the audition on the audio thread.
///
/// ```
/// use sumproof_core::audition::{AuditionSettings, Auditioner};
/// use sumproof_core::routing::feed::{FeedId, Side};
/// use sumproof_core::score::rig::Rig;
///
/// let mut auditioner = Auditioner::new(48_000.0);
/// let feed = Some(Rig::default().feed(FeedId::WedgeLineFlipped, Side::Right));
/// auditioner.set(&AuditionSettings { feed, match_db: None });
/// let (mut left, mut right) = (vec![0.25; 4800], vec![0.25; 4800]);
/// auditioner.process(&mut left, &mut right);
/// // Equal channels with one line flipped: silence, once the feed has faded in.
/// assert!(left[4799].abs() < 1e-6);
/// ```
///
/// # Real-time
/// After construction: no allocation, no lock, no system call; O(frames), the same for every block, and a second feed's
/// cost on top during a fade. An invalid sample is heard as silence in a feed and passed on as it came when nothing is
/// auditioned.
#[derive(Clone, Debug)]
pub struct Auditioner {
    rate_hz: f64,
    table: FractionalTable,
    history: DelayRing,
    /// Frames until the history holds enough to begin.
    filling: usize,
    /// The path that is heard and, in a fade, the one that follows it.
    paths: [Option<Path>; 2],
    /// Index of the one that is heard. A fade ends by changing this: moving a path would cost as much as running it for
    /// some frames.
    heard: usize,
    /// Whether there's a fade, or one is about to begin.
    fading: bool,
    /// Frames until the fade begins: preparing it costs as much as running it, so with short blocks the two fall into
    /// different blocks.
    waiting: usize,
    /// Frames of the fade that are over.
    faded: usize,
    /// Length of a fade, frames.
    fade_len: usize,
    wanted: Option<Feed>,
    match_db: Option<f64>,
    /// The loudness match of the path at the same index: each path has its own gain, in a fade too.
    loudness: [Match; 2],
    limiter: Limiter,
}

impl Auditioner {
    /// Creates one for a sample rate, Hz. Allocates the history (about 0.1 MB at 192 kHz, else less) and the
    /// interpolation table.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        let rate_hz = rate_hz.clamp(1000.0, 1_000_000.0);
        let fade_len = to_index((FADE_S * rate_hz).ceil());
        Self {
            rate_hz,
            table: FractionalTable::new(),
            history: DelayRing::new(rate_hz),
            filling: 0,
            paths: [None, None],
            heard: 0,
            fading: false,
            waiting: 0,
            faded: 0,
            fade_len,
            wanted: None,
            match_db: None,
            loudness: core::array::from_fn(|_| Match::new(rate_hz)),
            limiter: Limiter::new(rate_hz, fade_len),
        }
    }

    /// The delay of both lines alike while a feed is auditioned, samples: this or up to one less.
    #[must_use]
    pub fn common_delay() -> usize {
        COMMON_DELAY
    }

    /// Sets what to audition; [`Self::process`] fades to it.
    pub fn set(&mut self, settings: &AuditionSettings) {
        self.wanted = settings.feed;
        self.match_db = settings.match_db;
        self.limiter.set(settings.match_db.is_some());
        for (path, loudness) in self.paths.iter().zip(&mut self.loudness) {
            // The gain is the wanted feed's: a feed that is fading out keeps its own, unless matching is switched off.
            let is_wanted = path
                .as_ref()
                .is_some_and(|path| Some(path.feed()) == self.wanted.as_ref());
            if is_wanted || settings.match_db.is_none() {
                loudness.set(settings.match_db);
            }
        }
    }

    /// Whether the sound passes untouched: [`Self::process`] would write nothing.
    #[must_use]
    pub fn is_idle(&self) -> bool {
        self.wanted.is_none() && self.paths[self.heard].is_none() && !self.fading
    }

    /// Clears all sound and fades; the settings stay and apply from the next frame.
    pub fn reset(&mut self) {
        self.history.clear();
        self.filling = 0;
        self.paths = [None, None];
        self.fading = false;
        self.waiting = 0;
        self.limiter.rest();
    }

    /// Replaces a block by the feed's sound (as many frames as the shorter slice has). Writes nothing when idle.
    pub fn process(&mut self, left: &mut [f32], right: &mut [f32]) {
        let frames = left.len().min(right.len());
        let (mut left, mut right) = (&mut left[..frames], &mut right[..frames]);
        while !left.is_empty() {
            if self.is_idle() {
                self.filling = 0;
                break;
            }
            if !self.fading {
                self.consider();
            }
            let count = self.chunk_len(left.len());
            let (now_left, now_right);
            (now_left, left) = left.split_at_mut(count);
            (now_right, right) = right.split_at_mut(count);
            self.chunk(now_left, now_right);
        }
        for path in self.paths.iter_mut().flatten() {
            path.settle();
        }
    }

    /// A chunk ends where a fade is over and where there's enough sound to begin, so the result doesn't depend on the
    /// host's block sizes.
    fn chunk_len(&self, left: usize) -> usize {
        let until_change = if self.waiting > 0 {
            self.waiting
        } else if self.fading {
            self.fading_len() - self.faded
        } else if self.filling < self.history.enough() {
            self.history.enough() - self.filling
        } else {
            CHUNK
        };
        left.min(CHUNK).min(until_change.max(1))
    }

    /// Number of frames for which both sounds are computed: as many whole chunks as a fade needs. A block with the end
    /// of one chunk and the beginning of another would cost more than any other.
    fn fading_len(&self) -> usize {
        self.fade_len.next_multiple_of(CHUNK)
    }

    /// Starts a fade when the settings differ from what is heard.
    fn consider(&mut self) {
        let current = &self.paths[self.heard];
        let heard = current.as_ref().map(Path::feed);
        if heard == self.wanted.as_ref() {
            return;
        }
        // Before the history is full, a late line would begin with a step.
        if current.is_none() && self.filling < self.history.enough() {
            return;
        }
        if current.is_none() {
            // Nothing passes through it now, so it can be reset.
            self.limiter.rest();
        }
        self.paths[1 - self.heard] = self
            .wanted
            .map(|feed| Path::new(&feed, self.rate_hz, &self.table));
        self.loudness[1 - self.heard].begin(self.match_db);
        self.fading = true;
        self.waiting = CHUNK;
        self.faded = 0;
    }

    /// Processes at most [`CHUNK`] frames in which nothing begins or ends, except that a fade may end with the last of
    /// them.
    fn chunk(&mut self, left: &mut [f32], right: &mut [f32]) {
        let count = left.len();
        self.history.push(left, right);
        self.filling = (self.filling + count).min(self.history.enough());
        if self.paths[self.heard].is_none() && !self.fading {
            return;
        }
        let is_waiting = self.waiting > 0;
        self.waiting = self.waiting.saturating_sub(count);
        let fading = self.fading && !is_waiting;
        let mut through: Frames = [[0.0; CHUNK]; 2];
        through[0][..count].copy_from_slice(left);
        through[1][..count].copy_from_slice(right);
        let (has_current, has_coming) = (
            self.paths[self.heard].is_some(),
            fading && self.paths[1 - self.heard].is_some(),
        );
        let mut out = through;
        if has_current || has_coming {
            self.feeds(count, has_coming, &mut out);
            let frames = self.faded..self.faded + count;
            if !has_current {
                let mut mixed = through;
                fade(&mut mixed, &out, frames, self.fade_len);
                out = mixed;
            } else if fading && !has_coming {
                fade(&mut out, &through, frames, self.fade_len);
            }
            if fading && !(has_current && has_coming) && self.limiter.is_closed() {
                bound(&mut out, &through);
            }
        }
        if fading {
            self.faded += count;
            if self.faded == self.fading_len() {
                self.fading = false;
                self.paths[self.heard] = None;
                self.heard = 1 - self.heard;
            }
        }
        left.copy_from_slice(&out[0][..count]);
        right.copy_from_slice(&out[1][..count]);
    }

    /// The feeds' output, loudness-matched and limited: of the one that is heard, the one that follows, or the
    /// crossfade between two feeds.
    fn feeds(&mut self, count: usize, with_coming: bool, out: &mut Frames) {
        let [first, second] = &mut self.paths;
        let (current, coming, order) = match self.heard {
            0 => (first, second, [0, 1]),
            _ => (second, first, [1, 0]),
        };
        let (frames, len) = (self.faded..self.faded + count, self.fade_len);
        let mut gains = [[0.0; CHUNK]; 2];
        let [of_current, of_coming] = &mut gains;
        match (current, coming) {
            (Some(current), Some(coming)) if with_coming => {
                let mut next = [[0.0; CHUNK]; 2];
                Path::run_both([current, coming], &self.history, count, [out, &mut next]);
                let moving = self.loudness[order[0]].run(&mut of_current[..count])
                    | self.loudness[order[1]].run(&mut of_coming[..count]);
                let asked = self.limiter.asks(moving).then(|| {
                    let mut asked = *out;
                    fade(&mut asked, &next, frames.clone(), len);
                    asked
                });
                amplify(out, of_current);
                amplify(&mut next, of_coming);
                fade(out, &next, frames, len);
                self.limiter.run(out, asked.as_ref(), count);
            }
            (Some(path), _) | (None, Some(path)) => {
                path.run(&self.history, count, out);
                let place = order[usize::from(with_coming)];
                let moving = self.loudness[place].run(&mut of_current[..count]);
                let asked = self.limiter.asks(moving).then_some(*out);
                amplify(out, of_current);
                self.limiter.run(out, asked.as_ref(), count);
            }
            (None, None) => {}
        }
    }
}

/// Applies the loudness gains.
#[multiversion(targets("x86_64+avx"))]
fn amplify(out: &mut Frames, gains: &[f32; CHUNK]) {
    for channel in out {
        for (sample, gain) in channel.iter_mut().zip(gains) {
            *sample *= gain;
        }
    }
}

/// In a fade between a feed within full scale and the sound that passes, no sample exceeds both except by rounding;
/// this clamps the excess. Invalid samples that pass are left as they are.
fn bound(out: &mut Frames, through: &Frames) {
    for (out, through) in out.iter_mut().zip(through) {
        for (sample, through) in out.iter_mut().zip(through) {
            let most = through.abs().max(1.0);
            *sample = sample.clamp(-most, most);
        }
    }
}

/// Crossfades from `out` to `next`, which is reached with the last of the fade's `len` frames; `frames` is the range of
/// these frames within the fade.
fn fade(out: &mut Frames, next: &Frames, frames: core::ops::Range<usize>, len: usize) {
    mix(out, next, frames.start, len);
    for (out, next) in out.iter_mut().zip(next) {
        // The last frame is exactly `next`, whatever the rounding.
        let over = (len - 1).saturating_sub(frames.start).min(frames.len());
        out[over..frames.len()].copy_from_slice(&next[over..frames.len()]);
    }
}

/// Mixes a whole chunk; the last frame of a fade may be off by rounding.
#[multiversion(targets("x86_64+avx"))]
fn mix(out: &mut Frames, next: &Frames, begin: usize, len: usize) {
    let mut shares = [0.0; CHUNK];
    for (share, frame) in shares.iter_mut().zip(to_signed(begin) + 1..) {
        let f = frame as f32 / len as f32;
        // A cubic in place of a raised cosine: no corner at either end.
        *share = f * f * (3.0 - 2.0 * f);
    }
    for (out, next) in out.iter_mut().zip(next) {
        for ((out, next), share) in out.iter_mut().zip(next).zip(&shares) {
            *out += (next - *out) * share;
        }
    }
}
