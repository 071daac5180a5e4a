//! Rooms.

use crate::Rng;
use crate::numbers::to_index;

/// A room's response from the loudspeaker to the microphone.
#[derive(Debug, Clone, PartialEq, Default)]
pub enum Room {
    /// No room: an electrical path.
    #[default]
    None,
    /// Direct sound, some early reflections, and noise that decays.
    Synthetic {
        /// Time to decay by 60 dB, seconds.
        decay_s: f64,
        /// Direct sound over all else, dB.
        direct_db: f64,
        /// Seed.
        seed: u64,
    },
    /// A response of one's own, at 48 kHz.
    Given(Vec<f64>),
}

impl Room {
    /// The response at a rate; `None` without a room.
    ///
    /// # Panics
    /// If a response of one's own is asked for at another rate than its own.
    #[must_use]
    pub fn response(&self, rate_hz: f64) -> Option<Vec<f64>> {
        match self {
            Self::None => None,
            Self::Given(response) => {
                assert!((rate_hz - 48_000.0).abs() < 1e-9, "that response is at 48 kHz");
                Some(response.clone())
            }
            Self::Synthetic {
                decay_s,
                direct_db,
                seed,
            } => Some(synthetic(rate_hz, *decay_s, *direct_db, *seed)),
        }
    }
}

fn synthetic(rate_hz: f64, decay_s: f64, direct_db: f64, seed: u64) -> Vec<f64> {
    let mut rng = Rng::new(seed);
    let len = to_index(1.1 * decay_s * rate_hz) + 64;
    let mut tail = vec![0.0; len];
    // 60 dB are a factor of 1000.
    let rate = -(1000f64.ln()) / (decay_s * rate_hz);
    let first = to_index(rng.between(0.002, 0.015) * rate_hz);
    for (n, x) in tail.iter_mut().enumerate().skip(first) {
        // Air and walls take the highs first: a running mean that grows with time would do the same; a fixed one will do.
        *x = rng.gaussian() * (rate * n as f64).exp();
    }
    for n in (1..len).rev() {
        tail[n] = 0.6 * tail[n] + 0.4 * tail[n - 1];
    }
    for _ in 0..6 {
        let at = to_index(rng.between(0.001, 0.025) * rate_hz);
        if at < len {
            tail[at] += rng.between(-3.0, 3.0);
        }
    }
    let energy: f64 = tail.iter().map(|x| x * x).sum();
    let scale = 10f64.powf(-direct_db / 20.0) / energy.sqrt();
    tail.iter_mut().for_each(|x| *x *= scale);
    tail[0] += 1.0;
    tail
}
