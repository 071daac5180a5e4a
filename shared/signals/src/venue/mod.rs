//! Simulated venues: two lines, where they end, a loudspeaker, a room, noise, and what records it.
//!
//! Ground truth for whoever measures lines. Nothing here knows the signal that is played.

mod draw;
mod effects;
mod movement;
mod reading;
mod recorder;
mod room;
mod suppression;

use crate::filter::Biquad;
use crate::line::faulty;
use crate::numbers::to_index;
use crate::stereo::Stereo;
use crate::{LineFault, convolve, tones};

pub use draw::{Drawn, Situation, at_rest, draw};
pub use effects::LeftOn;
pub use movement::Movement;
pub use recorder::{AutoGain, Cut, Recorder, resampled};
pub use room::Room;
pub use suppression::Suppression;

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

/// A second way to the microphone.
#[derive(Debug, Clone, PartialEq)]
pub struct SecondWay {
    /// The right line goes there and not to the first loudspeaker (a stereo PA); else both lines, added, do as well (the PA heard at a
    /// wedge).
    pub right_only: bool,
    /// Gain against the first way, dB.
    pub gain_db: f64,
    /// How much later it arrives, seconds, not negative.
    pub delay_s: f64,
    /// Its own path.
    pub room: Room,
}

/// All of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Venue {
    /// The player mixes left and right to one, which goes out on both lines.
    pub mixed_to_mono: bool,
    /// Effects in the preset, before the lines.
    pub left_on: Option<LeftOn>,
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
    /// A second way from the lines to the microphone.
    pub second: Option<SecondWay>,
    /// How the microphone moves.
    pub movement: Option<Movement>,
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
            mixed_to_mono: false,
            left_on: None,
            left: LineFault::NONE,
            right: LineFault::NONE,
            end,
            loudspeaker_hz: None,
            loudspeaker_flipped: false,
            room: Room::None,
            second: None,
            movement: None,
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
        let mut sound = Stereo::new(left.to_vec(), right.to_vec());
        if self.mixed_to_mono {
            let both: Vec<f64> = left.iter().zip(right).map(|(l, r)| 0.5 * (l + r)).collect();
            sound = Stereo::dual_mono(&both);
        }
        if let Some(left_on) = &self.left_on {
            sound = left_on.run(&sound, rate_hz);
        }
        let x = self.arriving(&faulty(&sound, &self.left, &self.right, rate_hz), rate_hz);
        let before = to_index(self.recorder.before_s.max(0.0) * rate_hz);
        let behind = to_index(self.recorder.behind_s.max(0.0) * rate_hz);
        let mut all = vec![0.0; before];
        all.extend_from_slice(&x);
        all.resize(all.len() + behind, 0.0);
        if let Some(noise) = &self.noise {
            add_noise(&mut all, rate_hz, noise);
        }
        // Started late or stopped early.
        let late = to_index((-self.recorder.before_s).max(0.0) * rate_hz);
        let early = to_index((-self.recorder.behind_s).max(0.0) * rate_hz);
        let end = all.len().saturating_sub(early);
        self.recorder.record(&all[late.min(end)..end], rate_hz)
    }

    /// What the lines bring to the microphone, by one way or two.
    fn arriving(&self, lines: &Stereo, rate_hz: f64) -> Vec<f64> {
        let taken = |end: End| -> Vec<f64> {
            let each = lines.left.iter().zip(&lines.right);
            each.map(|(l, r)| match end {
                End::Sum => l + r,
                End::Left => *l,
                End::Right => *r,
                End::Difference => l - r,
            })
            .collect()
        };
        let Some(second) = &self.second else {
            return self.through(taken(self.end), &self.room, rate_hz);
        };
        let (first_end, second_end) = if second.right_only {
            (End::Left, End::Right)
        } else {
            (self.end, End::Sum)
        };
        let mut x = self.through(taken(first_end), &self.room, rate_hz);
        let late = LineFault {
            gain_db: second.gain_db,
            delay_s: second.delay_s,
            ..LineFault::NONE
        };
        let y = late.apply(&self.through(taken(second_end), &second.room, rate_hz), rate_hz);
        x.resize(x.len().max(y.len()), 0.0);
        x.iter_mut().zip(y).for_each(|(x, y)| *x += y);
        x
    }

    /// One loudspeaker and its path.
    fn through(&self, mut x: Vec<f64>, room: &Room, rate_hz: f64) -> Vec<f64> {
        if let Some((low_hz, high_hz)) = self.loudspeaker_hz {
            loudspeaker(&mut x, rate_hz, low_hz, high_hz);
        }
        if self.loudspeaker_flipped {
            x.iter_mut().for_each(|x| *x = -*x);
        }
        match (room.response(rate_hz), &self.movement) {
            (None, _) => x,
            (Some(response), None) => convolve(&x, &response),
            (Some(response), Some(movement)) => movement.through(&x, &response, rate_hz),
        }
    }
}

fn loudspeaker(x: &mut [f64], rate_hz: f64, low_hz: f64, high_hz: f64) {
    // The two sections of a fourth-order Butterworth filter.
    let mut sections: Vec<Biquad> = [0.541_196_1, 1.306_563]
        .map(|q| Biquad::high_pass(rate_hz, low_hz, q))
        .into();
    if high_hz < 400.0 {
        // A subwoofer's crossover: fourth order at that end too.
        sections.extend([0.541_196_1, 1.306_563].map(|q| Biquad::low_pass(rate_hz, high_hz, q)));
    } else if high_hz < 0.45 * rate_hz {
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
    let second = to_index(rate_hz).max(1);
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
