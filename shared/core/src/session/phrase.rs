//! Phrases: the playing between two stretches of quiet.
//!
//! A phrase begins with the first sound after a quiet of [`QUIET_S`], and ends with the next one. Quiet isn't only
//! silence: a steady noise floor or hum is quiet too, and a decay belongs to the phrase until it reaches that floor.
//!
//! Nothing here is a published procedure; the constants are common practice, no source, held by tests with decaying
//! chords, hum, noise and single hits.

use crate::dsp::db;
use crate::dsp::numbers::to_frames;
use crate::dsp::samples::Run;
use crate::spectrum::pair_sums::product;

/// Quiet that ends a phrase, seconds.
pub const QUIET_S: f64 = 1.5;
/// Part of the quiet after a phrase that still counts as the phrase, seconds: the end of the decay, within the windows.
const KEPT_S: f64 = 0.2;
/// Length of the steps that levels are taken over, seconds.
const STEP_S: f64 = 0.05;
/// Steps in [`QUIET_S`].
const STEPS: usize = 30;
/// Level above the floor at which a phrase begins, dB.
const BEGINS_DB: f64 = 9.0;
/// Level above the floor at or below which it is quiet, dB.
const ENDS_DB: f64 = 4.0;
/// A sound that varies by less than this over [`QUIET_S`], highest to lowest step, is steady, dB.
const STEADY_DB: f64 = 2.0;
/// Largest drift of a steady sound over [`QUIET_S`], mean of the later half against the earlier one, dB. A string that
/// rings out falls faster.
const DRIFT_DB: f64 = 0.4;
/// A steady sound at least this far below the phrase's loudest is the floor, dB; a louder one is a held note.
const BELOW_PHRASE_DB: f64 = 10.0;

/// A steady sound below this is the floor regardless of what was played before, dBFS.
const HUM_DBFS: f64 = -45.0;

/// The state of the phrase.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Phase {
    /// Quiet: no phrase.
    #[default]
    Quiet,
    /// Sound, or a quiet still shorter than [`QUIET_S`].
    Playing,
}

/// How a run of frames was classified.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Heard {
    /// Outside any phrase.
    Outside,
    /// The first frames of a phrase.
    Begins,
    /// Within the current phrase.
    Within,
    /// A quiet inside a phrase or after it: to be left out of its average.
    Pause,
    /// The phrase is over, and these frames are after it.
    Ended,
}

/// Finds phrases in a stream of frames.
///
/// # Real-time
/// Does not allocate; O(frames). Invalid frames count as silence.
#[derive(Clone, Debug)]
pub struct PhraseFinder {
    step_len: u64,
    /// Energy of the current step.
    energy: f64,
    frames: u64,
    /// The last steps' levels, dB; the oldest at `next`.
    levels: [f64; STEPS],
    next: usize,
    filled: usize,
    floor_db: f64,
    loudest_db: f64,
    phase: Phase,
    quiet_frames: u64,
    kept_frames: u64,
    longest_quiet: u64,
}

impl PhraseFinder {
    /// Creates one for a sample rate, Hz.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        let frames = |seconds: f64| to_frames((seconds * rate_hz).round().max(1.0));
        Self {
            step_len: frames(STEP_S),
            energy: 0.0,
            frames: 0,
            levels: [db::NO_READING_DBFS; STEPS],
            next: 0,
            filled: 0,
            floor_db: db::NO_READING_DBFS,
            loudest_db: f64::NEG_INFINITY,
            phase: Phase::Quiet,
            quiet_frames: 0,
            kept_frames: frames(KEPT_S),
            longest_quiet: frames(QUIET_S),
        }
    }

    /// Clears the phrase and the floor.
    pub fn reset(&mut self) {
        *self = Self {
            step_len: self.step_len,
            kept_frames: self.kept_frames,
            longest_quiet: self.longest_quiet,
            ..Self::new(1.0)
        };
    }

    /// The present state.
    #[must_use]
    pub fn phase(&self) -> Phase {
        self.phase
    }

    /// How long the present quiet has lasted, frames; 0 while there is sound.
    #[must_use]
    pub fn quiet_frames(&self) -> u64 {
        self.quiet_frames
    }

    /// Takes frames and classifies them. A phrase begins with the run it is detected in; levels are also examined
    /// within a step, so that is at most one run late.
    pub fn push(&mut self, run: &Run<'_>) -> Heard {
        let frames = run.len() as u64;
        let energy = product(run.left, run.left) + product(run.right, run.right);
        self.energy += energy;
        self.frames += frames;
        let now_db = db::from_power(energy / (2.0 * frames.max(1) as f64)).max(db::NO_READING_DBFS);
        let begins = self.phase == Phase::Quiet && now_db > self.floor_db + BEGINS_DB;
        if self.frames >= self.step_len {
            let level_db = db::from_power(self.energy / (2.0 * self.frames as f64));
            self.step(level_db.max(db::NO_READING_DBFS));
            (self.energy, self.frames) = (0.0, 0);
        }
        if begins {
            self.phase = Phase::Playing;
            self.loudest_db = now_db;
            self.quiet_frames = 0;
            return Heard::Begins;
        }
        if self.phase == Phase::Quiet {
            return Heard::Outside;
        }
        self.loudest_db = self.loudest_db.max(now_db);
        if now_db > self.floor_db + ENDS_DB {
            self.quiet_frames = 0;
            return Heard::Within;
        }
        self.quiet_frames += frames;
        if self.quiet_frames >= self.longest_quiet {
            self.phase = Phase::Quiet;
            return Heard::Ended;
        }
        if self.quiet_frames <= self.kept_frames {
            Heard::Within
        } else {
            Heard::Pause
        }
    }

    /// Takes a step's level: the floor follows a lower one at once, a higher one only if it is steady.
    fn step(&mut self, level_db: f64) {
        self.levels[self.next] = level_db;
        self.next = (self.next + 1) % STEPS;
        self.filled = (self.filled + 1).min(STEPS);
        if level_db < self.floor_db {
            self.floor_db = level_db;
            return;
        }
        if self.filled < STEPS {
            return;
        }
        let highest = self.levels.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let lowest = self.levels.iter().copied().fold(f64::INFINITY, f64::min);
        let mean_from = |from: usize| {
            let half = STEPS / 2;
            let sum: f64 = (0..half)
                .map(|n| self.levels[(self.next + from + n) % STEPS])
                .sum();
            sum / half as f64
        };
        let drift_db = (mean_from(STEPS / 2) - mean_from(0)).abs();
        let is_steady = highest - lowest < STEADY_DB && drift_db < DRIFT_DB;
        let is_low =
            self.phase == Phase::Quiet || highest < HUM_DBFS || highest < self.loudest_db - BELOW_PHRASE_DB;
        if is_steady && is_low && highest > self.floor_db + ENDS_DB / 2.0 {
            self.floor_db = highest;
            if self.phase == Phase::Playing {
                // The steady stretch counts as quiet from its beginning.
                self.quiet_frames = self.longest_quiet;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dsp::samples::Cleaner;

    const RATE_HZ: f64 = 48_000.0;

    /// White noise, uniform in ±1 (linear congruential generator, Knuth's MMIX).
    struct Noise(u64);

    impl Noise {
        fn next(&mut self) -> f32 {
            self.0 = self
                .0
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (self.0 >> 40) as f32 / 8_388_608.0 - 1.0
        }
    }

    fn silence(seconds: f64) -> Vec<f32> {
        vec![0.0; (seconds * RATE_HZ) as usize]
    }

    /// A chord that decays by `fall_db_s` dB per second.
    fn chord(seconds: f64, peak: f32, fall_db_s: f64) -> Vec<f32> {
        (0..(seconds * RATE_HZ) as usize)
            .map(|n| {
                let t = n as f64 / RATE_HZ;
                let tones: f64 = [110.0, 164.8, 220.0]
                    .iter()
                    .map(|hz| (core::f64::consts::TAU * hz * t).sin())
                    .sum();
                (f64::from(peak) / 3.0 * tones * 10f64.powf(-fall_db_s * t / 20.0)) as f32
            })
            .collect()
    }

    fn hum(len: usize, level: f32) -> Vec<f32> {
        let mut noise = Noise(7);
        (0..len)
            .map(|n| {
                let t = n as f64 / RATE_HZ;
                level * ((core::f64::consts::TAU * 50.0 * t).sin() as f32 + 0.2 * noise.next())
            })
            .collect()
    }

    /// Begin and end of every phrase, seconds; the end is where the finder reports it.
    fn phrases(sound: &[f32], block: usize) -> Vec<(f64, Option<f64>)> {
        let (mut finder, mut cleaner, mut found, mut at) =
            (PhraseFinder::new(RATE_HZ), Cleaner::default(), Vec::new(), 0);
        for block in sound.chunks(block) {
            cleaner.runs(block, block, |run| {
                let seconds = f64::from(at) / RATE_HZ;
                match finder.push(run) {
                    Heard::Begins => found.push((seconds, None)),
                    Heard::Ended => found.last_mut().expect("one began").1 = Some(seconds),
                    _ => {}
                }
                at += run.len() as u32;
            });
        }
        found
    }

    #[test]
    fn a_chord_between_two_silences_is_a_phrase_of_all_it_rings() {
        let sound = [silence(2.0), chord(6.0, 0.5, 12.0), silence(4.0)].concat();
        for block in [64, 441, 8192] {
            let found = phrases(&sound, block);
            assert_eq!(found.len(), 1, "{found:?}");
            let (begin, end) = found[0];
            assert!((begin - 2.0).abs() < 0.02, "{begin}");
            // It falls 12 dB a second from −14 dBFS, into the reading floor at −80 some 5.2 s after it began.
            assert!((end.expect("it ends") - 8.9).abs() < 0.35, "{end:?}");
        }
    }

    #[test]
    fn a_short_pause_does_not_cut_it_and_a_long_one_does() {
        let strum = || [chord(1.0, 0.5, 60.0), silence(1.0)].concat();
        let sound = [
            silence(2.0),
            strum(),
            strum(),
            strum(),
            silence(2.0),
            strum(),
            silence(3.0),
        ]
        .concat();
        let found = phrases(&sound, 512);
        assert_eq!(found.len(), 2, "{found:?}");
        assert!((found[1].0 - 10.0).abs() < 0.02, "{found:?}");
    }

    #[test]
    fn hum_that_goes_on_is_quiet() {
        let mut sound = [
            silence(1.0),
            chord(4.0, 0.5, 10.0),
            silence(5.0),
            chord(4.0, 0.5, 10.0),
            silence(5.0),
        ]
        .concat();
        let floor = hum(sound.len(), 0.004);
        for (sample, hum) in sound.iter_mut().zip(floor) {
            *sample += hum;
        }
        // The amplifier hums before the playing begins.
        let sound = [hum((4.0 * RATE_HZ) as usize, 0.004), sound].concat();
        let found = phrases(&sound, 512);
        let played: Vec<_> = found.iter().filter(|(begin, _)| *begin > 3.0).collect();
        assert_eq!(played.len(), 2, "{found:?}");
        assert!(
            (played[0].0 - 5.0).abs() < 0.03 && (played[1].0 - 14.0).abs() < 0.03,
            "{found:?}"
        );
        assert!(
            played
                .iter()
                .all(|(begin, end)| end.is_some_and(|end| end - begin < 8.0)),
            "{found:?}"
        );
    }

    #[test]
    fn a_held_note_is_no_floor() {
        let note = chord(8.0, 0.3, 0.0);
        let found = phrases(&[silence(2.0), note, silence(3.0)].concat(), 512);
        assert_eq!(found.len(), 1, "{found:?}");
        assert!(
            found[0].1.is_some_and(|end| (end - 11.5).abs() < 0.1),
            "{found:?}"
        );
    }

    #[test]
    fn a_tail_alone_begins_nothing() {
        // Playing, then a long reverberant decay, during which no new phrase may begin.
        let sound = [
            silence(2.0),
            chord(2.0, 0.5, 3.0),
            chord(12.0, 0.3, 8.0),
            silence(3.0),
        ]
        .concat();
        assert_eq!(phrases(&sound, 512).len(), 1);
    }

    #[test]
    fn silence_and_invalid_samples_are_quiet() {
        assert!(phrases(&silence(5.0), 512).is_empty());
        assert!(phrases(&vec![f32::NAN; 200_000], 512).is_empty());
    }

    #[test]
    fn after_a_reset_it_is_as_new() {
        let (mut finder, mut cleaner) = (PhraseFinder::new(RATE_HZ), Cleaner::default());
        let loud = chord(1.0, 0.5, 0.0);
        cleaner.runs(&loud, &loud, |run| {
            finder.push(run);
        });
        assert_eq!(finder.phase(), Phase::Playing);
        finder.reset();
        assert_eq!(format!("{finder:?}"), format!("{:?}", PhraseFinder::new(RATE_HZ)));
    }
}
