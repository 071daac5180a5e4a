//! The delay and polarity between the channels: generalised cross-correlation (Knapp & Carter 1976, IEEE Trans.
//! ASSP-24(4) 320-327), through the core's own finder.

use crate::support::{RATE_HZ, check, mix, scaled, white};
use sumproof_core::alignment::delay::{ChannelDelay, DelayFinder};
use sumproof_core::routing::line::Polarity;
use sumproof_core::spectrum::welch::spectrum_of;
use sumproof_signals::{delay, tones};

/// The right channel's delay, samples.
fn found(left: &[f64], right: &[f64], block_len: usize) -> Option<(f64, ChannelDelay)> {
    let (_, spectrum) = spectrum_of(left, right, RATE_HZ, block_len);
    let delay = DelayFinder::new(RATE_HZ, block_len).find(&spectrum)?;
    Some((delay.delay_s * RATE_HZ, delay))
}

/// TDE-1. White noise with an exact fractional delay (a phase ramp on its FFT), 12.00 to 12.95 samples, no noise:
/// within 0.01 sample (a parabola on the raw grid errs by 0.23, numpy); 12.25 within 0.005.
#[test]
fn tde_1_fractions_of_a_sample() {
    let noise = white(1 << 17, 1);
    for step in 0..20 {
        let samples = 12.0 + 0.05 * f64::from(step);
        let (got, delay) = found(&noise, &delay::delayed_circular(&noise, samples), 8192).unwrap();
        let tolerance = if step == 5 { 0.005 } else { 0.01 };
        check(format!("{samples} samples late"), got, samples, tolerance);
        assert_eq!(delay.polarity, Polarity::Normal);
        let (got, _) = found(&delay::delayed_circular(&noise, samples), &noise, 8192).unwrap();
        check(format!("left {samples} samples late"), got, -samples, tolerance);
    }
}

/// TDE-2. Rms error over 60 records of 16 384 samples of white noise at a signal-to-noise ratio: 30 dB 0.0012, 20 dB
/// 0.0015, 10 dB 0.0026, 0 dB 0.0093, −5 dB 0.022 samples, and no outlier (numpy; the Cramér-Rao bound gives 0.0002,
/// 0.0006, 0.0020, 0.0075, 0.017). A quarter on top: twice the standard deviation of an rms over 60.
#[test]
fn tde_2_in_noise() {
    let len = 16_384;
    let mut report = String::new();
    let mut missed = false;
    for (snr_db, rms) in [
        (30.0, 0.0012),
        (20.0, 0.0015),
        (10.0, 0.0026),
        (0.0, 0.0093),
        (-5.0, 0.022),
    ] {
        let gain = sumproof_core::dsp::db::to_amplitude(-snr_db);
        let mut squares = 0.0;
        let mut outliers = 0;
        for trial in 0..60u64 {
            let samples = 12.0 + trial as f64 / 60.0;
            let signal = white(len, trial);
            let left = mix(1.0, &signal, gain, &white(len, 1000 + trial));
            let right = mix(
                1.0,
                &delay::delayed_circular(&signal, samples),
                gain,
                &white(len, 2000 + trial),
            );
            match found(&left, &right, 2048) {
                Some((got, _)) if (got - samples).abs() < 1.0 => squares += (got - samples).powi(2),
                _ => outliers += 1,
            }
        }
        let got = (squares / 60f64).sqrt();
        missed |= got > 1.25 * rms || outliers > 0;
        report += &format!("{snr_db} dB: rms {got:.4} (published {rms}), {outliers} outliers\n");
    }
    assert!(!missed, "{report}");
}

/// TDE-3. Inverted and 7.3 samples late: 7.299 (numpy), the sign of the peak says inverted.
#[test]
fn tde_3_an_inverted_late_channel() {
    let noise = white(1 << 17, 2);
    let (got, delay) = found(&noise, &scaled(-1.0, &delay::delayed_circular(&noise, 7.3)), 8192).unwrap();
    check("7.3 samples", got, 7.299, 0.01);
    assert_eq!(delay.polarity, Polarity::Flipped);
}

/// TDE-4. A sine has a delay every period: 'no single delay' is the answer (derivation).
#[test]
fn tde_4_a_sine_has_no_single_delay() {
    for hz in [220.0, 1000.0, 3000.0] {
        let left = tones::sine(96_000, RATE_HZ, hz, 0.5, 0.0);
        let right = tones::sine(
            96_000,
            RATE_HZ,
            hz,
            0.5,
            -std::f64::consts::TAU * hz * 5.0 / RATE_HZ,
        );
        assert_eq!(found(&left, &right, 8192), None, "{hz} Hz");
    }
    // Unrelated noise has none either.
    assert_eq!(found(&white(96_000, 3), &white(96_000, 4), 8192), None);
}
