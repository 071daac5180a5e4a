//! The mono source: a riff on plucked strings through an amplifier.

mod amplifier;
mod riff;
mod string;

pub(crate) use amplifier::{Amplifier, amplifier_of_channel};
pub(crate) use riff::{Note, riff};

use crate::Rng;
use crate::numbers::to_index;

/// One player, with timing and tuning of its own.
pub(crate) struct Player {
    rng: Rng,
    /// Largest deviation of a note in time, seconds.
    looseness_s: f64,
    /// Largest deviation of a string's tuning, cents.
    detune_cents: f64,
}

impl Player {
    pub(crate) fn new(rng: Rng) -> Self {
        Self {
            rng,
            looseness_s: 0.008,
            detune_cents: 4.0,
        }
    }

    /// Plays `notes` on strings without an amplifier, `len` samples.
    pub(crate) fn play(mut self, notes: &[Note], rate_hz: f64, len: usize) -> Vec<f64> {
        let mut out = vec![0.0; len];
        for note in notes {
            let start_s = (note.start_s + self.rng.between(-1.0, 1.0) * self.looseness_s).max(0.0);
            let detune = self.rng.between(-1.0, 1.0) * self.detune_cents;
            let pluck = string::Pluck {
                hz: 440.0 * 2f64.powf((note.pitch - 69.0 + detune / 100.0) / 12.0),
                held_s: note.held_s,
                loudness: note.loudness * self.rng.between(0.85, 1.15),
                position: self.rng.between(0.09, 0.2),
                phase_rng: Rng::new(self.rng.next_u64()),
            };
            let start = to_index((start_s * rate_hz).round());
            if let Some(rest) = out.get_mut(start..) {
                pluck.add_to(rest, rate_hz);
            }
        }
        out
    }
}
