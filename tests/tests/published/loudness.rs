//! Level in LU: the K-weighting of ITU-R BS.1770-5 Annex 1, its blindness to polarity, and how a mono feed is counted.

use crate::support::{RATE_HZ, check, scaled, take};
use sumproof_core::dsp::{db, k_weighting};
use sumproof_core::routing::feed::FeedId;
use sumproof_core::score::rig::Rig;
use sumproof_core::score::scorer::FeedScore;
use sumproof_core::spectrum::welch::spectrum_of;
use sumproof_signals::{Stereo, tones};

/// Combined magnitude of the two filters at 48 kHz, dB, tolerance 0.001 (coefficients of ITU-R BS.1770-5 Annex 1,
/// tables 1 and 2; magnitudes computed from them with scipy).
#[test]
fn the_k_weighting_at_48_khz() {
    for (hz, expected_db) in [
        (20.0, -13.275),
        (25.0, -10.393),
        (31.5, -7.790),
        (50.0, -3.934),
        (100.0, -1.133),
        (200.0, -0.265),
        (500.0, 0.042),
        (997.0, 0.691),
        (1_000.0, 0.698),
        (2_000.0, 3.071),
        (4_000.0, 3.968),
        (8_000.0, 4.039),
        (10_000.0, 4.042),
        (16_000.0, 4.043),
    ] {
        check(
            format!("{hz} Hz"),
            db::from_power(k_weighting::power(hz, RATE_HZ)),
            expected_db,
            0.001,
        );
    }
}

/// Loudness of a stationary pair, LKFS, from its spectrum: −0.691 + 10·log10 of the K-weighted powers of both channels
/// (ITU-R BS.1770-5 Annex 1; the gates don't affect a stationary sound).
fn loudness(left: &[f64], right: &[f64], rate_hz: f64) -> f64 {
    let (grid, spectrum) = spectrum_of(left, right, rate_hz, 8192);
    let power: f64 = (0..grid.len())
        .map(|k| k_weighting::power(grid.centres_hz()[k], rate_hz) * (spectrum.ll[k] + spectrum.rr[k]))
        .sum();
    -0.691 + db::from_power(power)
}

/// 1770-a. 997 Hz at 0 dBFS in the left channel alone reads −3.01 LKFS (ITU-R BS.1770-5 Annex 1); ±0.01 at 48 kHz,
/// ±0.03 at other rates, where the bilinear image of the shelf is a little off.
#[test]
fn loudness_of_997_hz_in_one_channel() {
    for (rate_hz, tolerance) in [
        (44_100.0, 0.03),
        (48_000.0, 0.01),
        (96_000.0, 0.03),
        (192_000.0, 0.03),
    ] {
        let len = (20.0 * rate_hz) as usize;
        let sine = tones::sine(len, rate_hz, 997.0, 1.0, 0.0);
        let silence = vec![0.0; len];
        check(
            format!("left at {rate_hz} Hz"),
            loudness(&sine, &silence, rate_hz),
            -3.01,
            tolerance,
        );
        // 1770-b: the right channel counts equally.
        check(
            format!("right at {rate_hz} Hz"),
            loudness(&silence, &sine, rate_hz),
            -3.01,
            tolerance,
        );
        check(
            format!("both at {rate_hz} Hz"),
            loudness(&sine, &sine, rate_hz),
            0.0,
            tolerance,
        );
        check(
            format!("one flipped at {rate_hz} Hz"),
            loudness(&sine, &scaled(-1.0, &sine), rate_hz),
            0.0,
            tolerance,
        );
    }
}

/// The score of a feed for two sines of 1 kHz at −23 dBFS (peak) with a phase between them.
fn scores(degrees: f64) -> impl Fn(FeedId) -> FeedScore {
    let amplitude = db::to_amplitude(-23.0);
    let left = tones::sine(960_000, RATE_HZ, 1000.0, amplitude, 0.0);
    let right = if degrees == 180.0 {
        scaled(-1.0, &left)
    } else {
        tones::sine(960_000, RATE_HZ, 1000.0, amplitude, degrees.to_radians())
    };
    let rows = take(&Stereo::new(left, right), RATE_HZ).rows(&Rig::default(), 0.0);
    move |id| rows.iter().find(|row| row.id == id).unwrap().score.unwrap()
}

/// 1770-b. Stereo loudness is blind to polarity; the mono reading is what changes (derivation).
#[test]
fn stereo_loudness_is_blind_to_polarity() {
    for degrees in [0.0, 90.0, 180.0] {
        check(
            format!("stereo house, {degrees}°"),
            scores(degrees)(FeedId::StereoHouse).level_lu,
            0.0,
            0.01,
        );
    }
    assert_eq!(scores(180.0)(FeedId::MonoWedge).level_lu, f64::NEG_INFINITY);
    check(
        "flipped back",
        scores(180.0)(FeedId::WedgeLineFlipped).level_lu,
        0.0,
        0.01,
    );
}

/// 1770-c. A mono feed is counted as played by both loudspeakers (dual mono), otherwise it would read 3.01 LU too low.
/// Stereo and dual mono of the sum of 1 kHz at −23 dBFS: in phase −22.993 and −22.993, 90° −26.004, 120° −29.014,
/// inverted −∞ LUFS (computed with libebur128); 1770-d: their difference is 10·log10((1 + cos φ)/2) (derivation).
/// Tolerance 0.01 LU.
#[test]
fn a_mono_feed_counts_as_played_by_both_loudspeakers() {
    let amplitude = db::to_amplitude(-23.0);
    let sine = tones::sine(960_000, RATE_HZ, 1000.0, amplitude, 0.0);
    let stereo_lufs = loudness(&sine, &sine, RATE_HZ);
    check("stereo", stereo_lufs, -22.993, 0.01);
    for (degrees, dual_mono_lufs) in [(0.0f64, -22.993), (90.0, -26.004), (120.0, -29.014)] {
        let level_lu = scores(degrees)(FeedId::MonoWedge).level_lu;
        check(
            format!("{degrees}°"),
            stereo_lufs + level_lu,
            dual_mono_lufs,
            0.01,
        );
        let difference = db::from_power((1.0 + degrees.to_radians().cos()) / 2.0);
        check(format!("{degrees}°, closed form"), level_lu, difference, 0.01);
    }
    // One line of two equal ones is as loud as both in stereo, not 3.01 LU softer.
    check(
        "left line only",
        scores(0.0)(FeedId::LeftLineOnly).level_lu,
        0.0,
        0.01,
    );
}

/// EBU Tech 3341 (2023), table 1, cases 1 and 2: a stereo sine of 1 kHz at −23.0 and at −33.0 dBFS per channel reads
/// the same number, ±0.1 LU. Gating doesn't affect a steady tone, so a take's ungated loudness is the same.
#[test]
fn loudness_of_a_take() {
    for dbfs in [-23.0, -33.0] {
        let amplitude = 10f64.powf(dbfs / 20.0);
        let sine = tones::sine((20.0 * RATE_HZ) as usize, RATE_HZ, 1000.0, amplitude, 0.0);
        let pair = Stereo {
            left: sine.clone(),
            right: sine,
        };
        check(
            format!("a take at {dbfs} dBFS"),
            take(&pair, RATE_HZ).ungated_lufs(),
            dbfs,
            0.1,
        );
    }
}
