//! How the channels relate to each other at the beginning of a sound.
//!
//! A reverb needs time to build up; the direct sound is there at once. So the first milliseconds after an attack, less
//! what was sounding just before it, show the direct sound alone: whether the channels carry the same sound, its
//! inverse, the same with one of them late, or different sounds. No figure over the whole sound can tell an inverted
//! channel from a strong wet whose channels work against each other; this can.

mod stretches;
mod windows;

use multiversion::multiversion;

use crate::dsp::db;
use crate::dsp::numbers::{ring_filled, ring_place, to_frames, to_index, to_lag};
use crate::dsp::samples::Run;
use crate::spectrum::pair_sums::product;
use stretches::Stretches;
use windows::Windows;

/// Length of the window on an attack, seconds: before a room answers (most answer after 15 to 40 ms; common practice,
/// no source).
pub const ATTACK_S: f64 = 0.022;
/// How far the window begins before the frame whose power rose, seconds.
const AHEAD_S: f64 = 0.004;
/// Length of a frame whose power is compared with the past, seconds.
const FRAME_S: f64 = 0.0025;
/// How many frames back the past reaches.
const PAST_FRAMES: usize = 8;
/// Rise of the (differentiated) power that makes an attack, as a power ratio: 4 dB.
const RISE: f64 = 2.5;
/// No second attack within this time, seconds.
const APART_S: f64 = 0.06;
/// The delay taken out of the frames between the attacks is the one the attacks of this last stretch agree on, seconds.
const RECENT_S: f64 = 6.0;
/// Longest delay between the channels searched for in either direction, seconds.
pub const REACH_S: f64 = 0.016;
/// Least share of new power in a channel's window; with less the attack isn't used.
const NEW: f64 = 0.25;
/// Number of attacks kept; older ones are dropped.
pub const KEPT: usize = 48;
/// Least number of attacks for a reading.
pub const ENOUGH: usize = 3;

/// Shortest delay that matters, seconds: 0.05 ms puts the first notch at 10 kHz.
pub const LATE_S: f64 = 0.000_05;
/// Attacks count as late when lining them up raises their correlation by at least this.
const LINED_UP_MORE: f64 = 0.3;

/// What the attacks show of the direct sound.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Attacks {
    /// Number of attacks it is averaged over.
    pub count: usize,
    /// Correlation of the channels' new sound, no delay taken out, −1 to +1.
    pub correlation: f64,
    /// Standard error of that over the attacks.
    pub spread: f64,
    /// The delay (positive when the right channel is later) at which the channels' new sound correlates most strongly,
    /// seconds.
    pub delay_s: f64,
    /// The correlation at that delay; negative where one channel is the other's negative.
    pub aligned: f64,
    /// Standard error of that.
    pub aligned_spread: f64,
    /// The share of attacks that have the sign of [`Self::aligned`] at that delay.
    pub agreeing: f64,
    /// Level of the left channel's new sound over the right one's, dB.
    pub level_difference_db: f64,
    /// The least correlated tenth and quarter of the time between attacks: the mean of these two quantiles of the
    /// correlation in short frames, with the delay and the sign of the attacks taken out. Where the direct sound dies
    /// away this is the wet's own. `None` with too few frames.
    pub lowest: Option<f64>,
    /// By how much chance alone puts [`Self::lowest`] below the frames' true correlation, because it picks those that
    /// strayed furthest down; 0 without [`Self::lowest`].
    pub lowest_by_chance: f64,
}

impl Attacks {
    /// The share of a late channel's attack that lies inside the window, 0.6 to 1.
    #[must_use]
    pub fn inside(&self) -> f64 {
        (1.0 - self.delay_s.abs() / (ATTACK_S + AHEAD_S)).clamp(0.6, 1.0)
    }

    /// Whether the attacks show one direct sound in both channels: correlated enough at one delay, all with one sign.
    #[must_use]
    pub fn is_one_sound(&self) -> bool {
        self.aligned.abs() >= 0.5 * self.inside()
            && self.agreeing >= 0.8
            && self.aligned.abs() > 3.0 * self.aligned_spread
    }

    /// Whether they show one direct sound that is later in one channel: correlated at a delay, and far less without it.
    #[must_use]
    pub fn shows_delay(&self) -> bool {
        self.is_one_sound()
            && self.delay_s.abs() >= LATE_S
            && self.aligned.abs() > self.correlation.abs() + LINED_UP_MORE + 2.0 * self.spread
    }
}

/// The difference of each sample from the one before it; `last` is the sample before the first.
#[multiversion(targets("x86_64+avx"))]
fn differences(last: &mut f64, samples: &[f64], out: &mut [f64]) {
    let Some((&first, &newest)) = samples.first().zip(samples.last()) else {
        return;
    };
    let count = samples.len();
    let (out, before) = (&mut out[..count], &samples[..count - 1]);
    out[0] = first - *last;
    let (out, samples) = (&mut out[1..], &samples[1..]);
    for n in 0..before.len() {
        out[n] = samples[n] - before[n];
    }
    *last = newest;
}

/// One stored attack.
#[derive(Clone, Copy, Debug, Default)]
struct StoredAttack {
    /// Frame number at which it was detected.
    at: u64,
    left: f64,
    right: f64,
}

/// Detects attacks in a stream and keeps their evidence.
///
/// Pushing and reading allocate nothing. An attack costs six transforms of about 50 ms, at most every 60 ms.
pub struct OnsetEvidence {
    rate_hz: f64,
    frame_len: usize,
    /// Windows of the differentiated channels.
    windows: Windows,
    heard: u64,
    last: [f64; 2],
    /// Each sample's difference from the one before it, per channel.
    steps: [Vec<f64>; 2],
    frame_power: f64,
    in_frame: usize,
    past: [f64; PAST_FRAMES],
    /// Samples until the window of the attack just detected is full.
    waiting: Option<usize>,
    /// The delay the window allows for, samples.
    waits_for: isize,
    rest: usize,
    reach: usize,
    /// Each kept attack's correlation over lag.
    curves: Vec<f32>,
    kept: [StoredAttack; KEPT],
    count: u64,
    mean: Vec<f64>,
    /// The delay the last attacks agree on, samples.
    lag: isize,
    stretches: Stretches,
}

impl std::fmt::Debug for OnsetEvidence {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("OnsetEvidence")
            .field("attacks", &self.count)
            .finish_non_exhaustive()
    }
}

impl OnsetEvidence {
    /// Creates one for a sample rate, Hz.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        let samples = |seconds: f64| to_index((seconds * rate_hz).round()).max(4);
        let reach = samples(REACH_S);
        let windows = Windows::new(rate_hz, samples(AHEAD_S + ATTACK_S), reach);
        Self {
            rate_hz,
            frame_len: samples(FRAME_S),
            windows,
            heard: 0,
            last: [0.0; 2],
            steps: [vec![0.0; samples(FRAME_S)], vec![0.0; samples(FRAME_S)]],
            frame_power: 0.0,
            in_frame: 0,
            past: [0.0; PAST_FRAMES],
            waiting: None,
            waits_for: 0,
            rest: 0,
            reach,
            curves: vec![0.0; KEPT * (2 * reach + 1)],
            kept: [StoredAttack::default(); KEPT],
            count: 0,
            lag: 0,
            stretches: Stretches::new(rate_hz),
            mean: vec![0.0; 2 * reach + 1],
        }
    }

    /// The sample rate, Hz.
    #[must_use]
    pub fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    /// The number of Fourier transforms made so far (forward, inverse) and their length in samples, for benchmarks.
    #[must_use]
    pub fn transforms(&self) -> ([u64; 2], usize) {
        (self.windows.made, self.windows.fft_len())
    }

    /// Clears everything.
    pub fn reset(&mut self) {
        self.windows.reset();
        self.last = [0.0; 2];
        self.frame_power = 0.0;
        self.in_frame = 0;
        self.past = [0.0; PAST_FRAMES];
        self.waiting = None;
        self.rest = 0;
        self.count = 0;
        self.heard = 0;
        self.lag = 0;
        self.stretches.reset();
        self.waits_for = 0;
    }

    /// Takes frames. Invalid frames count as silence.
    pub fn push(&mut self, run: &Run<'_>) {
        let (mut left, mut right) = (run.left, run.right);
        while !left.is_empty() {
            // As many frames as fit before the next event.
            let count = left
                .len()
                .min(self.frame_len - self.in_frame)
                .min(self.waiting.unwrap_or(usize::MAX))
                .min(self.stretches.room());
            let (now_left, now_right);
            (now_left, left) = left.split_at(count);
            (now_right, right) = right.split_at(count);
            self.take(now_left, now_right);
        }
    }

    fn take(&mut self, left: &[f64], right: &[f64]) {
        let count = left.len();
        // Differentiating lifts the high frequencies, which an attack has and a sustained string has not.
        let [left_steps, right_steps] = &mut self.steps;
        differences(&mut self.last[0], left, left_steps);
        differences(&mut self.last[1], right, right_steps);
        let (left, right) = (&left_steps[..count], &right_steps[..count]);
        self.windows.push(left, right);
        self.heard += count as u64;
        let powers = [product(left, left), product(right, right)];
        let aside = self.stretches.aside();
        let lined_up = self.windows.last(count + aside, self.lag);
        let of_lined_up = if self.lag == 0 {
            powers
        } else {
            lined_up.map(|channel| product(&channel[aside..], &channel[aside..]))
        };
        self.stretches
            .push(lined_up, of_lined_up, self.heard - 1, self.lag);
        self.rest = self.rest.saturating_sub(count);
        self.frame_power += powers[0] + powers[1];
        self.in_frame += count;
        if let Some(waiting) = &mut self.waiting {
            *waiting -= count;
            if *waiting == 0 {
                self.waiting = None;
                self.attack();
            }
        }
        if self.in_frame == self.frame_len {
            self.frame();
        }
    }

    fn frame(&mut self) {
        let power = self.frame_power / self.frame_len as f64;
        let before = self.past.iter().sum::<f64>() / PAST_FRAMES as f64;
        // A differentiated sound lies about 20 dB below the sound itself.
        let audible = power > db::to_power(db::NO_READING_DBFS - 10.0);
        if audible && power > RISE * before && self.rest == 0 && self.waiting.is_none() {
            let ahead = to_index(AHEAD_S * self.rate_hz).max(self.frame_len);
            self.waits_for = self.lag;
            self.waiting =
                Some(self.windows.len() - ahead.min(self.windows.len() - 1) + self.lag.unsigned_abs());
            self.rest = to_index(APART_S * self.rate_hz);
        }
        self.past.rotate_left(1);
        self.past[PAST_FRAMES - 1] = power;
        self.frame_power = 0.0;
        self.in_frame = 0;
    }

    /// Stores the window that has just been filled as an attack, less the window before it.
    fn attack(&mut self) {
        let late = self.waits_for.unsigned_abs();
        let heard = self.windows.news([late; 2]);
        let [left, right]: [f64; 2] = [0, 1].map(|channel| self.windows.powers[channel].iter().sum());
        // A channel with nothing new can't be compared.
        if left <= NEW * heard[0] || right <= NEW * heard[1] || left <= 0.0 || right <= 0.0 {
            return;
        }
        let slot = ring_place(self.count, KEPT);
        self.kept[slot] = StoredAttack {
            at: self.heard,
            left: left / (left + right),
            right: right / (left + right),
        };
        self.count += 1;
        let width = 2 * self.reach + 1;
        let curve = &mut self.curves[slot * width..(slot + 1) * width];
        self.windows.correlate((left * right).sqrt(), curve);
        if let Some(attacks) = self.read(RECENT_S)
            && attacks.is_one_sound()
        {
            self.lag = to_lag((attacks.delay_s * self.rate_hz).round());
        }
    }

    /// Reads the kept attacks of the last `within_s` seconds; `None` when there are fewer than [`ENOUGH`]. Does not
    /// allocate.
    pub fn read(&mut self, within_s: f64) -> Option<Attacks> {
        let oldest = self
            .heard
            .saturating_sub(to_frames((within_s * self.rate_hz).min(1e15)));
        let (count, level_difference_db) = self.average(oldest);
        if count < ENOUGH {
            return None;
        }
        let best = self
            .mean
            .iter()
            .enumerate()
            .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
            .map_or(self.reach, |(n, _)| n);
        let [(correlation, spread, _), (aligned, aligned_spread, agreeing)] =
            [self.reach, best].map(|lag| self.at(lag, oldest, count));
        let lowest = self.stretches.lowest(
            oldest,
            best.cast_signed() - self.reach.cast_signed(),
            aligned.signum(),
        );
        Some(Attacks {
            count,
            lowest: lowest.map(|(lowest, _)| lowest),
            lowest_by_chance: lowest.map_or(0.0, |(_, by_chance)| by_chance),
            correlation,
            spread,
            delay_s: (best as f64 - self.reach as f64) / self.rate_hz,
            aligned,
            aligned_spread,
            agreeing,
            level_difference_db,
        })
    }

    /// The numbers of the attacks since `oldest`.
    fn recent(&self, oldest: u64) -> impl Iterator<Item = usize> + '_ {
        let filled = ring_filled(self.count, KEPT);
        (0..filled).filter(move |&slot| self.kept[slot].at >= oldest)
    }

    /// Averages the curves of the attacks since `oldest`; returns their number, and the level of the left channel over
    /// the right one in them, dB.
    fn average(&mut self, oldest: u64) -> (usize, f64) {
        let width = 2 * self.reach + 1;
        let mut mean = core::mem::take(&mut self.mean);
        mean.fill(0.0);
        let mut count = 0usize;
        let (mut left, mut right) = (0.0, 0.0);
        for slot in self.recent(oldest) {
            count += 1;
            left += self.kept[slot].left;
            right += self.kept[slot].right;
            for (mean, &value) in mean.iter_mut().zip(&self.curves[slot * width..]) {
                *mean += f64::from(value);
            }
        }
        mean.iter_mut().for_each(|mean| *mean /= count.max(1) as f64);
        self.mean = mean;
        (count, db::from_power(left / right))
    }

    /// The mean correlation of `count` attacks at a lag, its standard error, and the share of them that have its sign.
    fn at(&self, lag: usize, oldest: u64, count: usize) -> (f64, f64, f64) {
        let width = 2 * self.reach + 1;
        let values = || {
            self.recent(oldest)
                .map(|slot| f64::from(self.curves[slot * width + lag]))
        };
        let mean = values().sum::<f64>() / count as f64;
        let variance = values().map(|v| (v - mean).powi(2)).sum::<f64>() / (count - 1) as f64;
        let agreeing = values().filter(|v| v * mean > 0.0).count() as f64 / count as f64;
        (mean, (variance / count as f64).sqrt(), agreeing)
    }
}
