//! A microphone that moves while it records.

use super::reading::read_between;
use crate::Rng;
use crate::fft::Convolver;
use crate::numbers::to_index;

/// Speed of sound at 20 °C, m/s (ISO 9613-1).
const SOUND_M_PER_S: f64 = 343.2;
/// A room's sound is cut into this many waves, each from a direction of its own.
const WAVES: usize = 7;
/// How much of a response belongs to one wave at a time, seconds.
const SLICE_S: f64 = 0.0007;

/// How the microphone moves along one axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Movement {
    /// A hand that holds it: two slow oscillations.
    Sway {
        /// The most it is away from the middle, metres.
        metres: f64,
        /// Frequency of the faster one, Hz; the slower one has 0.43 of it.
        hz: f64,
        /// Seed of the phases and directions.
        seed: u64,
    },
    /// It is put somewhere else once.
    Step {
        /// How far, metres.
        metres: f64,
        /// When, seconds since the signal began.
        at_s: f64,
        /// How long that takes, seconds.
        within_s: f64,
        /// Seed of the directions.
        seed: u64,
    },
}

impl Movement {
    fn seed(&self) -> u64 {
        match *self {
            Self::Sway { seed, .. } | Self::Step { seed, .. } => seed,
        }
    }

    /// Where it is, metres, at a time since the signal began.
    fn place_m(&self, t: f64) -> f64 {
        match *self {
            Self::Sway { metres, hz, seed } => {
                let mut rng = Rng::stream(seed, 1);
                let phases = [
                    rng.between(0.0, std::f64::consts::TAU),
                    rng.between(0.0, std::f64::consts::TAU),
                ];
                let turn = std::f64::consts::TAU * hz * t;
                metres * (0.6 * (turn + phases[0]).sin() + 0.4 * (0.43 * turn + phases[1]).sin())
            }
            Self::Step {
                metres,
                at_s,
                within_s,
                ..
            } => {
                let done = ((t - at_s) / within_s).clamp(0.0, 1.0);
                metres * done * done * (3.0 - 2.0 * done)
            }
        }
    }

    /// The sound through a room's response, heard on the move. The direct sound (the first slice) comes along the axis.
    pub(super) fn through(&self, sound: &[f64], response: &[f64], rate_hz: f64) -> Vec<f64> {
        let mut rng = Rng::stream(self.seed(), 2);
        // Directions of a diffuse field have cosines that are spread evenly.
        let along: Vec<f64> = (0..WAVES)
            .map(|wave| {
                let even = 2.0 * (wave as f64 + rng.uniform()) / WAVES as f64 - 1.0;
                if wave == 0 { rng.between(-1.0, 1.0) } else { even }
            })
            .collect();
        let slice = to_index(SLICE_S * rate_hz).max(1);
        let wave_of: Vec<usize> = (0..response.len().div_ceil(slice))
            .map(|n| if n == 0 { 0 } else { rng.below(WAVES) })
            .collect();
        let places: Vec<f64> = (0..sound.len() + response.len())
            .step_by(64)
            .map(|n| self.place_m(n as f64 / rate_hz))
            .collect();
        let convolver = Convolver::new(sound, response.len());
        let mut out = vec![0.0; sound.len() + response.len()];
        for (wave, along) in along.iter().enumerate() {
            let part: Vec<f64> = response
                .iter()
                .enumerate()
                .map(|(n, &x)| if wave_of[n / slice] == wave { x } else { 0.0 })
                .collect();
            let mut heard = convolver.through(&part);
            heard.resize(out.len(), 0.0);
            let samples_per_m = along / SOUND_M_PER_S * rate_hz;
            let moved = read_between(&heard, |n| {
                let at = n as f64 / 64.0;
                let (k, part) = (to_index(at), at.fract());
                let next = places[(k + 1).min(places.len() - 1)];
                n as f64 + samples_per_m * (places[k] + part * (next - places[k]))
            });
            out.iter_mut().zip(moved).for_each(|(out, x)| *out += x);
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tones;

    #[test]
    fn a_step_moves_the_direct_sound_by_its_length_at_most_and_only_afterwards() {
        let x = tones::white_noise(48_000, 0.1, 3);
        let step = Movement::Step {
            metres: 0.343_2,
            at_s: 0.5,
            within_s: 0.01,
            seed: 5,
        };
        let mut response = vec![0.0; 10];
        response[0] = 1.0;
        let y = step.through(&x, &response, 48_000.0);
        assert!(
            x[100..20_000]
                .iter()
                .zip(&y[100..])
                .all(|(a, b)| (a - b).abs() < 1e-3)
        );
        // 1 ms at the most is 48 samples: somewhere there it is again.
        let like = |lag: isize| -> f64 {
            (30_000..40_000)
                .map(|n: usize| x[n.wrapping_add_signed(lag)] * y[n])
                .sum::<f64>()
        };
        let own: f64 = x[30_000..40_000].iter().map(|x| x * x).sum();
        let best = (-49..=49).map(like).fold(0.0, f64::max);
        assert!(
            best > 0.6 * own && like(0) < 0.5 * own,
            "{best} {} {own}",
            like(0)
        );
    }
}
