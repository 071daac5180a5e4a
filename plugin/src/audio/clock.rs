//! Telling real time from a bounce, whatever the host says.
//!
//! A host that says that it renders offline is believed. One that doesn't may bounce all the same, as fast or as slowly as it can. So
//! nothing is auditioned before the analysis thread has seen a stretch of sound take as long as it lasts, neither less nor more,
//! and no longer than sound and clock stay together after that: a sound card's clock does for ever, a bounce at 1.2 times real time
//! runs away within seconds. Every time that happens, the next stretch has to be twice as long. What can't be told apart is a bounce
//! exactly at real time in a host that says neither that it bounces nor that it records; the window says so as long as a feed is heard.
//! The audio thread counts frames and never reads a clock for it.

use std::sync::atomic::{AtomicU32, AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// Shortest stretch that is judged, and the longest that is ever asked for, s.
const STRETCH_S: (f64, f64) = (0.5, 8.0);
/// As many of the longest blocks at least: sound comes a block at a time.
const BLOCKS: f64 = 8.0;
/// Sound and clock may be apart by so much at the end of a stretch, s, and by a block and a half.
const APART_S: f64 = 0.05;
/// Sound may run ahead of the clock by so much afterwards, s, and by two blocks: buffers are filled ahead, and some hosts render a
/// little before it is time.
const AHEAD_S: f64 = 0.5;
/// Clocks of sound cards differ from the system's by less than this.
const DRIFT: f64 = 0.001;
/// Without sound for so long, the host has paused, and what came before says nothing about what comes.
const PAUSE: Duration = Duration::from_millis(200);

/// What the audio thread counts and the analysis thread finds.
#[derive(Debug, Default)]
pub struct Pulse {
    /// Frames processed since the plugin was made.
    played: AtomicU64,
    rate_hz: AtomicU32,
    /// The longest block of this activation, frames.
    longest: AtomicU32,
    /// Number of the activation, from 1.
    activation: AtomicU64,
    /// The activation that was found to be in real time; 0 for none.
    proven: AtomicU64,
}

impl Pulse {
    /// A new activation begins, of which nothing is known.
    pub fn begin(&self, rate_hz: f64) {
        self.rate_hz.store(rate_hz as u32, Ordering::Relaxed);
        self.longest.store(0, Ordering::Relaxed);
        self.activation.fetch_add(1, Ordering::AcqRel);
    }

    /// The audio thread processed so many frames.
    pub fn count(&self, frames: usize) {
        let frames = frames as u64;
        self.played.fetch_add(frames, Ordering::Relaxed);
        let frames = u32::try_from(frames).unwrap_or(u32::MAX);
        if frames > self.longest.load(Ordering::Relaxed) {
            self.longest.store(frames, Ordering::Relaxed);
        }
    }

    /// As if this activation had been seen to run in real time.
    #[cfg(test)]
    pub(crate) fn prove(&self) {
        self.proven
            .store(self.activation.load(Ordering::Acquire), Ordering::Release);
    }

    /// Whether this activation has been seen to run in real time, lately.
    pub fn is_real_time(&self) -> bool {
        self.proven.load(Ordering::Acquire) == self.activation.load(Ordering::Acquire)
    }
}

/// A moment: how much was played, and when.
#[derive(Debug, Clone, Copy)]
struct Mark {
    played: u64,
    at: Instant,
}

/// The analysis thread's watch.
#[derive(Debug)]
pub struct Watch {
    activation: u64,
    /// The last look at which there was sound.
    last: Mark,
    /// Where the stretch that is judged begins.
    stretch: Mark,
    /// From where on sound and clock have stayed together, if this is real time.
    anchor: Option<Mark>,
    /// How long a stretch has to be, s.
    asked_s: f64,
    /// Stretches one after another that took longer than they last.
    slow: u32,
}

impl Default for Watch {
    fn default() -> Self {
        let now = Mark {
            played: 0,
            at: Instant::now(),
        };
        Self {
            activation: 0,
            last: now,
            stretch: now,
            anchor: None,
            asked_s: STRETCH_S.0,
            slow: 0,
        }
    }
}

impl Watch {
    /// One look, now.
    pub fn look(&mut self, pulse: &Pulse) {
        self.look_at(pulse, Instant::now());
    }

    fn look_at(&mut self, pulse: &Pulse, at: Instant) {
        let activation = pulse.activation.load(Ordering::Acquire);
        let now = Mark {
            played: pulse.played.load(Ordering::Relaxed),
            at,
        };
        if activation != self.activation {
            *self = Self {
                activation,
                last: now,
                stretch: now,
                ..Self::default()
            };
            return;
        }
        if now.played == self.last.played {
            if at.saturating_duration_since(self.last.at) >= PAUSE {
                // Nothing new is known; what was known stays.
                self.stretch = now;
                self.anchor = self.anchor.map(|_| now);
                self.slow = 0;
            }
            return;
        }
        if at.saturating_duration_since(self.last.at) >= PAUSE && self.anchor.is_none() {
            // The first sound after a pause: when in it that began isn't known.
            (self.last, self.stretch) = (now, now);
            return;
        }
        self.last = now;
        self.judge(pulse, now);
    }

    /// There was sound since the last look.
    fn judge(&mut self, pulse: &Pulse, now: Mark) {
        let rate_hz = f64::from(pulse.rate_hz.load(Ordering::Relaxed).max(1));
        let block_s = f64::from(pulse.longest.load(Ordering::Relaxed)) / rate_hz;
        let since = |mark: Mark| {
            let sound_s = now.played.saturating_sub(mark.played) as f64 / rate_hz;
            (sound_s, now.at.saturating_duration_since(mark.at).as_secs_f64())
        };
        if let Some(anchor) = self.anchor {
            let (sound_s, time_s) = since(anchor);
            if sound_s - time_s > AHEAD_S + 2.0 * block_s + DRIFT * time_s {
                self.doubt(pulse, now);
                return;
            }
        }
        let (sound_s, time_s) = since(self.stretch);
        if time_s < self.asked_s.max(BLOCKS * block_s) {
            return;
        }
        let apart_s = APART_S + 1.5 * block_s + DRIFT * time_s;
        let stretch = std::mem::replace(&mut self.stretch, now);
        if sound_s > time_s + apart_s {
            // Within what buffers explain while it is known to be real time.
        } else if sound_s < time_s - apart_s {
            self.slow += 1;
            // Once it may be a buffer that is being filled, or sound that was lost.
            if self.slow > 1 {
                self.doubt(pulse, now);
            } else {
                self.anchor = self.anchor.map(|_| now);
            }
        } else {
            self.slow = 0;
            self.anchor.get_or_insert(stretch);
            // Of this activation, whatever has begun in the meantime.
            pulse.proven.store(self.activation, Ordering::Release);
        }
    }

    /// It isn't real time, or no longer.
    fn doubt(&mut self, pulse: &Pulse, now: Mark) {
        pulse.proven.store(0, Ordering::Release);
        if self.anchor.take().is_some() {
            self.asked_s = (2.0 * self.asked_s).min(STRETCH_S.1);
        }
        self.stretch = now;
        self.slow = 0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The longest block a host sends here, frames: what counts as one decides how long a stretch has to be.
    const BLOCK: usize = 512;

    /// Lets `seconds` of time and `sound` seconds of sound go by in steps of 20 ms, the sound in blocks.
    fn go_by(pulse: &Pulse, watch: &mut Watch, now: &mut Instant, seconds: f64, sound: f64) {
        let steps = (seconds / 0.02).round().max(1.0);
        for _ in 0..steps as usize {
            *now += Duration::from_secs_f64(seconds / steps);
            if sound > 0.0 {
                let frames = (sound / steps * 48_000.0) as usize;
                for begin in (0..frames).step_by(BLOCK) {
                    pulse.count(BLOCK.min(frames - begin));
                }
            }
            watch.look_at(pulse, *now);
        }
    }

    fn begun() -> (Pulse, Watch, Instant) {
        let (pulse, mut watch, now) = (Pulse::default(), Watch::default(), Instant::now());
        pulse.begin(48_000.0);
        watch.look_at(&pulse, now);
        (pulse, watch, now)
    }

    #[test]
    fn only_sound_that_takes_its_time_is_real_time() {
        let (pulse, mut watch, mut now) = begun();
        assert!(!pulse.is_real_time());
        go_by(&pulse, &mut watch, &mut now, 0.2, 0.2);
        assert!(!pulse.is_real_time());
        go_by(&pulse, &mut watch, &mut now, 1.0, 1.0);
        assert!(pulse.is_real_time());
        // The host stops for a while: nothing new is known.
        go_by(&pulse, &mut watch, &mut now, 3.0, 0.0);
        assert!(pulse.is_real_time());
        // A bounce without a new activation: over at once.
        go_by(&pulse, &mut watch, &mut now, 0.1, 2.0);
        assert!(!pulse.is_real_time());
        go_by(&pulse, &mut watch, &mut now, 1.0, 20.0);
        go_by(&pulse, &mut watch, &mut now, 3.0, 3.0);
        assert!(pulse.is_real_time());
        // A new activation has to show it again, a bounce never does.
        pulse.begin(48_000.0);
        assert!(!pulse.is_real_time());
        go_by(&pulse, &mut watch, &mut now, 2.0, 8.0);
        assert!(!pulse.is_real_time());
    }

    #[test]
    fn a_slow_bounce_is_none() {
        for pace in [0.3, 0.5, 0.8, 1.2, 1.5, 3.0] {
            let (pulse, mut watch, mut now) = begun();
            for _ in 0..100 {
                go_by(&pulse, &mut watch, &mut now, 0.1, 0.1 * pace);
                assert!(!pulse.is_real_time(), "{pace}");
            }
        }
        // Nearer to real time it may be taken for that for a moment, and ever less often.
        for pace in [0.97, 1.03, 1.08] {
            let (pulse, mut watch, mut now) = begun();
            let mut taken = 0;
            for _ in 0..1200 {
                go_by(&pulse, &mut watch, &mut now, 0.1, 0.1 * pace);
                taken += u32::from(pulse.is_real_time());
            }
            assert!(pace < 1.0 || taken < 600, "{pace}: {taken}");
        }
        // One that begins where there was real time, without a new activation.
        let (pulse, mut watch, mut now) = begun();
        go_by(&pulse, &mut watch, &mut now, 5.0, 5.0);
        assert!(pulse.is_real_time());
        go_by(&pulse, &mut watch, &mut now, 3.5, 4.2);
        assert!(!pulse.is_real_time());
    }

    /// What sound cards and their hosts do: long blocks, a clock that is a little off, buffers filled ahead, pauses, lost sound.
    #[test]
    fn real_time_is_not_taken_for_anything_else() {
        for (block_s, drift) in [(0.001, 1.0005), (0.01, 0.9995), (0.05, 1.0), (0.17, 1.0003)] {
            let (pulse, mut watch, mut now) = begun();
            let (mut sound_s, mut time_s, mut played_s) = (0.0, 0.0, 0.0);
            let mut proven_at = None;
            for step in 0..30_000u32 {
                now += Duration::from_millis(8);
                time_s += 0.008;
                sound_s += 0.008 * drift;
                // A pause in which nothing is processed, and sound that was lost.
                if step % 9_000 > 8_900 || step % 5_000 == 777 {
                    sound_s -= 0.008 * drift;
                }
                while played_s + block_s <= sound_s + 0.1 {
                    played_s += block_s;
                    pulse.count((block_s * 48_000.0) as usize);
                }
                watch.look_at(&pulse, now);
                if pulse.is_real_time() {
                    proven_at.get_or_insert(time_s);
                }
                assert!(
                    proven_at.is_none() || pulse.is_real_time(),
                    "blocks of {block_s} s, at {time_s}"
                );
            }
            assert!(proven_at.is_some_and(|at| at < 3.5), "{block_s}: {proven_at:?}");
        }
    }

    #[test]
    fn what_was_seen_of_one_activation_says_nothing_of_the_next() {
        let (pulse, mut watch, mut now) = begun();
        go_by(&pulse, &mut watch, &mut now, 0.49, 0.49);
        pulse.begin(48_000.0);
        go_by(&pulse, &mut watch, &mut now, 0.1, 0.1);
        assert!(!pulse.is_real_time());
        go_by(&pulse, &mut watch, &mut now, 1.0, 1.0);
        assert!(pulse.is_real_time());
    }
}
