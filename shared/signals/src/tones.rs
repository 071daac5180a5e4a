//! Plain test signals.

use std::f64::consts::TAU;

use realfft::num_complex::Complex;

use crate::Rng;
use crate::fft::{fast_len, samples};
use crate::stereo::mean_power;

/// `len` samples of `amplitude·sin(2π·hz·n/rate + phase)`.
pub fn sine(len: usize, rate_hz: f64, hz: f64, amplitude: f64, phase_rad: f64) -> Vec<f64> {
    // The phase is reduced to one period before taking the sine, or long signals lose digits.
    (0..len)
        .map(|n| amplitude * (TAU * (hz * n as f64 / rate_hz).fract() + phase_rad).sin())
        .collect()
}

/// `len` samples of Gaussian white noise; `rms` is that of the process, not of this record.
pub fn white_noise(len: usize, rms: f64, seed: u64) -> Vec<f64> {
    let mut rng = Rng::stream(seed, 0x17e);
    (0..len).map(|_| rms * rng.gaussian()).collect()
}

/// `len` samples of Gaussian pink noise: the same power in every octave from 10 Hz to half the rate, exactly 3.01 dB
/// per octave, nothing below. `rms` is that of this record.
pub fn pink_noise(len: usize, rate_hz: f64, rms: f64, seed: u64) -> Vec<f64> {
    let mut rng = Rng::stream(seed, 0x9142);
    let fft_len = fast_len(len);
    let mut bins = vec![Complex::new(0.0, 0.0); fft_len / 2 + 1];
    for (k, bin) in bins.iter_mut().enumerate().skip(1) {
        if k as f64 * rate_hz / fft_len as f64 >= 10.0 {
            let amplitude = 1.0 / (k as f64).sqrt();
            *bin = Complex::new(amplitude * rng.gaussian(), amplitude * rng.gaussian());
        }
    }
    let mut noise = samples(bins, fft_len);
    noise.truncate(len);
    let power = mean_power(&noise);
    if power > 0.0 {
        let gain = rms / power.sqrt();
        noise.iter_mut().for_each(|x| *x *= gain);
    }
    noise
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fft::spectrum;
    use crate::power_db;

    /// Mean power of each octave from 125 Hz up, dB.
    fn octaves_db(noise: &[f64], rate_hz: f64) -> Vec<f64> {
        let bins = spectrum(noise, noise.len());
        let bin = |hz: f64| (hz / rate_hz * noise.len() as f64) as usize;
        let octave = |low: f64| {
            bins[bin(low)..bin(2.0 * low)]
                .iter()
                .map(Complex::norm_sqr)
                .sum::<f64>()
        };
        (0..7)
            .map(|k| power_db(octave(125.0 * f64::from(1 << k))))
            .collect()
    }

    #[test]
    fn white_rises_3_db_per_octave_and_pink_is_level() {
        // IEC 61260-1 bands of white noise rise with their width, those of pink noise are equal (closed form).
        let white = octaves_db(&white_noise(480_000, 0.1, 5), 48_000.0);
        let pink = octaves_db(&pink_noise(480_000, 48_000.0, 0.1, 5), 48_000.0);
        for k in 1..7 {
            assert!((white[k] - white[k - 1] - 3.01).abs() < 0.4, "white {white:?}");
            assert!((pink[k] - pink[k - 1]).abs() < 0.4, "pink {pink:?}");
        }
    }

    #[test]
    fn levels_are_as_asked() {
        assert!((mean_power(&white_noise(400_000, 0.25, 1)).sqrt() - 0.25).abs() < 0.002);
        assert!((mean_power(&pink_noise(100_000, 44_100.0, 0.25, 1)).sqrt() - 0.25).abs() < 1e-12);
        assert!((mean_power(&sine(48_000, 48_000.0, 1000.0, 0.5, 0.2)) - 0.125).abs() < 1e-12);
    }
}
