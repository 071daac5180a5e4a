//! The wet part: reverb, echoes, chorus.

use std::f64::consts::TAU;

use crate::fft::Convolver;
use crate::filter::low_pass_first_order;
use crate::numbers::to_index;
use crate::stereo::{correlation, mean_power};
use crate::{Rng, Stereo};

/// The parameters of a room for the reverb.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Room {
    /// Reverb time (60 dB), seconds.
    pub reverb_time_s: f64,
    /// Silence before the first sound of the room, seconds.
    pub pre_delay_s: f64,
    /// Upper band limit at the beginning and after one reverb time, Hz.
    pub damping_hz: (f64, f64),
}

impl Room {
    /// Draws a room: reverb time 1.2 to 1.8 s, pre-delay 25 to 40 ms.
    pub(crate) fn drawn(rng: &mut Rng) -> Self {
        Self {
            reverb_time_s: rng.between(1.2, 1.8),
            pre_delay_s: rng.between(0.0252, 0.040),
            damping_hz: (rng.between(5000.0, 8000.0), rng.between(1200.0, 2200.0)),
        }
    }

    /// One impulse response: decaying noise that gets darker.
    fn response(&self, rng: &mut Rng, rate_hz: f64) -> Vec<f64> {
        let silent = to_index((self.pre_delay_s * rate_hz).ceil());
        let tail = to_index(self.reverb_time_s * rate_hz);
        let fall = 10f64.powf(-3.0 / tail as f64);
        let build_up = 1.0 / (0.006 * rate_hz);
        let (mut low, mut bass, mut level, mut step) = (0.0, 0.0, 1.0, 0.0);
        let bass_step = 1.0 - (-TAU * 150.0 / rate_hz).exp();
        let mut out = vec![0.0; silent + tail];
        for (n, y) in out[silent..].iter_mut().enumerate() {
            if n % 64 == 0 {
                let (first, last) = self.damping_hz;
                let hz = first * (last / first).powf(n as f64 / tail as f64);
                step = 1.0 - (-TAU * hz / rate_hz).exp();
            }
            let x = rng.gaussian() * level * (n as f64 * build_up).min(1.0);
            low += step * (x - low);
            // Bass in the room would only be mud.
            bass += bass_step * (low - bass);
            *y = low - bass;
            level *= fall;
        }
        out
    }

    /// The room's reverb in both channels, with equal powers and a correlation of exactly `target` over the signal.
    pub(crate) fn stereo(&self, rng: &mut Rng, dry: &[f64], rate_hz: f64, target: f64) -> Stereo {
        let responses = [self.response(rng, rate_hz), self.response(rng, rate_hz)];
        let convolver = Convolver::new(dry, responses[0].len());
        let [left, right] = responses.map(|response| convolver.through(&response));
        correlated(&left, &right, target)
    }

    /// The room's reverb in one channel.
    pub(crate) fn mono(&self, rng: &mut Rng, dry: &[f64], rate_hz: f64) -> Vec<f64> {
        let response = self.response(rng, rate_hz);
        Convolver::new(dry, response.len()).through(&response)
    }
}

/// Two mixes of `a` and `b`, both of power 1 and correlated by exactly `target`.
///
/// Sum and difference of two signals of equal power are uncorrelated whatever the signals are; at power 1 each, the
/// mixes `m·cos θ ± s·sin θ` correlate by `cos 2θ`. The mix is a constant matrix, so a linear, time-invariant effect
/// stays one.
fn correlated(a: &[f64], b: &[f64], target: f64) -> Stereo {
    let balance = (mean_power(a) / mean_power(b)).sqrt();
    let given = correlation(a, b);
    let unit = 1.0 / mean_power(a).sqrt();
    let (cos, sin) = (((1.0 + target) / 2.0).sqrt(), ((1.0 - target) / 2.0).sqrt());
    let (mid_gain, side_gain) = (
        unit * cos / (2.0 + 2.0 * given).sqrt(),
        unit * sin / (2.0 - 2.0 * given).sqrt(),
    );
    let mix = |side_gain: f64| {
        a.iter()
            .zip(b)
            .map(|(x, y)| mid_gain * (x + balance * y) + side_gain * (x - balance * y))
            .collect()
    };
    Stereo::new(mix(side_gain), mix(-side_gain))
}

/// Ping-pong echoes: left after `time_s`, right after twice that, left after three times, …
#[derive(Debug, Clone, Copy)]
pub(crate) struct PingPong {
    pub time_s: f64,
    /// Gain from one echo to the next, linear.
    pub feedback: f64,
    /// Corner of the low-pass at every echo, Hz.
    pub damping_hz: f64,
}

impl PingPong {
    pub(crate) fn drawn(rng: &mut Rng) -> Self {
        Self {
            time_s: rng.between(0.26, 0.42),
            feedback: rng.between(0.45, 0.65),
            damping_hz: rng.between(2500.0, 4500.0),
        }
    }

    pub(crate) fn run(&self, dry: &[f64], rate_hz: f64) -> Stereo {
        let mut out = Stereo::silence(dry.len());
        let step = to_index((self.time_s * rate_hz).round()).max(1);
        let mut echo = dry.to_vec();
        let mut gain = 1.0;
        for count in 1.. {
            let start = count * step;
            // Echoes below −70 dB or past the end don't matter.
            if start >= dry.len() || gain < 3e-4 {
                break;
            }
            echo.truncate(dry.len() - start);
            low_pass_first_order(&mut echo, rate_hz, self.damping_hz);
            let side = if count % 2 == 1 {
                &mut out.left
            } else {
                &mut out.right
            };
            side[start..]
                .iter_mut()
                .zip(&echo)
                .for_each(|(y, x)| *y += gain * x);
            gain *= self.feedback;
        }
        out
    }
}

/// One modulated delay in each channel, in opposite directions.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Chorus {
    /// Mean delay, seconds.
    pub delay_s: f64,
    /// Modulation depth to either side, seconds; less than the delay.
    pub depth_s: f64,
    /// Modulation rate, Hz.
    pub rate_hz: f64,
    /// Phase of the modulation at the start, radians.
    pub phase_rad: f64,
}

impl Chorus {
    pub(crate) fn drawn(rng: &mut Rng) -> Self {
        Self {
            delay_s: rng.between(0.008, 0.014),
            depth_s: rng.between(0.002, 0.004),
            rate_hz: rng.between(0.4, 1.1),
            phase_rad: TAU * rng.uniform(),
        }
    }

    pub(crate) fn run(&self, dry: &[f64], sample_rate_hz: f64) -> Stereo {
        let channel = |side: f64| {
            (0..dry.len())
                .map(|n| {
                    let swing = (TAU * self.rate_hz * n as f64 / sample_rate_hz + self.phase_rad).sin();
                    let at = n as f64 - (self.delay_s + side * self.depth_s * swing) * sample_rate_hz;
                    between_samples(dry, at)
                })
                .collect()
        };
        Stereo::new(channel(1.0), channel(-1.0))
    }
}

/// `signal` at a position between samples, by the cubic through the four samples around it; silent before the
/// beginning.
fn between_samples(signal: &[f64], at: f64) -> f64 {
    if at < 0.0 {
        return 0.0;
    }
    let n = to_index(at);
    let t = at - n as f64;
    let sample = |k: usize| {
        k.checked_sub(1)
            .and_then(|k| signal.get(k))
            .copied()
            .unwrap_or(0.0)
    };
    let (a, b, c, d) = (sample(n), sample(n + 1), sample(n + 2), sample(n + 3));
    // Lagrange's cubic through −1, 0, 1, 2.
    let outer = t * (t - 1.0) / 6.0;
    let inner = (t + 1.0) * (t - 2.0) / 2.0;
    -outer * (t - 2.0) * a + inner * (t - 1.0) * b - inner * t * c + outer * (t + 1.0) * d
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tones;

    #[test]
    fn mixes_correlate_as_asked() {
        let a = tones::white_noise(5000, 0.3, 1);
        let b: Vec<f64> = tones::white_noise(5000, 0.7, 2)
            .iter()
            .zip(&a)
            .map(|(x, y)| x + 0.4 * y)
            .collect();
        for target in [-0.7, 0.0, 0.5, 1.0] {
            let pair = correlated(&a, &b, target);
            assert!(
                (pair.correlation() - target).abs() < 1e-12,
                "{target}: {}",
                pair.correlation()
            );
            assert!((mean_power(&pair.left) - 1.0).abs() < 1e-12);
            assert!((mean_power(&pair.right) - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn a_room_keeps_silent_for_its_pre_delay_and_decays_in_its_reverb_time() {
        let mut rng = Rng::new(4);
        let room = Room {
            reverb_time_s: 1.5,
            pre_delay_s: 0.03,
            damping_hz: (6000.0, 6000.0),
        };
        let response = room.response(&mut rng, 48_000.0);
        assert!(response[..1440].iter().all(|x| *x == 0.0));
        assert!(response[1441..1500].iter().any(|x| *x != 0.0));
        // 40 dB per second: between 0.3 and 1.3 s.
        let level = |s: f64| mean_power(&response[(s * 48_000.0) as usize..][..4800]);
        let fall_db = 10.0 * (level(0.3) / level(1.3)).log10();
        assert!((fall_db - 40.0).abs() < 1.0, "{fall_db}");
    }

    #[test]
    fn echoes_change_sides() {
        let mut impulse = vec![0.0; 1000];
        impulse[0] = 1.0;
        let echoes = PingPong {
            time_s: 0.1,
            feedback: 0.5,
            damping_hz: 1e6,
        }
        .run(&impulse, 1000.0);
        for (n, left, right) in [
            (0, 0.0, 0.0),
            (100, 1.0, 0.0),
            (200, 0.0, 0.5),
            (300, 0.25, 0.0),
            (400, 0.0, 0.125),
        ] {
            assert!(
                (echoes.left[n] - left).abs() < 1e-9 && (echoes.right[n] - right).abs() < 1e-9,
                "at {n}"
            );
        }
    }

    #[test]
    fn the_chorus_reads_where_it_should() {
        let x = tones::sine(4800, 48_000.0, 700.0, 1.0, 0.0);
        for at in [10.0, 100.25, 1000.5, 4000.99] {
            let expected = (TAU * 700.0 * at / 48_000.0).sin();
            assert!((between_samples(&x, at) - expected).abs() < 1e-4, "at {at}");
        }
        assert_eq!(between_samples(&x, -0.5), 0.0);
        let still = Chorus {
            delay_s: 0.01,
            depth_s: 0.0,
            rate_hz: 1.0,
            phase_rad: 0.0,
        }
        .run(&x, 48_000.0);
        assert!((still.left[2000] - x[1520]).abs() < 1e-6 && still.left == still.right);
    }
}
