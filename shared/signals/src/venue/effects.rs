//! Effects that were left on in the preset: they come before the lines.

use super::reading::read_between;
use crate::fft::Convolver;
use crate::numbers::to_index;
use crate::{Rng, Stereo};

/// What was left on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LeftOn {
    /// A stereo chorus, its two sides swept oppositely.
    Chorus {
        /// Wet over dry, 1: as loud.
        mix: f64,
        /// Sweeps a second.
        hz: f64,
        /// Shortest delay, seconds.
        shortest_s: f64,
        /// How much longer it gets, seconds.
        depth_s: f64,
    },
    /// A stereo reverb, its two sides unlike each other.
    Reverb {
        /// Energy of the wet over the dry, dB.
        wet_db: f64,
        /// Time to decay by 60 dB, seconds.
        decay_s: f64,
        /// Seed.
        seed: u64,
    },
}

impl LeftOn {
    /// The sound as it leaves the preset.
    pub(super) fn run(&self, sound: &Stereo, rate_hz: f64) -> Stereo {
        match *self {
            Self::Chorus {
                mix,
                hz,
                shortest_s,
                depth_s,
            } => {
                let side = |x: &[f64], phase: f64| -> Vec<f64> {
                    let wet = read_between(x, |n| {
                        let turn = std::f64::consts::TAU * hz * n as f64 / rate_hz + phase;
                        n as f64 - rate_hz * (shortest_s + depth_s * (0.5 + 0.5 * turn.sin()))
                    });
                    x.iter()
                        .zip(wet)
                        .map(|(x, wet)| (x + mix * wet) / (1.0 + mix))
                        .collect()
                };
                Stereo::new(side(&sound.left, 0.0), side(&sound.right, std::f64::consts::PI))
            }
            Self::Reverb {
                wet_db,
                decay_s,
                seed,
            } => {
                let len = to_index(1.1 * decay_s * rate_hz) + 64;
                let rate = -(1000f64.ln()) / (decay_s * rate_hz);
                let tail = |part: u64| -> Vec<f64> {
                    let mut rng = Rng::stream(seed, part);
                    let first = to_index(0.012 * rate_hz);
                    let mut tail: Vec<f64> = (0..len)
                        .map(|n| {
                            if n < first {
                                0.0
                            } else {
                                rng.gaussian() * (rate * n as f64).exp()
                            }
                        })
                        .collect();
                    let energy: f64 = tail.iter().map(|x| x * x).sum();
                    let scale = 10f64.powf(wet_db / 20.0) / energy.sqrt();
                    tail.iter_mut().for_each(|x| *x *= scale);
                    tail
                };
                // As most are built: both inputs feed both outputs.
                let both: Vec<f64> = sound
                    .left
                    .iter()
                    .zip(&sound.right)
                    .map(|(l, r)| 0.5 * (l + r))
                    .collect();
                let convolver = Convolver::new(&both, len);
                let side = |x: &[f64], part: u64| -> Vec<f64> {
                    let wet = convolver.through(&tail(part));
                    x.iter().zip(wet).map(|(x, wet)| x + wet).collect()
                };
                Stereo::new(side(&sound.left, 1), side(&sound.right, 2))
            }
        }
    }
}
