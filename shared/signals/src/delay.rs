//! Delays by whole and fractional numbers of samples.

use std::f64::consts::PI;

use realfft::num_complex::Complex;

use crate::fft::{convolve, samples, spectrum};
use crate::numbers::to_index;

/// Half length of the windowed sinc of [`delayed`], samples: the most by which it rings before and after.
pub const SINC_HALF_WIDTH: usize = 96;

/// Kaiser's shape parameter for about 130 dB, J. F. Kaiser 1974; from memory.
const KAISER_BETA: f64 = 13.0;

/// `signal` delayed by `delay_samples`, with room at the end for all of it: `len + ⌈delay⌉ + SINC_HALF_WIDTH` samples.
///
/// A whole number of samples is an exact shift. Between samples a long Kaiser-windowed sinc interpolates, within 1e-6
/// of the true value up to 0.45 of the rate; the little that rings ahead of the first sample is cut off.
///
/// # Panics
/// If `delay_samples` is negative or not finite.
pub fn delayed(signal: &[f64], delay_samples: f64) -> Vec<f64> {
    assert!(
        delay_samples >= 0.0 && delay_samples.is_finite(),
        "a delay is finite and not negative"
    );
    let whole = to_index(delay_samples.floor());
    let part = delay_samples - whole as f64;
    let len = signal.len() + to_index(delay_samples.ceil()) + SINC_HALF_WIDTH;
    let mut out = vec![0.0; len];
    if part == 0.0 {
        out[whole..whole + signal.len()].copy_from_slice(signal);
        return out;
    }
    // Tap k of the interpolator stands for a shift of k − half samples, so its output starts that much early.
    let interpolated = convolve(signal, &sinc_taps(part));
    for (k, y) in interpolated.into_iter().enumerate() {
        if let Some(n) = (k + whole).checked_sub(SINC_HALF_WIDTH)
            && n < len
        {
            out[n] = y;
        }
    }
    out
}

fn sinc_taps(part: f64) -> Vec<f64> {
    let half = SINC_HALF_WIDTH as f64;
    (0..=2 * SINC_HALF_WIDTH)
        .map(|k| {
            let distance = k as f64 - half - part;
            let edge = distance / (half + 1.0);
            let window =
                bessel_i0(KAISER_BETA * (1.0 - edge * edge).max(0.0).sqrt()) / bessel_i0(KAISER_BETA);
            window * sinc(distance)
        })
        .collect()
}

/// `sin(πx)/(πx)`.
pub(crate) fn sinc(x: f64) -> f64 {
    if x == 0.0 { 1.0 } else { (PI * x).sin() / (PI * x) }
}

/// The modified Bessel function of order 0 by its power series.
pub(crate) fn bessel_i0(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let (mut sum, mut term) = (1.0, 1.0);
    for k in 1..200 {
        term *= quarter / (k * k) as f64;
        sum += term;
        if term < 1e-17 * sum {
            break;
        }
    }
    sum
}

/// `signal`, taken as one period of a periodic one, delayed by `delay_samples` (of either sign): a phase ramp on its
/// spectrum, exact at every frequency but the Nyquist one, where a real signal can keep only the cosine of the shift.
pub fn delayed_circular(signal: &[f64], delay_samples: f64) -> Vec<f64> {
    let len = signal.len();
    if len == 0 {
        return Vec::new();
    }
    let mut bins = spectrum(signal, len);
    for (k, bin) in bins.iter_mut().enumerate() {
        let phase = -2.0 * PI * k as f64 * delay_samples / len as f64;
        *bin *= Complex::from_polar(1.0, phase);
    }
    samples(bins, len)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Rng, tones};

    #[test]
    fn whole_delays_are_exact_shifts() {
        let x = tones::white_noise(500, 1.0, 4);
        let y = delayed(&x, 37.0);
        assert!(y[..37].iter().all(|s| *s == 0.0));
        assert_eq!(y[37..537], x[..]);
        assert_eq!(delayed(&x, 0.0)[..500], x[..]);
    }

    #[test]
    fn broken_delays_are_accurate_to_a_millionth_up_to_0_45_of_the_rate() {
        for frequency in [0.001, 0.01, 0.1, 0.25, 0.4, 0.45] {
            for delay in [0.5, 0.01, 14.4, 13.23, 576.99] {
                let tone = |n: f64| (2.0 * PI * frequency * n + 0.3).sin();
                let x: Vec<f64> = (0..3000).map(|n| tone(n as f64)).collect();
                let y = delayed(&x, delay);
                let edge = SINC_HALF_WIDTH + delay as usize + 1;
                for (n, y) in y.iter().enumerate().take(3000 - SINC_HALF_WIDTH).skip(edge) {
                    let error = (y - tone(n as f64 - delay)).abs();
                    assert!(
                        error < 1e-6,
                        "f {frequency} delay {delay} sample {n}: off by {error:e}"
                    );
                }
            }
        }
    }

    #[test]
    fn both_delays_agree_on_band_limited_noise() {
        let mut rng = Rng::new(8);
        let mut bins = vec![Complex::new(0.0, 0.0); 4097];
        bins[1..3600]
            .iter_mut()
            .for_each(|b| *b = Complex::new(rng.gaussian(), rng.gaussian()));
        let mut x = samples(bins, 8192);
        let peak = x.iter().fold(0.0f64, |p, s| p.max(s.abs()));
        x.iter_mut().for_each(|s| *s /= peak);
        let (line, ring) = (delayed(&x, 7.3), delayed_circular(&x, 7.3));
        for n in 200..8000 {
            assert!(
                (line[n] - ring[n]).abs() < 1e-6,
                "sample {n}: {} and {}",
                line[n],
                ring[n]
            );
        }
    }

    #[test]
    fn circular_delays_undo_each_other_for_any_length() {
        for len in [4095usize, 4096] {
            // No content at the Nyquist frequency, so nothing is lost.
            let x: Vec<f64> = (0..len)
                .map(|n| (2.0 * PI * 61.0 * n as f64 / len as f64).sin())
                .collect();
            let back = delayed_circular(&delayed_circular(&x, 12.37), -12.37);
            assert!(x.iter().zip(&back).all(|(a, b)| (a - b).abs() < 1e-12));
        }
    }
}
