//! The delay between the channels against published errors of such estimates (CHECKS 5).

use sumproof_core::alignment::delay::{ChannelDelay, DelayFinder};
use sumproof_core::routing::line::Polarity;
use sumproof_core::spectrum::welch::spectrum_of;
use sumproof_signals::delay::delayed_circular;
use sumproof_signals::{Rng, amplitude, mean_power, tones};

const RATE_HZ: f64 = 48_000.0;
const RECORD: usize = 16_384;
/// Short enough for some thirty averages per record.
const BLOCK: usize = 1024;

fn find(left: &[f64], right: &[f64], block_len: usize) -> Option<ChannelDelay> {
    let (_, spectrum) = spectrum_of(left, right, RATE_HZ, block_len);
    DelayFinder::new(RATE_HZ, block_len).find(&spectrum)
}

/// CHECKS TDE-1: white noise, delays of 12.00 to 12.95 samples by a phase ramp; the required accuracy is 0.01 sample.
#[test]
fn noise_free_within_a_hundredth_of_a_sample() {
    for block_len in [BLOCK, 8192] {
        for step in 0..20 {
            let delay = 12.0 + 0.05 * f64::from(step);
            let x = tones::white_noise(RECORD, 0.1, 3 + step as u64);
            let found = find(&x, &delayed_circular(&x, delay), block_len).unwrap();
            let error = found.delay_s * RATE_HZ - delay;
            assert!(
                error.abs() < 0.01,
                "{delay} samples, blocks of {block_len}: off by {error}"
            );
            assert_eq!(found.polarity, Polarity::Normal);
        }
    }
}

/// CHECKS TDE-2: rms errors of 60 records of 16384 samples of white noise, both channels noisy: .0012 samples at 30 dB,
/// .0015 at 20, .0026 at 10, .0093 at 0, .022 at −5 dB, no outliers. Held within a factor 1.5.
#[test]
fn errors_in_noise_are_the_published_ones() {
    for (snr_db, published) in [
        (30.0, 0.0012),
        (20.0, 0.0015),
        (10.0, 0.0026),
        (0.0, 0.0093),
        (-5.0, 0.022),
    ] {
        let mut squares = 0.0;
        for record in 0..60u64 {
            let mut rng = Rng::new(1000 + record);
            let delay = 7.0 + 0.0517 * record as f64;
            let x = tones::white_noise(RECORD, 1.0, 77 + record);
            let noise = mean_power(&x).sqrt() * amplitude(-snr_db);
            let y = delayed_circular(&x, delay);
            let mut noisy = |channel: &[f64], gain: f64| -> Vec<f64> {
                channel
                    .iter()
                    .map(|s| gain * (s + noise * rng.gaussian()))
                    .collect()
            };
            let (left, right) = (noisy(&x, 0.1), noisy(&y, -0.1));
            let found = find(&left, &right, BLOCK).unwrap();
            let error = found.delay_s * RATE_HZ - delay;
            assert!(error.abs() < 0.5, "{snr_db} dB: an outlier, {error}");
            assert_eq!(found.polarity, Polarity::Flipped);
            squares += error * error;
        }
        let rms = (squares / 60.0).sqrt();
        assert!(rms < 1.5 * published, "{snr_db} dB: {rms} instead of {published}");
    }
}

/// CHECKS TDE-3: inverted and 7.3 samples late: 7.299, sign −1.
#[test]
fn inverted_and_late_are_found_together() {
    let x = tones::white_noise(RECORD, 0.1, 5);
    for (delay, late) in [(7.3, "right"), (-7.3, "left")] {
        let y: Vec<f64> = delayed_circular(&x, delay).iter().map(|s| -s).collect();
        let found = find(&x, &y, 8192).unwrap();
        assert!(
            (found.delay_s * RATE_HZ - delay).abs() < 0.01,
            "{late} late: {found:?}"
        );
        assert_eq!(found.polarity, Polarity::Flipped);
    }
}

/// CHECKS TDE-4: a sine has no single delay, whatever the phase between the channels.
#[test]
fn a_pure_sine_has_no_single_delay() {
    for hz in [25.0, 40.0, 82.4, 440.0, 1000.0, 1003.3, 9000.0] {
        for phase in [0.0, -0.7, 2.0] {
            let left = tones::sine(48_000, RATE_HZ, hz, 0.5, 0.0);
            let right = tones::sine(48_000, RATE_HZ, hz, 0.5, phase);
            assert_eq!(find(&left, &right, 8192), None, "{hz} Hz, {phase} rad");
        }
    }
}

#[test]
fn unrelated_channels_have_no_single_delay() {
    for seed in 0..10 {
        let (left, right) = (
            tones::white_noise(96_000, 0.1, seed),
            tones::white_noise(96_000, 0.1, 100 + seed),
        );
        assert_eq!(find(&left, &right, 8192), None, "draw {seed}");
    }
}
