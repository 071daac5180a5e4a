//! 1/3-octave bands: IEC 61260-1:2014 (base 10) with ISO 266:1997 nominal frequencies. They are sums over FFT bins, not
//! a class 1 filter bank.

use crate::support::{RATE_HZ, check, level_spectrum, white};
use sumproof_core::Complex;
use sumproof_core::dsp::db;
use sumproof_core::spectrum::bands::{Band, BandMap};
use sumproof_core::spectrum::grid::Grid;
use sumproof_core::spectrum::welch::spectrum_of;
use sumproof_signals::tones;

/// Nominal: exact middle, lower and upper edge, Hz, from fm = 1000·G^(x/3), G = 10^(3/10).
const TABLE: [(f64, f64, f64, f64); 31] = [
    (20.0, 19.9526, 17.7828, 22.3872),
    (25.0, 25.1189, 22.3872, 28.1838),
    (31.5, 31.6228, 28.1838, 35.4813),
    (40.0, 39.8107, 35.4813, 44.6684),
    (50.0, 50.1187, 44.6684, 56.2341),
    (63.0, 63.0957, 56.2341, 70.7946),
    (80.0, 79.4328, 70.7946, 89.1251),
    (100.0, 100.0, 89.1251, 112.2018),
    (125.0, 125.8925, 112.2018, 141.2538),
    (160.0, 158.4893, 141.2538, 177.8279),
    (200.0, 199.5262, 177.8279, 223.8721),
    (250.0, 251.1886, 223.8721, 281.8383),
    (315.0, 316.2278, 281.8383, 354.8134),
    (400.0, 398.1072, 354.8134, 446.6836),
    (500.0, 501.1872, 446.6836, 562.3413),
    (630.0, 630.9573, 562.3413, 707.9458),
    (800.0, 794.3282, 707.9458, 891.2509),
    (1000.0, 1000.0, 891.2509, 1122.0185),
    (1250.0, 1258.9254, 1122.0185, 1412.5375),
    (1600.0, 1584.8932, 1412.5375, 1778.2794),
    (2000.0, 1995.2623, 1778.2794, 2238.7211),
    (2500.0, 2511.8864, 2238.7211, 2818.3829),
    (3150.0, 3162.2777, 2818.3829, 3548.1339),
    (4000.0, 3981.0717, 3548.1339, 4466.8359),
    (5000.0, 5011.8723, 4466.8359, 5623.4133),
    (6300.0, 6309.5734, 5623.4133, 7079.4578),
    (8000.0, 7943.2823, 7079.4578, 8912.5094),
    (10_000.0, 10_000.0, 8912.5094, 11220.1845),
    (12_500.0, 12589.2541, 11220.1845, 14125.3754),
    (16_000.0, 15848.9319, 14125.3754, 17782.7941),
    (20_000.0, 19952.6231, 17782.7941, 22387.2114),
];

/// All 31 bands, resolved, on a take's cells.
fn stored_bands(rate_hz: f64) -> (Grid, BandMap) {
    let grid = Grid::twenty_fourth_octave(rate_hz);
    let map = BandMap::thirds(&grid);
    (grid, map)
}

#[test]
fn the_table_of_the_standard() {
    let (_, map) = stored_bands(RATE_HZ);
    assert_eq!(map.len(), TABLE.len());
    for (band, (nominal, middle, lower, upper)) in map.bands().iter().zip(TABLE) {
        assert_eq!(band.nominal_hz, nominal);
        // Printed to four decimals.
        check(format!("{nominal} Hz, middle"), band.centre_hz(), middle, 5.1e-5);
        check(format!("{nominal} Hz, lower"), band.lower_hz, lower, 5.1e-5);
        check(format!("{nominal} Hz, upper"), band.upper_hz, upper, 5.1e-5);
    }
}

/// OCT-1: the edges are contiguous to 1e-12. OCT-2: the relative bandwidth is 0.230768 (both derivations from the
/// standard's formula).
#[test]
fn oct_1_and_2_edges_and_bandwidth() {
    let (_, map) = stored_bands(RATE_HZ);
    for pair in map.bands().windows(2) {
        check("edge", pair[0].upper_hz / pair[1].lower_hz, 1.0, 1e-12);
    }
    for band in map.bands() {
        check(
            "relative bandwidth",
            band.width_hz() / band.centre_hz(),
            0.230_768,
            1e-6,
        );
    }
}

/// OCT-3. White noise rises by exactly 1.000 dB from band to band, pink noise is level (derivation).
#[test]
fn oct_3_white_and_pink() {
    let fft = Grid::fft(RATE_HZ, 32_768);
    for (what, grid) in [("take", stored_bands(RATE_HZ).0), ("FFT", fft)] {
        let map = BandMap::thirds(&grid);
        let edges = grid.edges_hz();
        let white = |k: usize| edges[k + 1] - edges[k];
        // A cell on an edge is shared in proportion to its width, which is exact for white noise; so pink noise is
        // exactly level only where cells and bands end together.
        let pink = |k: usize| {
            if edges[k] > 0.0 {
                (edges[k + 1] / edges[k]).ln()
            } else {
                0.0
            }
        };
        for band in 1..map.len() {
            let step = |power: &dyn Fn(usize) -> f64| {
                db::from_power(map.sum(band, power) / map.sum(band - 1, power))
            };
            check(format!("white, {what}, {band}"), step(&white), 1.000, 0.0005);
            let tolerance = if what == "take" { 1e-9 } else { 0.02 };
            check(format!("pink, {what}, {band}"), step(&pink), 0.000, tolerance);
        }
    }
}

/// OCT-4. The bands add up to the power between 17.78 Hz and 22.39 kHz, to 0.01 dB (Parseval): here of noise without
/// power outside, against its mean square.
#[test]
fn oct_4_the_bands_add_up() {
    let noise = white(480_000, 3);
    let limited = sumproof_signals::truth::band_limited(
        &sumproof_signals::Stereo::dual_mono(&noise),
        30.0,
        22_000.0,
        RATE_HZ,
    );
    let (grid, spectrum) = spectrum_of(&limited.left, &limited.right, RATE_HZ, 32_768);
    let map = BandMap::thirds(&grid);
    let bands: f64 = (0..map.len()).map(|band| map.sum(band, |k| spectrum.ll[k])).sum();
    let mean_square = crate::support::dot(&limited.left, &limited.left) / limited.len() as f64;
    check("sum of the bands", db::from_power(bands / mean_square), 0.0, 0.01);
}

/// OCT-5. The 20 Hz band is 4.604 Hz wide: three bins of it need N ≥ 31 275 at 48 kHz (derivation; in round figures 4.6
/// Hz and 31 250); narrower bands are merged, never shown as if resolved.
#[test]
fn oct_5_bands_too_narrow_to_resolve_are_merged() {
    let first = |len: usize| BandMap::thirds(&Grid::fft(RATE_HZ, len)).bands()[0];
    assert!(!first(32_768).is_merged());
    assert!(!first(31_280).is_merged() && first(31_240).is_merged());
    assert!(first(16_384).is_merged() && first(8192).is_merged());
    check("width", first(32_768).width_hz(), 4.6, 0.01);
    for len in [2048, 8192, 16_384, 32_768] {
        for band in BandMap::thirds(&Grid::fft(RATE_HZ, len)).bands() {
            assert!(band.width_hz() >= 3.0 * RATE_HZ / len as f64, "{band:?} of {len}");
        }
    }
}

/// OCT-6. A sine at a band's middle is in that band alone: less than −60 dB in any other (from 200 Hz with blocks of 65
/// 536 under a Hann window). Half the sample rate inside a band marks it as partial: at 44.1 kHz the 20 kHz band ends
/// at 22 050 instead of 22 387 Hz.
#[test]
fn oct_6_a_sine_is_in_its_band_alone() {
    let len = 480_000;
    for hz in [199.5262, 1000.0, 3162.2777, 10_000.0] {
        // Faded in and out over a second: a hard edge is a click with power in every band.
        let fade = |n: usize| {
            let edge = n.min(len - 1 - n) as f64 / RATE_HZ;
            0.5 - 0.5 * (std::f64::consts::PI * edge.min(1.0)).cos()
        };
        let sine: Vec<f64> = tones::sine(len, RATE_HZ, hz, 0.5, 0.3)
            .iter()
            .enumerate()
            .map(|(n, x)| x * fade(n))
            .collect();
        let (grid, spectrum) = spectrum_of(&sine, &sine, RATE_HZ, 65_536);
        let map = BandMap::thirds(&grid);
        let power = |band: usize| map.sum(band, |k| spectrum.ll[k]);
        let inside = |band: &Band| (band.lower_hz..band.upper_hz).contains(&hz);
        let whole: f64 = spectrum.powers().0;
        for (index, band) in map.bands().iter().enumerate() {
            let level = db::from_power(power(index) / whole);
            if inside(band) {
                check(format!("{hz} Hz in its band"), level, 0.0, 0.001);
            } else {
                assert!(
                    level < -60.0,
                    "{hz} Hz at {level} dB in the band at {} Hz",
                    band.nominal_hz
                );
            }
        }
    }
    let (_, map) = stored_bands(44_100.0);
    let last = map.bands().last().unwrap();
    assert!(last.partial && last.upper_hz == 22_050.0 && last.nominal_hz == 20_000.0);
    let grid = Grid::fft(44_100.0, 8192);
    let spectrum = level_spectrum(&grid, 1.0, 1.0, Complex::new(0.0, 0.0));
    let map = BandMap::thirds(&grid);
    let expected = (22_050.0 - 17_782.794) / (44_100.0 / 8192.0);
    // The last bin is half as wide as the others and holds as much here.
    check(
        "a partial band's share",
        map.sum(map.len() - 1, |k| spectrum.ll[k]),
        expected,
        0.6,
    );
}
