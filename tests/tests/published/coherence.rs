//! Coherence: the bias of few averages, known signal-to-noise ratios, the effect of delay, gain and polarity.

use crate::support::{RATE_HZ, check, mix, moments, scaled, white};
use sumproof_core::dsp::db;
use sumproof_core::dsp::samples::Cleaner;
use sumproof_core::spectrum::bands::BandMap;
use sumproof_core::spectrum::cross_spectrum::{CrossSpectrum, unbiased_coherence};
use sumproof_core::spectrum::welch::{Average, Blocks, spectrum_of};

/// Averages every `every`-th block of a pair, from the first that lies wholly in it, up to `count`.
fn averaged(
    left: &[f64],
    right: &[f64],
    block_len: usize,
    every: usize,
    count: usize,
) -> (CrossSpectrum, f64) {
    let mut blocks = Blocks::new(block_len);
    let mut average = Average::take(block_len);
    let (mut number, mut taken) = (0usize, 0usize);
    Cleaner::default().runs(left, right, |run| {
        blocks.push(run, |block| {
            // The first three reach back into the silence before the start.
            if number >= 3 && (number - 3) % every == 0 && taken < count {
                average.add(block);
                taken += 1;
            }
            number += 1;
        });
    });
    assert_eq!(taken, count, "the record is too short");
    let mut spectrum = CrossSpectrum::silent(block_len / 2 + 1);
    average.read(&mut spectrum);
    (spectrum, average.averages())
}

/// Raw magnitude-squared coherence per bin, without the outermost bins.
fn raw_coherence(spectrum: &CrossSpectrum) -> Vec<f64> {
    (2..spectrum.len() - 2)
        .map(|k| spectrum.lr[k].norm_sqr() / (spectrum.ll[k] * spectrum.rr[k]))
        .collect()
}

/// COH-1. Mean of the estimate from n independent segments (Carter, Knapp & Nuttall 1973, IEEE Trans. Audio
/// Electroacoust. AU-21(4); bias (1−C)²/n·(1+2C/n) from memory, means by Monte Carlo with numpy): tolerance three to
/// four standard deviations of this Monte Carlo.
#[test]
fn coh_1_the_bias_of_few_averages() {
    let block = 256;
    for (averages, coherence, mean) in [
        (8, 0.0, 0.1252),
        (8, 0.25, 0.3248),
        (8, 0.5, 0.5356),
        (8, 0.9, 0.9013),
        (16, 0.0, 0.0625),
        (16, 0.5, 0.5165),
        (32, 0.0, 0.0312),
        (32, 0.5, 0.5071),
        (64, 0.0, 0.0157),
    ] {
        let mut all = Vec::new();
        for trial in 0..60u64 {
            let len = block * (averages + 1);
            let common = white(len, trial);
            // y = √C·x + √(1−C)·n has coherence C with x.
            let other = mix(
                f64::sqrt(coherence),
                &common,
                f64::sqrt(1.0 - coherence),
                &white(len, 1000 + trial),
            );
            all.extend(raw_coherence(&averaged(&common, &other, block, 4, averages).0));
        }
        let (found, spread) = moments(&all);
        let n = averages as f64;
        let what = format!("C {coherence} from {averages}");
        check(&what, found, mean, 0.006);
        let bias = (1.0 - coherence).powi(2) / n * (1.0 + 2.0 * coherence / n);
        check(format!("{what}, bias"), found - coherence, bias, 0.006);
        if coherence == 0.0 {
            check(format!("{what}, exact mean"), found, 1.0 / n, 0.05 / n);
            let variance = (n - 1.0) / (n * n * (n + 1.0));
            check(
                format!("{what}, variance"),
                spread * spread,
                variance,
                0.1 * variance,
            );
            // The shown coherence is unbiased here: before clamping at zero its mean is 0.
            check(
                format!("{what}, corrected"),
                (n * found - 1.0) / (n - 1.0),
                0.0,
                0.05 / n,
            );
        }
        if averages == 8 && coherence == 0.25 {
            // The large-n formula 2C(1−C)²/n is 17 % high here: Monte Carlo with numpy gave 0.0299.
            check(format!("{what}, variance"), spread * spread, 0.0299, 0.0025);
        }
    }
}

/// COH-1. Two unrelated noises under a Hann window: 32 separate segments 0.031 ± 0.002; the same record with blocks
/// overlapping by half (63) 0.0166, by three quarters (125) 0.0153, which amounts to 65 averages (Carter, Knapp &
/// Nuttall 1973 for the first; scipy for the others).
#[test]
fn coh_1_overlap_beyond_half_buys_nothing() {
    let block = 1024;
    let (mut separate, mut halves, mut quarters) = (Vec::new(), Vec::new(), Vec::new());
    let mut amounts_to = 0.0;
    for trial in 0..40 {
        let len = block * 33;
        let (left, right) = (white(len, trial), white(len, 700 + trial));
        separate.extend(raw_coherence(&averaged(&left, &right, block, 4, 32).0));
        halves.extend(raw_coherence(&averaged(&left, &right, block, 2, 63).0));
        let (spectrum, averages) = averaged(&left, &right, block, 1, 125);
        quarters.extend(raw_coherence(&spectrum));
        amounts_to = averages;
    }
    check("separate", moments(&separate).0, 0.031, 0.002);
    check("half", moments(&halves).0, 0.0166, 0.001);
    check("three quarters", moments(&quarters).0, 0.0153, 0.001);
    check("125 blocks amount to", amounts_to, 65.0, 1.0);
    check(
        "which is what they do",
        1.0 / moments(&quarters).0,
        amounts_to,
        2.0,
    );
}

/// COH-1. A single block has a coherence of 1 everywhere, which means nothing (derivation): there is no reading then.
#[test]
fn coh_1_one_average_says_nothing() {
    let (spectrum, _) = averaged(&white(2048, 1), &white(2048, 2), 1024, 4, 1);
    assert!(raw_coherence(&spectrum).iter().all(|c| (c - 1.0).abs() < 1e-9));
    assert_eq!(unbiased_coherence(1.0, 1.0), 0.0);
    let grid = sumproof_core::spectrum::grid::Grid::fft(RATE_HZ, 1024);
    let map = BandMap::thirds(&grid);
    for band in 0..map.len() {
        assert_eq!(spectrum.band(&grid, &map, band).coherence, None);
    }
}

/// Coherence of every band from 200 Hz to 16 kHz.
fn band_coherence(left: &[f64], right: &[f64], block: usize) -> Vec<f64> {
    let (grid, spectrum) = spectrum_of(left, right, RATE_HZ, block);
    let map = BandMap::thirds(&grid);
    (0..map.len())
        .filter(|&band| (200.0..=16_000.0).contains(&map.bands()[band].nominal_hz))
        .map(|band| spectrum.band(&grid, &map, band).coherence.unwrap())
        .collect()
}

/// COH-2. y = 0.8·x + n, σ_n = 0.5: γ² = SNR/(1 + SNR) = 0.7191, tolerance 0.03 (Bendat & Piersol, 4th ed., eqs. 9.55
/// and 6.39). A common signal with equal unrelated noise in both channels, ratio r: (r/(1+r))² (derivation).
#[test]
fn coh_2_known_signal_to_noise_ratios() {
    let len = 960_000;
    let x = white(len, 1);
    let y = mix(0.8, &x, 0.5, &white(len, 2));
    for found in band_coherence(&x, &y, 8192) {
        check("0.8x + n", found, 0.7191, 0.03);
    }
    for (ratio_db, coherence) in [(10.0, 0.826), (0.0, 0.25), (-5.0, 0.058)] {
        let noise = db::to_amplitude(-ratio_db);
        let left = mix(1.0, &x, noise, &white(len, 3));
        let right = mix(1.0, &x, noise, &white(len, 4));
        for found in band_coherence(&left, &right, 8192) {
            check(format!("{ratio_db} dB"), found, coherence, 0.03);
        }
    }
}

/// COH-3. A delay of d in a Hann window of 4096 multiplies the coherence by the square of the window's autocorrelation
/// (derivation; computed with numpy): 64 0.997, 256 0.950, 512 0.814, 1024 0.437, 2048 0.035. Tolerance 0.01.
#[test]
fn coh_3_a_delay_in_the_window() {
    let len = 1_200_000;
    let noise = white(len, 5);
    for (delay, factor) in [
        (64, 0.997),
        (256, 0.950),
        (512, 0.814),
        (1024, 0.437),
        (2048, 0.035),
    ] {
        let (_, spectrum) = spectrum_of(&noise[delay..], &noise[..len - delay], RATE_HZ, 4096);
        let corrected: Vec<f64> = raw_coherence(&spectrum)
            .iter()
            .map(|&raw| unbiased_coherence(raw, spectrum.averages))
            .collect();
        check(format!("{delay} samples"), moments(&corrected).0, factor, 0.01);
        let window = sumproof_core::spectrum::welch::window_autocorrelation(delay as f64 / 4096.0);
        // In closed form the last two are 0.4345 and 1/36: numpy's values include the bias of its averages.
        check(format!("{delay} samples, window"), window * window, factor, 0.008);
    }
}

/// COH-4. Polarity, gain and a short delay of one channel change the correlation, but not the coherence (derivation).
#[test]
fn coh_4_coherence_does_not_see_polarity_gain_or_a_short_delay() {
    let len = 960_000;
    let common = white(len, 6);
    let left = mix(1.0, &common, 0.3, &white(len, 7));
    let right = mix(1.0, &common, 0.3, &white(len, 8));
    let plain = band_coherence(&left, &right, 8192);
    let correlation = |right: &[f64]| {
        crate::support::sums(&left[..len - 48], &right[..len - 48])
            .correlation()
            .unwrap()
    };
    let rho = correlation(&right);
    let late: Vec<f64> = std::iter::repeat_n(0.0, 24)
        .chain(right.iter().copied())
        .take(len)
        .collect();
    for (what, changed, expected) in [
        ("flipped", scaled(-1.0, &right), -rho),
        ("padded", scaled(0.25, &right), rho),
        ("late", late, 0.0),
    ] {
        for (now, before) in band_coherence(&left, &changed, 8192).iter().zip(&plain) {
            check(format!("{what}, coherence"), *now, *before, 0.01);
        }
        check(
            format!("{what}, correlation"),
            correlation(&changed),
            expected,
            0.01,
        );
    }
}
