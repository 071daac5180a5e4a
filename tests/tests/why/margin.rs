//! The margin against closed forms (CHECKS 2 and 3: algebra, no source needed).

use sumproof_core::Complex;
use sumproof_core::dsp::db;
use sumproof_core::explain::margin::{DelayMargin, MAP_POINTS, Map, part_margin, restoring_offset};
use sumproof_core::routing::response::high_pass;
use sumproof_core::spectrum::cross_spectrum::CrossSpectrum;
use sumproof_core::spectrum::grid::Grid;

const RATE_HZ: f64 = 48_000.0;

fn grid() -> Grid {
    Grid::fft(RATE_HZ, 8192)
}

/// White channels whose cross term is `cross` at every frequency.
fn white(grid: &Grid, left: f64, right: f64, cross: Complex<f64>) -> CrossSpectrum {
    let mut spectrum = CrossSpectrum::silent(grid.len());
    spectrum.ll.fill(left);
    spectrum.rr.fill(right);
    spectrum.lr.fill(cross);
    spectrum.averages = 50.0;
    spectrum
}

/// The same in the bin nearest to a frequency only.
fn narrow(grid: &Grid, hz: f64, left: f64, right: f64, cross: Complex<f64>) -> CrossSpectrum {
    let mut spectrum = CrossSpectrum::silent(grid.len());
    let bin = (hz * 8192.0 / RATE_HZ).round() as usize;
    (spectrum.ll[bin], spectrum.rr[bin], spectrum.lr[bin]) = (left, right, cross);
    spectrum.averages = 50.0;
    spectrum
}

fn margin(spectrum: &CrossSpectrum, grid: &Grid, loss_db: f64) -> sumproof_core::explain::margin::PartMargin {
    part_margin(spectrum, grid, loss_db, -10.0).expect("there is sound")
}

/// SUM-3, last line: the flipped sum against the in-phase sum at a gain mismatch.
#[test]
fn null_depth_at_a_gain_mismatch() {
    let grid = grid();
    for (mismatch_db, expected) in [(0.1, -44.80), (0.5, -30.82), (1.0, -24.81), (3.0, -15.34)] {
        let gain = db::to_amplitude(mismatch_db);
        let map = margin(&white(&grid, gain * gain, 1.0, gain.into()), &grid, 2.0).map;
        let depth = f64::from(map.flipped_db[0] - map.straight_db[0]);
        assert!((depth - expected).abs() < 0.01, "{mismatch_db} dB: {depth}");
    }
}

/// SUM-4: the null of a phase error, against one line; one line lies 6.02 dB below the sum both are averaged to.
#[test]
fn null_depth_at_a_phase_error() {
    let grid = grid();
    for (degrees, expected) in [
        (0.5, -41.18),
        (1.0, -35.16),
        (2.0, -29.14),
        (5.0, -21.19),
        (10.0, -15.17),
        (30.0, -5.72),
    ] {
        let turned = Complex::from_polar(1.0, f64::to_radians(degrees));
        let map = margin(&white(&grid, 1.0, 1.0, turned), &grid, 2.0).map;
        let depth = f64::from(map.flipped_db[0]) + db::from_amplitude(2.0);
        assert!((depth - expected).abs() < 0.01, "{degrees} degrees: {depth}");
    }
}

/// SUM-5: notches at (2k+1)/2τ and peaks at k/τ, swapped when flipped; 0.5 ms: 1, 3, 5 kHz; 1 ms: 500, 1500, 2500 Hz.
#[test]
fn combs_have_their_teeth_where_they_should() {
    let grid = grid();
    for (delay_ms, notches) in [(0.5, [1000.0, 3000.0, 5000.0]), (1.0, [500.0, 1500.0, 2500.0])] {
        let point = (delay_ms * 10.0) as usize;
        assert!((Map::delay_s(point) - delay_ms / 1000.0).abs() < 1e-12);
        for hz in notches {
            let map = margin(&narrow(&grid, hz, 1.0, 1.0, Complex::from(1.0)), &grid, 2.0).map;
            // The bin is up to 3 Hz off the notch.
            assert!(
                map.straight_db[point] < -40.0,
                "{hz} Hz: {}",
                map.straight_db[point]
            );
            assert!(map.flipped_db[point].abs() < 0.01, "{hz} Hz flipped");
        }
        for k in 1..4 {
            let hz = f64::from(k) * 1000.0 / delay_ms;
            let map = margin(&narrow(&grid, hz, 1.0, 1.0, Complex::from(1.0)), &grid, 2.0).map;
            assert!(map.straight_db[point].abs() < 0.01, "{hz} Hz");
            assert!(
                map.flipped_db[point] < -40.0,
                "{hz} Hz flipped: {}",
                map.flipped_db[point]
            );
        }
    }
}

/// SUM-5, second table: peak and notch against the first path when the late one is softer.
#[test]
fn combs_of_uneven_paths() {
    let grid = grid();
    for (second_db, peak, notch) in [
        (-1.0, 5.53, -19.27),
        (-3.0, 4.65, -10.69),
        (-6.0, 3.53, -6.04),
        (-10.0, 2.39, -3.30),
        (-20.0, 0.83, -0.92),
    ] {
        let gain = db::to_amplitude(second_db);
        // 3 kHz is a bin: a peak at 1 ms and a notch at 0.5 ms.
        let map = margin(&narrow(&grid, 3000.0, 1.0, gain * gain, gain.into()), &grid, 2.0).map;
        // From 'average over mean power' to 'plain sum over the first path'.
        let to_first = db::from_power(4.0 * (1.0 + gain * gain) / 2.0);
        for (point, expected) in [(10, peak), (5, notch)] {
            let level = f64::from(map.straight_db[point]) + to_first;
            assert!(
                (level - expected).abs() < 0.01,
                "{second_db} dB: {level} instead of {expected}"
            );
        }
    }
}

/// SUM-5: the broadband average of a comb is −3.01 dB; so a loss of 5 dB is not reached.
#[test]
fn a_comb_tends_to_three_decibels() {
    let grid = grid();
    let margin = margin(&white(&grid, 1.0, 1.0, Complex::from(1.0)), &grid, 5.0);
    let late: Vec<f64> = (20..MAP_POINTS)
        .map(|i| f64::from(margin.map.straight_db[i]))
        .collect();
    let mean = late.iter().sum::<f64>() / late.len() as f64;
    assert!((mean + 3.01).abs() < 0.05, "{mean}");
    // (1 + sinc)/2 is lowest at sinc = −0.2172 (from memory): −4.07 dB.
    let DelayMargin::NotReached { deepest_db } = margin.delay else {
        panic!("5 dB reached: {:?}", margin.delay)
    };
    assert!((deepest_db + 4.07).abs() < 0.02, "{deepest_db}");
}

/// COR-5: noise of 0 to B late by τ correlates by sin(2πBτ)/(2πBτ), so the sum falls 2 dB where that is 2·10^(−0.2) −
/// 1.
#[test]
fn the_smallest_delay_of_white_noise() {
    let grid = grid();
    let found = margin(&white(&grid, 1.0, 1.0, Complex::from(1.0)), &grid, 2.0).delay;
    let DelayMargin::Reached { delay_s, .. } = found else {
        panic!("not reached: {found:?}")
    };
    let x = core::f64::consts::PI * RATE_HZ * delay_s;
    assert!(
        (x.sin() / x - (2.0 * db::to_power(-2.0) - 1.0)).abs() < 2e-3,
        "{delay_s}"
    );
}

/// A spectrum on wide cells gives the same margin as one on FFT bins.
#[test]
fn cells_of_a_take_give_the_same() {
    let (fine, wide) = (grid(), Grid::twenty_fourth_octave(RATE_HZ));
    let mut spectrum = CrossSpectrum::silent(fine.len());
    for (cell, &hz) in fine.centres_hz().iter().enumerate().skip(14) {
        let power = 1.0 / (1.0 + (hz / 800.0).powi(4));
        (spectrum.ll[cell], spectrum.rr[cell], spectrum.lr[cell]) = (power, power, power.into());
    }
    spectrum.averages = 50.0;
    let gathered = sumproof_core::session::take::gathered(&spectrum, &fine, &wide, 0.0);
    let (DelayMargin::Reached { delay_s: a, .. }, DelayMargin::Reached { delay_s: b, .. }) = (
        margin(&spectrum, &fine, 2.0).delay,
        margin(&gathered, &wide, 2.0).delay,
    ) else {
        panic!("not reached")
    };
    assert!((a / b - 1.0).abs() < 0.02, "{a} {b}");
}

/// SUM-6: one line through a first-order high-pass, the other flat: |(1+H)/2| at f/fc.
#[test]
fn one_line_through_a_transformer() {
    let grid = grid();
    for (ratio, straight, flipped) in [(1.0, -2.04, -9.03), (2.0, -0.71, -13.01), (10.0, -0.03, -26.06)] {
        let h = high_pass(100.0 * ratio, 100.0, RATE_HZ);
        let map = margin(&narrow(&grid, 1000.0, 1.0, h.norm_sqr(), h.conj()), &grid, 2.0).map;
        let to_one = db::from_power((1.0 + h.norm_sqr()) / 2.0);
        for (level, expected) in [(map.straight_db[0], straight), (map.flipped_db[0], flipped)] {
            let level = f64::from(level) + to_one;
            assert!(
                (level - expected).abs() < 0.02,
                "{ratio}: {level} instead of {expected}"
            );
        }
    }
}

/// An offset of d dB leaves (1 − k)/(1 + k) of the un-faulted sum, k = 10^(−d/20).
#[test]
fn the_offset_that_restores_a_flipped_sum() {
    for limit_db in [-3.0, -6.0, -10.0, -20.0] {
        let offset = restoring_offset(1.0, 1.0, 1.0, limit_db);
        let k = db::to_amplitude(-offset.offset_db);
        assert!(
            (db::from_amplitude((1.0 - k) / (1.0 + k)) - limit_db).abs() < 1e-9,
            "{limit_db}: {offset:?}"
        );
    }
    // Unrelated channels lose nothing by a flip, and an existing offset counts.
    assert_eq!(restoring_offset(1.0, 1.0, 0.0, -10.0).offset_db, 0.0);
    let there = restoring_offset(1.0, db::to_power(-3.0), db::to_amplitude(-3.0), -10.0);
    let from_none = restoring_offset(1.0, 1.0, 1.0, -10.0).offset_db;
    assert!((there.offset_db - (from_none - 3.0)).abs() < 1e-9, "{there:?}");
    assert_eq!(there.louder, sumproof_core::routing::feed::Side::Left);
}

#[test]
fn silence_has_no_margin() {
    let grid = grid();
    assert!(part_margin(&CrossSpectrum::silent(grid.len()), &grid, 2.0, -10.0).is_none());
}
