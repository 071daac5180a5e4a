//! Tells real time from a bounce, whatever the host says.
//!
//! A host that says it renders offline is believed. One that says nothing may bounce all the same, faster or slower
//! than real time. So nothing is auditioned until the analysis thread has seen a stretch of sound take as long as it
//! lasts, neither less nor more, and auditioning ends as soon as sound and clock drift apart: with a sound card they
//! never do, while a bounce at 1.2 times real time is ahead within seconds. Each time that happens, the next stretch
//! has to be twice as long. A bounce at exactly real time, in a host that reports neither bouncing nor recording, can't
//! be told apart; the window says so as long as a feed is heard. The audio thread only counts frames and never reads a
//! clock for this.

use std::sync::atomic::{AtomicU32, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use sumproof_core::dsp::numbers::to_count;

/// Shortest stretch that is judged, and longest that is ever required, s.
const STRETCH_S: (f64, f64) = (0.5, 8.0);
/// A stretch is at least this many of the longest blocks: sound arrives a block at a time.
const BLOCKS: f64 = 8.0;
/// Largest difference between sound and clock at the end of a stretch, s, plus a block and a half.
const APART_S: f64 = 0.05;
/// How far sound may run ahead of the clock after that, s, plus two blocks: buffers are filled ahead, and some hosts
/// render a little early.
const AHEAD_S: f64 = 0.5;
/// Largest relative deviation of a sound card's clock from the system's.
const DRIFT: f64 = 0.001;
/// Without sound for this long the host has paused, and a stretch begun before is no longer judged.
const PAUSE: Duration = Duration::from_millis(200);

/// What the audio thread counts and the analysis thread finds.
#[derive(Debug, Default)]
pub struct Pulse {
    /// Frames processed since the plugin was created.
    played: AtomicU64,
    rate_hz: AtomicU32,
    /// The longest block of this activation, frames.
    longest: AtomicU32,
    /// Number of the activation, from 1.
    activation: AtomicU64,
    /// The activation that was found to run in real time; 0 for none.
    proven: AtomicU64,
}

impl Pulse {
    /// A new activation begins; nothing is known of it yet.
    pub fn begin(&self, rate_hz: f64) {
        self.rate_hz.store(to_count(rate_hz), Ordering::Relaxed);
        self.longest.store(0, Ordering::Relaxed);
        self.activation.fetch_add(1, Ordering::AcqRel);
    }

    /// Counts the frames the audio thread processed.
    pub fn count(&self, frames: usize) {
        let frames = frames as u64;
        self.played.fetch_add(frames, Ordering::Relaxed);
        let frames = u32::try_from(frames).unwrap_or(u32::MAX);
        if frames > self.longest.load(Ordering::Relaxed) {
            self.longest.store(frames, Ordering::Relaxed);
        }
    }

    /// Marks this activation as seen to run in real time.
    #[cfg(test)]
    pub(crate) fn prove(&self) {
        self.proven
            .store(self.activation.load(Ordering::Acquire), Ordering::Release);
    }

    /// Whether this activation has lately been seen to run in real time.
    pub fn is_real_time(&self) -> bool {
        self.proven.load(Ordering::Acquire) == self.activation.load(Ordering::Acquire)
    }
}

/// A point in time: the frames played until then, and the clock.
#[derive(Debug, Clone, Copy)]
struct Mark {
    played: u64,
    at: Instant,
}

/// The analysis thread's check for real time.
#[derive(Debug)]
pub struct Watch {
    activation: u64,
    /// The last look that found new sound.
    last: Mark,
    /// Start of the stretch being judged.
    stretch: Mark,
    /// Point since which sound and clock have stayed together, once this is known to be real time.
    anchor: Option<Mark>,
    /// Required length of a stretch, s.
    asked_s: f64,
    /// Consecutive stretches that took longer than they last.
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
    /// One look at the current time.
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
                // Nothing new is known; a proven activation stays proven.
                self.stretch = now;
                self.anchor = self.anchor.map(|_| now);
                self.slow = 0;
            }
            return;
        }
        if at.saturating_duration_since(self.last.at) >= PAUSE && self.anchor.is_none() {
            // The first sound after a pause: it is not known when within the pause it began.
            (self.last, self.stretch) = (now, now);
            return;
        }
        self.last = now;
        self.judge(pulse, now);
    }

    /// Judges the sound since the last look.
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
            // Within what buffers explain while real time is established.
        } else if sound_s < time_s - apart_s {
            self.slow += 1;
            // A single slow stretch may be a buffer being filled, or lost sound.
            if self.slow > 1 {
                self.doubt(pulse, now);
            } else {
                self.anchor = self.anchor.map(|_| now);
            }
        } else {
            self.slow = 0;
            self.anchor.get_or_insert(stretch);
            // Proves this activation, even if a new one has begun in the meantime.
            pulse.proven.store(self.activation, Ordering::Release);
        }
    }

    /// This is not real time, or no longer.
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

    /// The longest block the host sends here, frames: the required length of a stretch depends on it.
    const BLOCK: usize = 512;

    /// Lets `seconds` of time pass while `sound` seconds of sound are played, in steps of 20 ms, the sound in blocks.
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
        // A bounce without a new activation is noticed at once.
        go_by(&pulse, &mut watch, &mut now, 0.1, 2.0);
        assert!(!pulse.is_real_time());
        go_by(&pulse, &mut watch, &mut now, 1.0, 20.0);
        go_by(&pulse, &mut watch, &mut now, 3.0, 3.0);
        assert!(pulse.is_real_time());
        // A new activation has to prove real time again; a bounce never does.
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
        // A pace closer to real time may pass for it for a moment, and ever less often.
        for pace in [0.97, 1.03, 1.08] {
            let (pulse, mut watch, mut now) = begun();
            let mut taken = 0;
            for _ in 0..1200 {
                go_by(&pulse, &mut watch, &mut now, 0.1, 0.1 * pace);
                taken += u32::from(pulse.is_real_time());
            }
            assert!(pace < 1.0 || taken < 600, "{pace}: {taken}");
        }
        // A bounce that begins after real time, without a new activation.
        let (pulse, mut watch, mut now) = begun();
        go_by(&pulse, &mut watch, &mut now, 5.0, 5.0);
        assert!(pulse.is_real_time());
        go_by(&pulse, &mut watch, &mut now, 3.5, 4.2);
        assert!(!pulse.is_real_time());
    }

    /// Sound cards and their hosts: long blocks, a clock that is slightly off, buffers filled ahead, pauses, lost
    /// sound.
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
