//! Simulated venues: two lines, where they end, a loudspeaker, a room, noise, and what records it.
//!
//! Ground truth for whoever measures lines. Nothing here knows the signal that is played.

mod draw;
mod recorder;
mod room;

use crate::filter::Biquad;
use crate::line::faulty;
use crate::stereo::Stereo;
use crate::{LineFault, convolve, tones};

pub use draw::draw;
pub use recorder::{AutoGain, Recorder, resampled};
pub use room::Room;

/// Where both lines end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// Added.
    Sum,
    /// The left one alone.
    Left,
    /// The right one alone.
    Right,
    /// Left minus right.
    Difference,
}

/// Background noise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Noise {
    /// Signal to noise, dB: the power of the loudest second of the signal over the noise's.
    pub below_db: f64,
    /// Pink (3 dB less per octave) instead of white.
    pub pink: bool,
    /// Seed.
    pub seed: u64,
}

/// All of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Venue {
    /// The left line.
    pub left: LineFault,
    /// The right line.
    pub right: LineFault,
    /// Where they end.
    pub end: End,
    /// Ends of the loudspeaker's band, Hz: fourth-order Butterworth at the low end, second-order at the high one.
    pub loudspeaker_hz: Option<(f64, f64)>,
    /// The loudspeaker is wired the wrong way round.
    pub loudspeaker_flipped: bool,
    /// The room.
    pub room: Room,
    /// The noise.
    pub noise: Option<Noise>,
    /// What records it.
    pub recorder: Recorder,
}

impl Venue {
    /// A cable from the player to the recorder.
    #[must_use]
    pub fn straight(end: End) -> Self {
        Self {
            left: LineFault::NONE,
            right: LineFault::NONE,
            end,
            loudspeaker_hz: None,
            loudspeaker_flipped: false,
            room: Room::None,
            noise: None,
            recorder: Recorder::default(),
        }
    }

    /// What is recorded of a signal that is played.
    ///
    /// # Panics
    /// If a setting makes no sense (a delay below 0, a rate that isn't positive).
    #[must_use]
    pub fn record(&self, left: &[f64], right: &[f64], rate_hz: f64) -> Vec<f64> {
        let sound = Stereo::new(left.to_vec(), right.to_vec());
        let arrived = faulty(&sound, &self.left, &self.right, rate_hz);
        let mut x: Vec<f64> = arrived
            .left
            .iter()
            .zip(&arrived.right)
            .map(|(l, r)| match self.end {
                End::Sum => l + r,
                End::Left => *l,
                End::Right => *r,
                End::Difference => l - r,
            })
            .collect();
        if let Some((low_hz, high_hz)) = self.loudspeaker_hz {
            loudspeaker(&mut x, rate_hz, low_hz, high_hz);
        }
        if self.loudspeaker_flipped {
            x.iter_mut().for_each(|x| *x = -*x);
        }
        if let Some(response) = self.room.response(rate_hz) {
            x = convolve(&x, &response);
        }
        let before = (self.recorder.before_s.max(0.0) * rate_hz) as usize;
        let behind = (self.recorder.behind_s.max(0.0) * rate_hz) as usize;
        let mut all = vec![0.0; before];
        all.extend_from_slice(&x);
        all.resize(all.len() + behind, 0.0);
        if let Some(noise) = &self.noise {
            add_noise(&mut all, rate_hz, noise);
        }
        // Started late or stopped early.
        let late = ((-self.recorder.before_s).max(0.0) * rate_hz) as usize;
        let early = ((-self.recorder.behind_s).max(0.0) * rate_hz) as usize;
        let end = all.len().saturating_sub(early);
        self.recorder.record(&all[late.min(end)..end], rate_hz)
    }
}

fn loudspeaker(x: &mut [f64], rate_hz: f64, low_hz: f64, high_hz: f64) {
    // The two sections of a fourth-order Butterworth filter.
    let mut sections: Vec<Biquad> = [0.541_196_1, 1.306_563]
        .map(|q| Biquad::high_pass(rate_hz, low_hz, q))
        .into();
    if high_hz < 0.45 * rate_hz {
        sections.push(Biquad::low_pass(
            rate_hz,
            high_hz,
            std::f64::consts::FRAC_1_SQRT_2,
        ));
    }
    for section in sections {
        section.run(x);
    }
}

fn add_noise(x: &mut [f64], rate_hz: f64, noise: &Noise) {
    let second = (rate_hz as usize).max(1);
    let loudest = x
        .chunks(second)
        .map(|part| part.iter().map(|x| x * x).sum::<f64>() / second as f64)
        .fold(0.0, f64::max);
    let rms = (loudest * 10f64.powf(-noise.below_db / 10.0)).sqrt();
    let hiss = if noise.pink {
        tones::pink_noise(x.len(), rate_hz, rms, noise.seed)
    } else {
        tones::white_noise(x.len(), rms, noise.seed)
    };
    for (x, hiss) in x.iter_mut().zip(hiss) {
        *x += hiss;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_straight_venue_records_what_is_played() {
        let x = tones::sine(48_000, 48_000.0, 440.0, 0.3, 0.0);
        let y = Venue::straight(End::Left).record(&x, &[0.0; 48_000], 48_000.0);
        assert!(
            x.iter()
                .zip(&y)
                .skip(100)
                .take(47_000)
                .all(|(x, y)| (x - y).abs() < 1e-6)
        );
        let none = Venue::straight(End::Difference).record(&x, &x, 48_000.0);
        assert!(none.iter().all(|y| y.abs() < 1e-9));
    }

    #[test]
    fn the_noise_is_as_far_below_as_asked_for() {
        let mut venue = Venue::straight(End::Right);
        venue.noise = Some(Noise {
            below_db: 6.0,
            pink: true,
            seed: 4,
        });
        venue.recorder.before_s = 3.0;
        let x = tones::sine(96_000, 48_000.0, 440.0, 0.3, 0.0);
        let y = venue.record(&x, &x, 48_000.0);
        let power = |x: &[f64]| x.iter().map(|x| x * x).sum::<f64>() / x.len() as f64;
        let ratio = 10.0 * (power(&x[..]) / power(&y[..130_000])).log10();
        assert!((ratio - 6.0).abs() < 1.0, "{ratio}");
    }
}
