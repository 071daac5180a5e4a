//! Correlation: definitions, identities and the effect of chance.

use crate::support::{RATE_HZ, check, dot, mix, moments, orthogonal, scaled, sums, take, white};
use sumproof_core::dsp::db;
use sumproof_core::routing::feed::FeedId;
use sumproof_core::score::rig::Rig;
use sumproof_core::session::monitor::Monitor;
use sumproof_core::session::reading::Reading;
use sumproof_core::session::span::Over;
use sumproof_core::spectrum::bands::BandMap;
use sumproof_core::spectrum::welch::spectrum_of;
use sumproof_signals::{Stereo, delay, tones, truth};
use sumproof_wording::Name;

/// COR-1. Two sines of equal frequency and whole periods: ρ = cos φ (derivation).
#[test]
fn cor_1_sines_correlate_as_the_cosine_of_their_phase() {
    let left = tones::sine(48_000, RATE_HZ, 1000.0, 0.5, 0.0);
    for (degrees, rho) in [
        (0.0f64, 1.0),
        (30.0, 3f64.sqrt() / 2.0),
        (45.0, 0.5f64.sqrt()),
        (60.0, 0.5),
        (90.0, 0.0),
        (120.0, -0.5),
        (180.0, -1.0),
    ] {
        let right = tones::sine(48_000, RATE_HZ, 1000.0, 0.3, degrees.to_radians());
        let exact = sums(&left, &right).correlation().unwrap();
        check(format!("ρ at {degrees}°"), exact, rho, 1e-6);
        // And from the averaged spectrum: the real part of the cross term over all bins.
        let (_, spectrum) = spectrum_of(&left, &right, RATE_HZ, 8192);
        let (ll, rr) = spectrum.powers();
        let cross: f64 = spectrum.lr.iter().map(|c| c.re).sum();
        check(
            format!("spectral ρ at {degrees}°"),
            cross / (ll * rr).sqrt(),
            rho,
            1e-6,
        );
    }
}

/// COR-2. L = M + S, R = M − S, unrelated: ρ = (P_M − P_S)/(P_M + P_S) (derivation; table computed with numpy, printed
/// to four and three digits).
#[test]
fn cor_2_middle_and_side() {
    let middle = white(100_000, 1);
    let side = orthogonal(&middle, &white(100_000, 2));
    for (ratio_db, rho, difference_db) in [
        (-20.0, 0.9802, -0.043),
        (-10.0, 0.8182, -0.414),
        (-6.0, 0.5985, -0.973),
        (-3.0, 0.3323, -1.764),
        (0.0, 0.0, -3.010),
        (3.0, -0.3323, -4.764),
        (6.0, -0.5985, -6.973),
        (10.0, -0.8182, -10.414),
    ] {
        let gain = db::to_amplitude(ratio_db);
        let pair = sums(&mix(1.0, &middle, gain, &side), &mix(1.0, &middle, -gain, &side));
        check(
            format!("ρ at {ratio_db} dB"),
            pair.correlation().unwrap(),
            rho,
            5.1e-5,
        );
        check(
            format!("sum difference at {ratio_db} dB"),
            pair.sum_difference_db().unwrap(),
            difference_db,
            5.1e-4,
        );
    }
}

/// COR-3. For any pair: the sum difference is 10·log10((1 + ρ·2√(P_L·P_R)/(P_L + P_R))/2), and the sum and the flipped
/// difference as powers add up to 1, to 1e-9; per band too (derivation).
#[test]
fn cor_3_sum_and_flipped_sum_add_up_to_one() {
    for seed in 1..=20 {
        let common = white(30_000, seed);
        let gain = db::to_amplitude(seed as f64 * 2.0 - 20.0);
        let left = mix(1.0, &common, 0.7, &white(30_000, 100 + seed));
        let right = scaled(
            gain,
            &mix((seed as f64).cos(), &common, 0.4, &white(30_000, 200 + seed)),
        );
        let pair = sums(&left, &right);
        let (pl, pr) = pair.powers();
        let rho = pair.correlation().unwrap();
        let difference_db = pair.sum_difference_db().unwrap();
        check(
            format!("identity, pair {seed}"),
            difference_db,
            db::from_power((1.0 + rho * 2.0 * (pl * pr).sqrt() / (pl + pr)) / 2.0),
            1e-9,
        );
        check(
            format!("both sums, pair {seed}"),
            db::to_power(difference_db) + db::to_power(pair.flipped_difference_db().unwrap()),
            1.0,
            1e-9,
        );
        let (grid, spectrum) = spectrum_of(&left, &right, RATE_HZ, 8192);
        let map = BandMap::thirds(&grid);
        for band in 0..map.len() {
            let reading = spectrum.band(&grid, &map, band);
            let both = db::to_power(reading.sum_difference_db().unwrap())
                + db::to_power(reading.flipped_difference_db().unwrap());
            check(format!("band {band}, pair {seed}"), both, 1.0, 1e-9);
        }
        // The same bands as a take keeps them.
        let stored = take(&Stereo::new(scaled(0.05, &left), scaled(0.05, &right)), RATE_HZ);
        for feed in sumproof_report::report(&stored, &Rig::default()).bands {
            let both = db::to_power(feed.sum_difference_db.unwrap())
                + db::to_power(feed.flipped_sum_difference_db.unwrap());
            // Printed to a millionth of a decibel.
            check(
                format!("stored band at {} Hz, pair {seed}", feed.nominal_hz),
                both,
                1.0,
                1e-6,
            );
        }
    }
}

/// COR-4. A pad on one channel leaves ρ unchanged but changes the sum: 20·log10((1+k)/2) − 10·log10((1+k²)/2) against
/// the stereo power after the fault, 20·log10((1+k)/2) against the intended mono sum (derivation; tolerance 0.01 dB).
#[test]
fn cor_4_correlation_cannot_see_a_pad_or_a_lost_line() {
    let left = white(100_000, 3);
    for (pad_db, after_fault_db, against_intended_db) in [(-15.0, -1.72, -4.60), (-20.0, -2.23, -5.19)] {
        let pair = sums(&left, &scaled(db::to_amplitude(pad_db), &left));
        check(
            format!("ρ with {pad_db} dB"),
            pair.correlation().unwrap(),
            1.0,
            1e-12,
        );
        check(
            format!("sum difference with {pad_db} dB"),
            pair.sum_difference_db().unwrap(),
            after_fault_db,
            0.01,
        );
        check(
            "level difference",
            pair.level_difference_db().unwrap(),
            -pad_db,
            1e-9,
        );
        let k = db::to_amplitude(pad_db);
        check(
            "against the intended sum",
            20.0 * ((1.0 + k) / 2.0).log10(),
            against_intended_db,
            0.01,
        );
    }
    let lost = sums(&left, &vec![0.0; left.len()]);
    assert_eq!(lost.correlation(), None, "a dead channel has no correlation");
    check("a line lost", lost.sum_difference_db().unwrap(), -3.01, 0.01);
    assert_eq!(lost.level_difference_db(), Some(f64::INFINITY));

    // The board agrees for a padded and an unplugged line, with the fader's gain shown separately.
    let equal = take(&Stereo::dual_mono(&scaled(0.05, &left)), RATE_HZ);
    let rows = equal.rows(&Rig::default(), 0.0);
    for (id, against_intended_db) in [
        (FeedId::WedgeLinePadded, -5.19),
        (FeedId::WedgeLineUnplugged, -6.02),
    ] {
        let score = rows.iter().find(|row| row.id == id).unwrap().score.unwrap();
        check(
            id.name(),
            score.total_against_mono_db.unwrap() - score.makeup_db,
            against_intended_db,
            0.01,
        );
        check(id.name(), score.total_against_mono_db.unwrap(), 0.0, 0.001);
    }
}

/// COR-5. White noise against itself d ≥ 1 samples later: 0. Noise limited to 0…B: sin(2πBτ)/(2πBτ) (Bendat & Piersol,
/// Random Data, 4th ed., eq. 8.120). Tolerance: four standard deviations of COR-6.
#[test]
fn cor_5_a_delay_decorrelates() {
    let len = 400_000;
    let noise = white(len, 4);
    for delay in [1usize, 2, 7, 48, 1000] {
        let pair = sums(&noise[delay..], &noise[..len - delay]);
        let spread = 1.0 / (len as f64).sqrt();
        check(
            format!("{delay} samples"),
            pair.correlation().unwrap(),
            0.0,
            4.0 * spread,
        );
    }
    let band_hz = 2000.0;
    let limited = truth::band_limited(&Stereo::dual_mono(&noise), 0.0, band_hz, RATE_HZ).left;
    for delay_s in [0.00005, 0.0001, 0.0002, 0.00025, 0.0004, 0.000_625, 0.001] {
        let late = delay::delayed_circular(&limited, delay_s * RATE_HZ);
        let turn = std::f64::consts::TAU * band_hz * delay_s;
        let rho = sums(&limited[5000..len - 5000], &late[5000..len - 5000])
            .correlation()
            .unwrap();
        let spread = 1.0 / (2.0 * band_hz * len as f64 / RATE_HZ).sqrt();
        check(
            format!("{delay_s} s in {band_hz} Hz"),
            rho,
            turn.sin() / turn,
            4.0 * spread,
        );
    }
}

/// COR-6. The standard deviation of ρ of unrelated noise is 1/√(2BT) (textbook): a 1 kHz 1/3 octave for 0.4 s 0.074, a
/// 100 Hz one for 3 s 0.085, a 20 Hz one for 3 s 0.19, for 0.4 s 0.52. The general form √(1+ρ⁻²)/√(2BT) of the cross
/// power gives 0.349 for B = 100 Hz, T = 5 s, ρ = 1/11 (Bendat & Piersol, 4th ed., example 8.5 prints 0.35). Monte
/// Carlo of 2000; tolerance 6 % (3.5 standard deviations of the Monte Carlo).
#[test]
fn cor_6_what_chance_does_to_a_short_band() {
    // Noise that fills 0…B is white at a rate of 2B: T seconds are 2BT samples.
    for (band_hz, seconds, spread) in [(230.768, 0.4, 0.074), (23.0768, 3.0, 0.085), (4.604, 3.0, 0.19)] {
        let len = (2.0f64 * band_hz * seconds).round() as usize;
        let trials: Vec<f64> = (0..2000)
            .map(|trial| {
                sums(&white(len, trial), &white(len, 10_000 + trial))
                    .correlation()
                    .unwrap()
            })
            .collect();
        let (mean, found) = moments(&trials);
        check(
            format!("{band_hz} Hz for {seconds} s, mean"),
            mean,
            0.0,
            4.0 * spread / 2000f64.sqrt(),
        );
        check(
            format!("{band_hz} Hz for {seconds} s"),
            found,
            spread,
            0.06 * spread,
        );
    }
    // ρ = 1/11: a common signal of a tenth of the noise's power.
    let len = 2 * 100 * 5;
    let common = db::to_amplitude(-10.0);
    let products: Vec<f64> = (0..2000)
        .map(|trial| {
            let signal = white(len, trial);
            let left = mix(common, &signal, 1.0, &white(len, 20_000 + trial));
            let right = mix(common, &signal, 1.0, &white(len, 40_000 + trial));
            dot(&left, &right)
        })
        .collect();
    let (mean, spread) = moments(&products);
    check("example 8.5", spread / mean, 0.349, 0.06 * 0.349);
}

/// COR-6 again, as in the window: the spread shown with each band is the scatter of unrelated noise.
#[test]
fn cor_6_the_spread_shown_is_the_scatter_found() {
    let mut reading = Reading::default();
    let mut scatter: Vec<f64> = Vec::new();
    for seed in 0..12 {
        for integration_s in [0.3, 1.0] {
            let mut monitor = Monitor::new(RATE_HZ);
            monitor.set_over(Over::Seconds(integration_s));
            let single = |seed| {
                white(240_000, seed)
                    .iter()
                    .map(|&x| 0.05 * x as f32)
                    .collect::<Vec<_>>()
            };
            monitor.push(&single(seed), &single(500 + seed));
            monitor.read(FeedId::MonoWedge, &mut reading);
            for band in &reading.bands[..reading.band_count] {
                scatter.push(f64::from(band.correlation.unwrap() / band.spread));
            }
        }
    }
    let (mean, spread) = moments(&scatter);
    check("mean", mean, 0.0, 0.15);
    check("scatter over spread", spread, 1.0, 0.12);
}
