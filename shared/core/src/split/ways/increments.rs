//! The onsets of a sound, and the new covariance at each.
//!
//! An onset is a peak of the weighted rise of the bands' levels over four frames (one frame length: the windows before
//! and at the onset just don't overlap). Its increment is the covariance there less the covariance before.

use super::Memory;
use super::bands::BANDS;
use super::sums::{Covariance, PIECES};
use crate::dsp::db;
use crate::dsp::numbers::ring_place;

/// Number of frames that the rise is taken over.
const RISE_FRAMES: usize = 4;
/// A peak is the highest rise within this many frames to both sides.
const BESIDE: usize = 8;
/// Frames kept.
const KEPT: usize = 32;
/// Least rise of an onset, dB.
const LEAST_RISE_DB: f64 = 2.5;
/// Cap of a band's rise, dB.
const MOST_RISE_DB: f64 = 20.0;
/// Peaks nearer to each other than this are equal, dB.
const EQUAL_DB: f64 = 1e-6;
/// Bands this far below their own peak count as silent, as a power ratio.
const BAND_FLOOR: f64 = 1e-5;
/// A silent band's power: −300 dB.
const NOTHING: f64 = 1e-30;
/// Onsets this far below the loudest frame don't count, as a power ratio.
const QUIETEST: f64 = 1e-3;
/// Least increment that counts, as a share of the power before.
const NEW: f64 = 0.3;
/// Decay of a peak over one time constant of a live reading, dB (20 dB over three).
const FADE_DB: f64 = 6.67;

/// Number of frames for which an increment is taken: the one before the peak of the rise, and the peak.
pub const PLACES: usize = 2;

/// One onset.
#[derive(Clone, Debug)]
pub struct Onset {
    /// Frame number.
    pub frame: u64,
    /// Power of the frame.
    power: f64,
    /// The increment per place and band; zero where it is too small against the power before.
    pub new: [[Covariance; BANDS]; PLACES],
}

/// The onsets of a stream.
#[derive(Debug)]
pub struct OnsetIncrements {
    frames: Vec<[Covariance; BANDS]>,
    /// Each band's power, but at least its floor and [`NOTHING`].
    levels: Vec<[f64; BANDS]>,
    rises: Vec<f64>,
    powers: Vec<f64>,
    count: u64,
    /// Frames still needed until no rise spans an invalid one.
    broken: usize,
    peaks: [f64; BANDS],
    means: [f64; BANDS],
    mean_weight: f64,
    loudest: f64,
    keep: f64,
    fade: f64,
    onsets: Vec<Onset>,
    /// Number of them in use.
    kept: usize,
    written: usize,
    oldest_frame: u64,
    /// Number of frames before each of the last pieces.
    pieces: [u64; PIECES - 1],
}

impl OnsetIncrements {
    pub(super) fn new(memory: &Memory, hop_s: f64) -> Self {
        let [keep, fade] = keep_and_fade(memory, hop_s);
        Self {
            frames: vec![[Covariance::default(); BANDS]; KEPT],
            levels: vec![[NOTHING; BANDS]; KEPT],
            rises: vec![0.0; KEPT],
            powers: vec![0.0; KEPT],
            count: 0,
            broken: 0,
            peaks: [0.0; BANDS],
            means: [0.0; BANDS],
            mean_weight: 0.0,
            loudest: 0.0,
            keep,
            fade,
            onsets: vec![
                Onset {
                    frame: 0,
                    power: 0.0,
                    new: [[Covariance::default(); BANDS]; PLACES],
                };
                memory.onsets.max(1)
            ],
            kept: memory.onsets.max(1),
            written: 0,
            oldest_frame: 0,
            pieces: [0; PIECES - 1],
        }
    }

    pub(super) fn set_memory(&mut self, memory: &Memory, hop_s: f64) {
        [self.keep, self.fade] = keep_and_fade(memory, hop_s);
        self.kept = memory.onsets.clamp(1, self.onsets.len());
        self.reset();
    }

    /// Begins a new piece: onsets before the last two pieces no longer count.
    pub(super) fn next_piece(&mut self) {
        let [oldest, last] = self.pieces;
        self.oldest_frame = self.oldest_frame.max(oldest);
        self.pieces = [last, self.count];
    }

    pub(super) fn reset(&mut self) {
        self.count = 0;
        self.broken = 0;
        self.peaks = [0.0; BANDS];
        self.means = [0.0; BANDS];
        self.mean_weight = 0.0;
        self.loudest = 0.0;
        self.written = 0;
        self.oldest_frame = 0;
        self.pieces = [0; PIECES - 1];
    }

    /// The onsets so far no longer count.
    pub fn forget(&mut self) {
        self.oldest_frame = self.count;
    }

    fn slot(frame: u64) -> usize {
        ring_place(frame, KEPT)
    }

    /// Takes a frame. Sound that resumes after invalid frames is no onset.
    pub(super) fn add(&mut self, frame: &[Covariance; BANDS], believed: bool) {
        let slot = Self::slot(self.count);
        self.mean_weight = self.mean_weight * self.keep + 1.0;
        self.loudest *= self.fade;
        let mut power = 0.0;
        for (band, pair) in frame.iter().enumerate() {
            let trace = pair.trace();
            power += trace;
            self.peaks[band] = (self.peaks[band] * self.fade).max(trace);
            self.means[band] = self.means[band] * self.keep + trace;
            let floor = self.peaks[band] * BAND_FLOOR;
            self.levels[slot][band] = trace.max(floor).max(NOTHING);
        }
        self.frames[slot] = *frame;
        self.powers[slot] = power;
        self.loudest = self.loudest.max(power);
        self.broken = if believed {
            self.broken.saturating_sub(1)
        } else {
            RISE_FRAMES + 1
        };
        self.rises[slot] = if self.broken == 0 { self.rise(slot) } else { 0.0 };
        self.count += 1;
        if self.count > (2 * BESIDE + RISE_FRAMES) as u64 {
            self.look(self.count - 1 - BESIDE as u64);
        }
    }

    /// The weighted rise to the newest frame.
    fn rise(&self, slot: usize) -> f64 {
        if self.count < RISE_FRAMES as u64 {
            return 0.0;
        }
        let before = &self.levels[Self::slot(self.count - RISE_FRAMES as u64)];
        let (mut rise, mut weights) = (0.0, 0.0);
        for band in 0..BANDS {
            let weight = (self.means[band] / self.mean_weight).sqrt();
            // A band without a peak so far comes out of silence.
            let before = before[band].max(self.peaks[band] * BAND_FLOOR);
            let now = self.levels[slot][band];
            if now > before {
                rise += weight * db::from_power(now / before).min(MOST_RISE_DB);
            }
            weights += weight;
        }
        if weights > 0.0 { rise / weights } else { 0.0 }
    }

    /// Stores this frame as an onset if its rise is a peak.
    fn look(&mut self, frame: u64) {
        let rise = self.rises[Self::slot(frame)];
        let beside = BESIDE as u64;
        let is_top = rise >= LEAST_RISE_DB
            && (frame - beside..=frame + beside).all(|other| {
                let other_rise = self.rises[Self::slot(other)];
                // Of equal peaks the first. Out of silence several are at the limit but for rounding.
                let by_db = other_rise - rise;
                by_db < -EQUAL_DB || (by_db <= EQUAL_DB && other >= frame)
            });
        let power = self.powers[Self::slot(frame)];
        if !is_top || power < QUIETEST * self.loudest {
            return;
        }
        let before = self.frames[Self::slot(frame - RISE_FRAMES as u64)];
        let slot = self.written % self.kept;
        let onset = &mut self.onsets[slot];
        onset.frame = frame;
        onset.power = power;
        for (place, new) in onset.new.iter_mut().enumerate() {
            let at = &self.frames[Self::slot(frame + place as u64 - 1)];
            for band in 0..BANDS {
                let increment = at[band].minus(&before[band]);
                new[band] = if increment.trace() > NEW * before[band].trace() {
                    increment
                } else {
                    Covariance::default()
                };
            }
        }
        self.written += 1;
    }

    /// The onsets that count, in no order.
    pub fn onsets(&self) -> impl Iterator<Item = &Onset> + Clone {
        let least = QUIETEST * self.loudest;
        self.onsets[..self.written.min(self.kept)]
            .iter()
            .filter(move |onset| onset.power >= least && onset.frame >= self.oldest_frame)
    }
}

/// The decay factors of a mean and of a peak per hop.
fn keep_and_fade(memory: &Memory, hop_s: f64) -> [f64; 2] {
    memory.forget_s.map_or([1.0; 2], |seconds| {
        let hops = hop_s / seconds;
        [(-hops).exp(), db::to_power(-FADE_DB * hops)]
    })
}
