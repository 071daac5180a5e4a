//! Telling real time from a bounce where the host does not.
//!
//! A VST3 host that says 'offline' is taken at its word; one that says 'real time' isn't, because some bounce without saying
//! so. That nothing auditioned gets into a bounce is kept the other way round: audition begins once the analysis thread has
//! seen a stretch of sound take as long as it lasts. The audio thread counts frames and never reads a clock for it.

use std::sync::atomic::{AtomicU32, AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// Shortest stretch that is judged.
const STRETCH: Duration = Duration::from_millis(400);
/// Sound that comes faster than this is no real time, even if a device's buffer was filled ahead.
const FASTEST: f64 = 1.5;
/// Sound that must have come in a stretch for it to say anything, of its length.
const LEAST: f64 = 0.25;

/// What the audio thread counts and the analysis thread finds.
#[derive(Debug, Default)]
pub struct Pulse {
    /// Frames processed since the plugin was made.
    played: AtomicU64,
    rate_hz: AtomicU32,
    /// Number of the activation, from 1.
    activation: AtomicU64,
    /// The activation that was found to be in real time; 0 for none.
    proven: AtomicU64,
}

impl Pulse {
    /// A new activation begins, of which nothing is known.
    pub fn begin(&self, rate_hz: f64) {
        self.rate_hz.store(rate_hz as u32, Ordering::Relaxed);
        self.activation.fetch_add(1, Ordering::AcqRel);
    }

    /// The audio thread processed so many frames.
    pub fn count(&self, frames: usize) {
        self.played.fetch_add(frames as u64, Ordering::Relaxed);
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

/// The analysis thread's watch.
#[derive(Debug)]
pub struct Watch {
    activation: u64,
    played: u64,
    since: Instant,
}

impl Default for Watch {
    fn default() -> Self {
        Self {
            activation: 0,
            played: 0,
            since: Instant::now(),
        }
    }
}

impl Watch {
    /// One look, now.
    pub fn look(&mut self, pulse: &Pulse) {
        self.look_at(pulse, Instant::now());
    }

    fn look_at(&mut self, pulse: &Pulse, now: Instant) {
        let activation = pulse.activation.load(Ordering::Acquire);
        let played = pulse.played.load(Ordering::Relaxed);
        let time = now.saturating_duration_since(self.since);
        if activation == self.activation {
            if time < STRETCH {
                return;
            }
            let rate_hz = f64::from(pulse.rate_hz.load(Ordering::Relaxed).max(1));
            let pace = played.saturating_sub(self.played) as f64 / rate_hz / time.as_secs_f64();
            if pace > FASTEST {
                pulse.proven.store(0, Ordering::Release);
            } else if pace > LEAST {
                // Of this activation, whatever has begun in the meantime.
                pulse.proven.store(activation, Ordering::Release);
            }
        }
        *self = Self {
            activation,
            played,
            since: now,
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Lets `seconds` of time and `sound` seconds of sound go by in steps of 20 ms.
    fn go_by(pulse: &Pulse, watch: &mut Watch, now: &mut Instant, seconds: f64, sound: f64) {
        let steps = (seconds / 0.02).round().max(1.0);
        for _ in 0..steps as usize {
            *now += Duration::from_secs_f64(seconds / steps);
            pulse.count((sound / steps * 48_000.0) as usize);
            watch.look_at(pulse, *now);
        }
    }

    #[test]
    fn only_sound_that_takes_its_time_is_real_time() {
        let (pulse, mut watch, mut now) = (Pulse::default(), Watch::default(), Instant::now());
        pulse.begin(48_000.0);
        assert!(!pulse.is_real_time());
        go_by(&pulse, &mut watch, &mut now, 0.2, 0.2);
        assert!(!pulse.is_real_time());
        go_by(&pulse, &mut watch, &mut now, 1.0, 1.0);
        assert!(pulse.is_real_time());
        // The host stops for a while: nothing new is known.
        go_by(&pulse, &mut watch, &mut now, 3.0, 0.0);
        assert!(pulse.is_real_time());
        // A bounce without a new activation.
        go_by(&pulse, &mut watch, &mut now, 1.0, 20.0);
        assert!(!pulse.is_real_time());
        go_by(&pulse, &mut watch, &mut now, 1.0, 1.0);
        assert!(pulse.is_real_time());
        // A new activation has to show it again, a bounce never does.
        pulse.begin(48_000.0);
        assert!(!pulse.is_real_time());
        go_by(&pulse, &mut watch, &mut now, 2.0, 8.0);
        assert!(!pulse.is_real_time());
    }

    #[test]
    fn what_was_seen_of_one_activation_says_nothing_of_the_next() {
        let (pulse, mut watch, mut now) = (Pulse::default(), Watch::default(), Instant::now());
        pulse.begin(48_000.0);
        go_by(&pulse, &mut watch, &mut now, 0.39, 0.39);
        pulse.begin(48_000.0);
        go_by(&pulse, &mut watch, &mut now, 0.1, 0.1);
        assert!(!pulse.is_real_time());
        go_by(&pulse, &mut watch, &mut now, 1.0, 1.0);
        assert!(pulse.is_real_time());
    }
}
