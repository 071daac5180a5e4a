//! The amplifier: drive and loudspeaker cabinet; and the linear filters that make two amplifiers out of one.

use std::f64::consts::PI;

use crate::delay::{bessel_i0, delayed, sinc};
use crate::fft::convolve;
use crate::filter::Biquad;
use crate::numbers::to_index;
use crate::{Rng, amplitude};

/// Least rate at which the drive is computed, which keeps aliases far below the sound.
const DRIVE_RATE_HZ: f64 = 85_000.0;

/// An amplifier with its cabinet.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Amplifier {
    /// Drive of a full-level string into the clipper, dB.
    pub drive_db: f64,
    /// Offset of the clipper, which makes even harmonics.
    pub bias: f64,
    /// Presence of the cabinet, Hz.
    pub presence_hz: f64,
    /// Upper end of the cabinet, Hz.
    pub top_hz: f64,
}

impl Amplifier {
    /// Draws an amplifier between nearly clean and crunch.
    pub(crate) fn drawn(rng: &mut Rng) -> Self {
        Self {
            drive_db: rng.between(2.0, 20.0),
            bias: rng.between(0.1, 0.4),
            presence_hz: rng.between(2000.0, 3200.0),
            top_hz: rng.between(4600.0, 5800.0),
        }
    }

    /// The strings through amplifier and loudspeaker; the input's level does not matter, the output's level is not
    /// normalised.
    pub(crate) fn run(&self, strings: &[f64], rate_hz: f64) -> Vec<f64> {
        let mut sound = strings.to_vec();
        // A tight bass before the drive, as in every amplifier meant for drive.
        Biquad::high_pass(rate_hz, 110.0, 0.6).run(&mut sound);
        let peak = sound.iter().fold(0.0f64, |peak, x| x.abs().max(peak));
        if peak == 0.0 {
            return sound;
        }
        let gain = amplitude(self.drive_db) / peak;
        sound.iter_mut().for_each(|x| *x *= gain);
        let mut sound = drive(sound, rate_hz, self.bias);
        for section in [
            Biquad::high_pass(rate_hz, 82.0, 0.8),
            Biquad::bell(rate_hz, 120.0, 1.0, 2.5),
            Biquad::bell(rate_hz, 450.0, 0.8, -3.5),
            Biquad::bell(rate_hz, self.presence_hz, 1.0, 5.0),
            Biquad::low_pass(rate_hz, self.top_hz, 0.9),
            Biquad::low_pass(rate_hz, 1.15 * self.top_hz, 0.7),
        ] {
            section.run(&mut sound);
        }
        sound
    }
}

/// Runs the clipper at a sufficient rate.
fn drive(sound: Vec<f64>, rate_hz: f64, bias: f64) -> Vec<f64> {
    if rate_hz >= DRIVE_RATE_HZ {
        return clip(sound, bias);
    }
    halved(&drive(doubled(&sound), 2.0 * rate_hz, bias))
}

/// `x/√(1 + x²)` with an offset, with its aliases reduced by the first-order antiderivative method (Parker, Zavalishin
/// and Le Bivic, DAFx 2016). The antiderivative is `√(1 + x²)`, and its difference quotient is this fraction, which
/// needs no special case where two samples are equal.
fn clip(mut sound: Vec<f64>, bias: f64) -> Vec<f64> {
    let root = |x: f64| (1.0 + x * x).sqrt();
    let rest = bias / root(bias);
    let (mut last, mut last_root) = (bias, root(bias));
    for x in &mut sound {
        let now = *x + bias;
        let now_root = root(now);
        *x = (now + last) / (now_root + last_root) - rest;
        (last, last_root) = (now, now_root);
    }
    sound
}

/// One side of the half-band interpolator: its taps at ±1/2, ±3/2, … samples.
fn half_band() -> [f64; 20] {
    std::array::from_fn(|k| {
        let distance = k as f64 + 0.5;
        let edge = distance / 20.5;
        bessel_i0(8.0 * (1.0 - edge * edge).sqrt()) / bessel_i0(8.0) * sinc(distance)
    })
}

/// Value half-way between `x[n]` and `x[n + 1]`, for every n; `x` is silent outside.
fn halfway(x: impl Fn(usize) -> f64, len: usize) -> Vec<f64> {
    let taps = half_band();
    let pad = taps.len();
    let mut padded = vec![0.0; len + 2 * pad];
    (0..len).for_each(|n| padded[pad + n] = x(n));
    (0..len)
        .map(|n| {
            let (left, right) = (&padded[n + 1..=n + pad], &padded[n + pad + 1..=n + 2 * pad]);
            taps.iter()
                .zip(right)
                .zip(left.iter().rev())
                .map(|((tap, r), l)| tap * (l + r))
                .sum()
        })
        .collect()
}

/// Doubles the rate.
fn doubled(x: &[f64]) -> Vec<f64> {
    let between = halfway(|n| x[n], x.len());
    x.iter()
        .zip(between)
        .flat_map(|(now, between)| [*now, between])
        .collect()
}

/// Halves the rate; frequencies above the new Nyquist frequency are filtered out.
fn halved(x: &[f64]) -> Vec<f64> {
    let between = halfway(|n| x[2 * n + 1], x.len() / 2);
    // The odd samples, half-way interpolated, land one frame late: on the even sample that follows them.
    (0..x.len() / 2)
        .map(|n| 0.5 * (x[2 * n] + if n == 0 { 0.0 } else { between[n - 1] }))
        .collect()
}

/// The linear difference between two amplifiers that share one drive: cabinet resonances, the reflections of the
/// cone and edge as a short FIR, and for the second one a path 0.4 ms longer. `which` is 0 or 1.
pub(crate) fn amplifier_of_channel(which: usize, reference: &[f64], rate_hz: f64, delay_s: f64) -> Vec<f64> {
    let (sections, reflections, late_s) = if which == 0 {
        (
            [
                Biquad::bell(rate_hz, 180.0, 1.2, 3.0),
                Biquad::bell(rate_hz, 750.0, 0.9, -4.0),
                Biquad::bell(rate_hz, 2600.0, 1.4, 4.0),
                Biquad::low_pass(rate_hz, 4800.0, 0.8),
            ],
            [(0.000_21, 0.25), (0.000_55, -0.15)],
            0.0,
        )
    } else {
        (
            [
                Biquad::high_pass(rate_hz, 105.0, 0.9),
                Biquad::bell(rate_hz, 520.0, 0.8, 3.5),
                Biquad::bell(rate_hz, 1500.0, 1.2, -4.0),
                Biquad::bell(rate_hz, 3600.0, 1.5, 5.0),
            ],
            [(0.000_33, -0.3), (0.000_71, 0.2)],
            delay_s,
        )
    };
    let mut sound = reference.to_vec();
    sections.iter().for_each(|section| section.run(&mut sound));
    let cone = reflection_fir(&reflections, rate_hz);
    let mut sound = delayed(&convolve(&sound, &cone), late_s * rate_hz);
    sound.truncate(reference.len());
    sound
}

/// A direct tap and some later ones, each spread over four samples so it may fall between samples.
fn reflection_fir(reflections: &[(f64, f64)], rate_hz: f64) -> Vec<f64> {
    let longest_s = reflections.iter().fold(0.0f64, |longest, r| longest.max(r.0));
    let mut fir = vec![0.0; to_index((longest_s * rate_hz).ceil()) + 3];
    fir[0] = 1.0;
    for (delay_s, gain) in reflections {
        let at = delay_s * rate_hz;
        for (n, tap) in fir.iter_mut().enumerate() {
            let distance = (n as f64 - at) / 2.0;
            if distance.abs() < 1.0 {
                *tap += gain * 0.25 * (1.0 + (PI * distance).cos());
            }
        }
    }
    fir
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{mean_power, power_db, tones};

    #[test]
    fn doubling_and_halving_give_the_sound_back() {
        let x = tones::sine(4000, 48_000.0, 5000.0, 0.5, 0.4);
        let y = halved(&doubled(&x));
        for n in 100..3900 {
            assert!((x[n] - y[n]).abs() < 1e-4, "sample {n}: {} and {}", x[n], y[n]);
        }
    }

    #[test]
    fn aliases_of_the_drive_stay_60_db_down() {
        // 4.1 kHz driven hard at 48 kHz: everything that is not a harmonic is an alias.
        let len = 48_000;
        let driven = drive(tones::sine(len, 48_000.0, 4100.0, 10.0, 0.0), 48_000.0, 0.2);
        let bins = crate::fft::spectrum(&driven[..len], len);
        let (mut harmonic, mut folded) = (0.0, 0.0);
        for (hz, bin) in bins.iter().enumerate().take(12_000).skip(100) {
            let off = (hz as f64 / 4100.0).round() * 4100.0 - hz as f64;
            *(if off.abs() < 60.0 {
                &mut harmonic
            } else {
                &mut folded
            }) += bin.norm_sqr();
        }
        let ratio_db = power_db(folded / harmonic);
        assert!(ratio_db < -45.0, "{ratio_db} dB");
    }

    #[test]
    fn drive_bends_and_the_cabinet_bounds() {
        let x = tones::sine(48_000, 48_000.0, 400.0, 1.0, 0.0);
        let amplifier = Amplifier {
            drive_db: 20.0,
            bias: 0.2,
            presence_hz: 2500.0,
            top_hz: 5000.0,
        };
        let bins = crate::fft::spectrum(&amplifier.run(&x, 48_000.0), 48_000);
        let db = |hz: usize| 20.0 * (bins[hz].norm() / bins[400].norm()).log10();
        assert!(
            db(1200) > -15.0 && db(800) > -45.0,
            "third {} second {}",
            db(1200),
            db(800)
        );
        assert!(db(12_400) < -55.0, "at 12.4 kHz {}", db(12_400));
        assert!(mean_power(&amplifier.run(&[0.0; 10], 48_000.0)) == 0.0);
    }
}
