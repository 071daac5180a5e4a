//! What records: another clock, a late start, an automatic gain, clipping.

use super::Suppression;
use crate::delay::{bessel_i0, sinc};
use crate::numbers::to_index;

/// A phone's automatic gain: an envelope follower and a compressor with make-up gain.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AutoGain {
    /// Time constant when it gets louder, seconds.
    pub attack_s: f64,
    /// Time constant when it gets softer, seconds.
    pub release_s: f64,
    /// Input decibels per output decibel.
    pub ratio: f64,
    /// The most it turns up, dB.
    pub most_db: f64,
}

/// A place where the recording isn't whole.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cut {
    /// Where, seconds since the recording began.
    pub at_s: f64,
    /// So much is missing (positive) or comes twice (negative), seconds.
    pub seconds: f64,
}

/// What records. The default has the player's clock and rate and changes nothing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Recorder {
    /// Its sample rate, Hz.
    pub rate_hz: f64,
    /// How much faster than the player's its clock runs, parts per million.
    pub drift_ppm: f64,
    /// Recorded before the signal begins, seconds; negative: started late.
    pub before_s: f64,
    /// Recorded behind its end, seconds; negative: stopped early.
    pub behind_s: f64,
    /// Noise suppression, before the automatic gain.
    pub suppression: Option<Suppression>,
    /// Automatic gain.
    pub gain: Option<AutoGain>,
    /// What is missing or comes twice.
    pub cut: Option<Cut>,
    /// Peaks are cut this far down, dB.
    pub clipped_db: f64,
    /// Peak of what is written, dBFS; `None`: as it is.
    pub peak_dbfs: Option<f64>,
}

impl Default for Recorder {
    fn default() -> Self {
        Self {
            rate_hz: 48_000.0,
            drift_ppm: 0.0,
            before_s: 0.0,
            behind_s: 0.0,
            suppression: None,
            gain: None,
            cut: None,
            clipped_db: 0.0,
            peak_dbfs: None,
        }
    }
}

impl Recorder {
    /// What it writes of a sound at a rate.
    #[must_use]
    pub fn record(&self, sound: &[f64], rate_hz: f64) -> Vec<f64> {
        let step = rate_hz / (self.rate_hz * (1.0 + 1e-6 * self.drift_ppm));
        let mut x = resampled(sound, step);
        if let Some(suppression) = &self.suppression {
            suppression.run(&mut x);
        }
        if let Some(gain) = &self.gain {
            gain.run(&mut x, self.rate_hz);
        }
        if let Some(cut) = &self.cut {
            let at = to_index(cut.at_s * self.rate_hz).min(x.len());
            let count = to_index(cut.seconds.abs() * self.rate_hz);
            if cut.seconds > 0.0 {
                x.drain(at..(at + count).min(x.len()));
            } else {
                let again = x[at.saturating_sub(count)..at].to_vec();
                x.splice(at..at, again);
            }
        }
        let peak = x.iter().fold(0.0f64, |peak, x| peak.max(x.abs()));
        if self.clipped_db > 0.0 {
            let most = peak * 10f64.powf(-self.clipped_db / 20.0);
            x.iter_mut().for_each(|x| *x = x.clamp(-most, most));
        }
        if let Some(wanted) = self.peak_dbfs {
            let peak = x.iter().fold(1e-300f64, |peak, x| peak.max(x.abs()));
            let gain = 10f64.powf(wanted / 20.0) / peak;
            x.iter_mut().for_each(|x| *x *= gain);
        }
        x
    }
}

impl AutoGain {
    fn run(&self, x: &mut [f64], rate_hz: f64) {
        let peak = x.iter().fold(1e-300f64, |peak, x| peak.max(x.abs()));
        let turn = |seconds: f64| 1.0 - (-1.0 / (seconds * rate_hz)).exp();
        let (attack, release) = (turn(self.attack_s), turn(self.release_s));
        let most = 10f64.powf(self.most_db / 20.0);
        let mut envelope = 0.0f64;
        for x in x {
            let level = x.abs() / peak;
            let speed = if level > envelope { attack } else { release };
            envelope += speed * (level - envelope);
            *x *= envelope.max(1e-6).powf(1.0 / self.ratio - 1.0).min(most);
        }
    }
}

const HALF_WIDTH: usize = 32;
const KAISER_BETA: f64 = 9.0;
const TABLE: usize = 512;

/// The signal read every `step` samples (1 leaves it as it is): a windowed sinc, narrower in band where there are to be fewer
/// samples than before.
///
/// # Panics
/// If the step isn't a positive number.
#[must_use]
pub fn resampled(signal: &[f64], step: f64) -> Vec<f64> {
    assert!(step.is_finite() && step > 0.0, "a step is positive");
    if step == 1.0 {
        return signal.to_vec();
    }
    let band = (1.0 / step).min(1.0);
    let reach = HALF_WIDTH as f64 / band;
    // Half the kernel, finely; between its points a straight line.
    let points = to_index((reach * TABLE as f64).ceil()) + 2;
    let kernel: Vec<f64> = (0..points)
        .map(|n| {
            let t = n as f64 / TABLE as f64;
            let edge = (t / reach).min(1.0);
            let window = bessel_i0(KAISER_BETA * (1.0 - edge * edge).sqrt()) / bessel_i0(KAISER_BETA);
            band * sinc(band * t) * window
        })
        .collect();
    let count = to_index((signal.len() as f64 - 1.0).max(0.0) / step) + 1;
    (0..count)
        .map(|n| {
            let at = n as f64 * step;
            let from = to_index((at - reach).ceil().max(0.0));
            let to = (to_index(at + reach) + 1).min(signal.len());
            let mut sum = 0.0;
            for (k, x) in signal.iter().enumerate().take(to).skip(from) {
                let place = (k as f64 - at).abs() * TABLE as f64;
                let index = to_index(place);
                if let (Some(low), Some(high)) = (kernel.get(index), kernel.get(index + 1)) {
                    sum += x * (low + (high - low) * (place - index as f64));
                }
            }
            sum
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    #[test]
    fn a_tone_is_read_at_its_new_times() {
        let tone = |t: f64| (2.0 * PI * 0.05 * t + 0.4).sin();
        let x: Vec<f64> = (0..4000).map(|n| tone(f64::from(n))).collect();
        for step in [48.0 / 44.1, 1.0 / 1.0002, 3.0, 0.5] {
            let y = resampled(&x, step);
            for (n, y) in y.iter().enumerate() {
                let at = n as f64 * step;
                if at > 200.0 && at < 3800.0 {
                    assert!((y - tone(at)).abs() < 2e-5, "step {step}, {n}: {y} {}", tone(at));
                }
            }
        }
    }

    #[test]
    fn an_automatic_gain_turns_the_soft_up() {
        let gain = AutoGain {
            attack_s: 0.005,
            release_s: 0.2,
            ratio: 4.0,
            most_db: 30.0,
        };
        let mut x: Vec<f64> = (0..96_000)
            .map(|n| (2.0 * PI * 0.01 * f64::from(n)).sin() * if n < 48_000 { 1.0 } else { 0.1 })
            .collect();
        gain.run(&mut x, 48_000.0);
        let peak = |x: &[f64]| x.iter().fold(0.0f64, |p, x| p.max(x.abs()));
        let ratio = 20.0 * (peak(&x[80_000..]) / peak(&x[30_000..48_000])).log10();
        assert!((ratio + 5.0).abs() < 0.5, "20 dB become 5: {ratio}");
    }
}
