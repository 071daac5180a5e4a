//! The level of two added lines: closed forms, through the exact sums and through the spectral algebra of feeds.
//! Tolerance 0.01 dB unless stated.

use crate::support::{RATE_HZ, check, level_spectrum, scaled, sums, take, whole_power};
use sumproof_core::Complex;
use sumproof_core::dsp::db;
use sumproof_core::routing::feed::{Ending, Feed, FeedId, SumLaw};
use sumproof_core::routing::line::{Line, Polarity};
use sumproof_core::routing::response::{CellPowers, FeedResponse, high_pass};
use sumproof_core::score::rig::Rig;
use sumproof_core::spectrum::grid::Grid;
use sumproof_core::spectrum::welch::spectrum_of;
use sumproof_signals::{Stereo, tones};

const TOLERANCE_DB: f64 = 0.01;

fn summed(law: SumLaw, right: Line) -> Feed {
    Feed {
        right,
        ..Feed::straight(Ending::Sum(law))
    }
}

fn flipped(line: Line) -> Line {
    Line {
        polarity: Polarity::Flipped,
        ..line
    }
}

/// SUM-1. Equal sines with phase φ: the plain sum is 20·log10(2|cos(φ/2)|) over one line, the sum difference
/// 10·log10((1 + cos φ)/2) (derivation).
#[test]
fn sum_1_equal_sines_by_their_phase() {
    let left = tones::sine(96_000, RATE_HZ, 1000.0, 0.5, 0.0);
    let rows = [
        (0.0f64, 6.021, 0.000),
        (30.0, 5.719, -0.301),
        (45.0, 5.333, -0.688),
        (60.0, 4.771, -1.249),
        (90.0, 3.010, -3.010),
        (120.0, 0.000, -6.021),
        (150.0, -5.719, -11.740),
        (170.0, -15.173, -21.194),
        (175.0, -21.186, -27.206),
        (179.0, -35.163, -41.183),
        (180.0, f64::NEG_INFINITY, f64::NEG_INFINITY),
    ];
    for (degrees, over_one_db, difference_db) in rows {
        let right = if degrees == 180.0 {
            scaled(-1.0, &left)
        } else {
            tones::sine(96_000, RATE_HZ, 1000.0, 0.5, degrees.to_radians())
        };
        let pair = sums(&left, &right);
        check(
            format!("exact, {degrees}°"),
            pair.sum_difference_db().unwrap(),
            difference_db,
            TOLERANCE_DB,
        );
        let (grid, spectrum) = spectrum_of(&left, &right, RATE_HZ, 8192);
        let power = whole_power(&summed(SumLaw::Unity, Line::STRAIGHT), &grid, &spectrum);
        let over_one = db::from_power(power / spectrum.powers().0);
        if over_one_db == f64::NEG_INFINITY {
            assert!(over_one < -100.0, "opposite sines: {over_one}");
        } else {
            check(
                format!("over one line, {degrees}°"),
                over_one,
                over_one_db,
                TOLERANCE_DB,
            );
        }
        let power = whole_power(&summed(SumLaw::Average, Line::STRAIGHT), &grid, &spectrum);
        if difference_db.is_finite() {
            check(
                format!("spectral, {degrees}°"),
                db::from_power(power / spectrum.mean_power()),
                difference_db,
                TOLERANCE_DB,
            );
        }
    }
}

/// SUM-2. Unrelated noise of equal power: the plain sum +3.01 dB, the sum difference −3.01 dB, ρ 0 (derivation). The
/// sum difference scatters by 4.34/√(2BT) dB: 10 s of 24 kHz, four of them.
#[test]
fn sum_2_unrelated_noise() {
    let (left, right) = (
        crate::support::white(480_000, 1),
        crate::support::white(480_000, 2),
    );
    let spread_db = 4.34 / (2.0f64 * 24_000.0 * 10.0).sqrt();
    let pair = sums(&left, &right);
    check(
        "exact",
        pair.sum_difference_db().unwrap(),
        -3.0103,
        4.0 * spread_db,
    );
    check("ρ", pair.correlation().unwrap(), 0.0, 4.0 / 480_000f64.sqrt());
    let (grid, spectrum) = spectrum_of(&left, &right, RATE_HZ, 8192);
    let power = whole_power(&summed(SumLaw::Unity, Line::STRAIGHT), &grid, &spectrum);
    check(
        "over one line",
        db::from_power(power / spectrum.mean_power()),
        3.0103,
        4.0 * spread_db,
    );
}

/// SUM-3. Left minus right, otherwise equal, with a gain mismatch g: 20·log10|10^(g/20) − 1| over one line; over the
/// sum in phase, the same over 10^(g/20) + 1 (derivation).
#[test]
fn sum_3_null_depth_by_gain() {
    let grid = Grid::fft(RATE_HZ, 8192);
    let equal = level_spectrum(&grid, 1.0, 1.0, Complex::new(1.0, 0.0));
    let line = |gain_db| Line {
        gain_db,
        ..Line::STRAIGHT
    };
    for (gain_db, null_db) in [
        (0.01, -58.77),
        (0.05, -44.77),
        (0.1, -38.73),
        (0.2, -32.66),
        (0.5, -24.55),
        (1.0, -18.27),
        (2.0, -11.74),
        (3.0, -7.69),
        (6.0, -0.04),
    ] {
        let power = whole_power(&summed(SumLaw::Unity, flipped(line(gain_db))), &grid, &equal);
        check(
            format!("{gain_db} dB"),
            db::from_power(power / equal.powers().0),
            null_db,
            TOLERANCE_DB,
        );
        let jack = Feed {
            ending: Ending::Difference,
            ..summed(SumLaw::Unity, line(gain_db))
        };
        check(
            format!("{gain_db} dB, jack"),
            db::from_power(whole_power(&jack, &grid, &equal) / equal.powers().0),
            null_db,
            TOLERANCE_DB,
        );
        // And in the time domain: the flipped difference is against both channels' mean power.
        let left = tones::sine(48_000, RATE_HZ, 500.0, 0.1, 0.0);
        let k = db::to_amplitude(gain_db);
        let exact = sums(&left, &scaled(k, &left)).flipped_difference_db().unwrap();
        let over_one = exact + db::from_power(4.0 * (1.0 + k * k) / 2.0);
        check(format!("{gain_db} dB, exact"), over_one, null_db, TOLERANCE_DB);
    }
    for (gain_db, null_db) in [(0.1, -44.80), (0.5, -30.82), (1.0, -24.81), (3.0, -15.34)] {
        let null = whole_power(&summed(SumLaw::Average, flipped(line(gain_db))), &grid, &equal);
        let sum = whole_power(&summed(SumLaw::Average, line(gain_db)), &grid, &equal);
        check(
            format!("{gain_db} dB against the sum"),
            db::from_power(null / sum),
            null_db,
            TOLERANCE_DB,
        );
    }
}

/// SUM-4. Left minus right with a phase error e: 20·log10(2·sin(e/2)) over one line; both together |1 − k·e^(je)|
/// (derivation).
#[test]
fn sum_4_null_depth_by_phase() {
    let grid = Grid::fft(RATE_HZ, 1024);
    let null = |gain_db: f64, degrees: f64| {
        // The right channel turned back by e: S_LR = e^(+je).
        let spectrum = level_spectrum(&grid, 1.0, 1.0, Complex::from_polar(1.0, degrees.to_radians()));
        let line = Line {
            gain_db,
            ..Line::STRAIGHT
        };
        let power = whole_power(&summed(SumLaw::Unity, flipped(line)), &grid, &spectrum);
        db::from_power(power / spectrum.powers().0)
    };
    for (degrees, null_db) in [
        (0.1, -55.16),
        (0.5, -41.18),
        (1.0, -35.16),
        (2.0, -29.14),
        (5.0, -21.19),
        (10.0, -15.17),
        (30.0, -5.72),
    ] {
        check(format!("{degrees}°"), null(0.0, degrees), null_db, TOLERANCE_DB);
    }
    for (gain_db, degrees) in [(0.1f64, 0.5f64), (1.0, 3.0), (-3.0, 20.0), (0.5, -7.0)] {
        let k = Complex::from_polar(db::to_amplitude(gain_db), degrees.to_radians());
        let combined = db::from_power((Complex::new(1.0, 0.0) - k).norm_sqr());
        check(
            format!("{gain_db} dB and {degrees}°"),
            null(gain_db, degrees),
            combined,
            1e-6,
        );
    }
}

/// SUM-5. One line late by τ: nulls at (2k+1)/(2τ), peaks at k/τ; flipped, they change places (derivation). White noise
/// as a whole loses 3.01 dB.
#[test]
fn sum_5_where_a_comb_has_its_teeth() {
    let grid = Grid::fft(RATE_HZ, 1 << 18);
    let equal = level_spectrum(&grid, 1.0, 1.0, Complex::new(1.0, 0.0));
    let bin_hz = RATE_HZ / f64::from(1 << 18);
    for (late_ms, nulls_hz) in [
        (0.1, vec![5_000.0, 15_000.0]),
        (0.25, vec![2_000.0, 6_000.0, 10_000.0]),
        (0.5, vec![1_000.0, 3_000.0, 5_000.0]),
        (1.0, vec![500.0, 1_500.0, 2_500.0]),
        (5.0, vec![100.0, 300.0, 500.0]),
        (10.0, vec![50.0, 150.0, 250.0]),
        (20.0, vec![25.0, 75.0, 125.0]),
    ] {
        let late = Line {
            delay_s: late_ms / 1000.0,
            ..Line::STRAIGHT
        };
        let powers = |line| FeedResponse::new(&summed(SumLaw::Average, line), &grid, 0.0).of(&equal, &grid);
        let (in_phase, inverted) = (powers(late), powers(flipped(late)));
        let at = |powers: &CellPowers, hz: f64| db::from_power(powers.feed[(hz / bin_hz).round() as usize]);
        let peaks = nulls_hz.iter().map(|null| null + 500.0 / late_ms);
        for null_hz in &nulls_hz {
            assert!(
                at(&in_phase, *null_hz) < -40.0,
                "{late_ms} ms, null at {null_hz} Hz"
            );
            check(
                format!("{late_ms} ms, {null_hz} Hz flipped"),
                at(&inverted, *null_hz),
                0.0,
                TOLERANCE_DB,
            );
        }
        for peak_hz in peaks {
            check(
                format!("{late_ms} ms, peak at {peak_hz} Hz"),
                at(&in_phase, peak_hz),
                0.0,
                TOLERANCE_DB,
            );
            assert!(
                at(&inverted, peak_hz) < -40.0,
                "{late_ms} ms, flipped null at {peak_hz} Hz"
            );
        }
        let whole = whole_power(&summed(SumLaw::Average, late), &grid, &equal) / equal.mean_power();
        // Exactly, the correlation of white noise up to half the rate remains (COR-5): 0, except at 0.1 ms.
        let turn = std::f64::consts::PI * RATE_HZ * late_ms / 1000.0;
        let rho = turn.sin() / turn;
        let whole_db = if late_ms == 0.1 {
            db::from_power((1.0 + rho) / 2.0)
        } else {
            -3.01
        };
        check(
            format!("{late_ms} ms as a whole"),
            db::from_power(whole),
            whole_db,
            TOLERANCE_DB,
        );
    }
}

/// SUM-5. The second path at g dB: peak and notch over the first path alone, 20·log10(1 ± 10^(g/20)) (derivation).
#[test]
fn sum_5_how_deep_a_comb_is() {
    let grid = Grid::fft(RATE_HZ, 1 << 18);
    let equal = level_spectrum(&grid, 1.0, 1.0, Complex::new(1.0, 0.0));
    for (gain_db, peak_db, notch_db) in [
        (0.0, 6.02, f64::NEG_INFINITY),
        (-1.0, 5.53, -19.27),
        (-3.0, 4.65, -10.69),
        (-6.0, 3.53, -6.04),
        (-10.0, 2.39, -3.30),
        (-15.0, 1.42, -1.70),
        (-20.0, 0.83, -0.92),
    ] {
        let line = Line {
            gain_db,
            delay_s: 0.001,
            ..Line::STRAIGHT
        };
        let powers = FeedResponse::new(&summed(SumLaw::Unity, line), &grid, 0.0).of(&equal, &grid);
        let audible = 10..grid.len() - 10;
        let levels: Vec<f64> = audible.map(|k| db::from_power(powers.feed[k])).collect();
        let peak = levels.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let notch = levels.iter().copied().fold(f64::INFINITY, f64::min);
        check(format!("{gain_db} dB, peak"), peak, peak_db, TOLERANCE_DB);
        if notch_db.is_finite() {
            check(format!("{gain_db} dB, notch"), notch, notch_db, TOLERANCE_DB);
        } else {
            assert!(notch < -50.0, "equal paths: {notch}");
        }
    }
}

/// SUM-6. One line through a first-order high-pass, the other flat: |(1 + H)/2|, with that line flipped |(1 − H)/2|,
/// and the phase of H, at f/f_c (derivation; phases to 0.05°).
#[test]
fn sum_6_one_line_through_a_transformer() {
    let corner_hz = 30.0;
    // Bins of a tenth of a hertz, so every row of the table is a bin.
    let grid = Grid::fft(RATE_HZ, 480_000);
    let equal = level_spectrum(&grid, 1.0, 1.0, Complex::new(1.0, 0.0));
    let line = Line {
        high_pass_hz: [corner_hz, 0.0],
        ..Line::STRAIGHT
    };
    let level = |line: Line, ratio: f64| {
        let cell = (ratio * corner_hz / 0.1).round() as usize;
        let powers = FeedResponse::new(&summed(SumLaw::Average, line), &grid, 0.0).of(&equal, &grid);
        db::from_power(powers.feed[cell])
    };
    for (ratio, sum_db, degrees) in [
        (0.1, -5.89, 84.3),
        (0.25, -5.31, 76.0),
        (0.5, -3.98, 63.4),
        (1.0, -2.04, 45.0),
        (2.0, -0.71, 26.6),
        (4.0, -0.20, 14.0),
        (10.0, -0.03, 5.7),
    ] {
        check(format!("f/fc {ratio}"), level(line, ratio), sum_db, TOLERANCE_DB);
        let phase = high_pass(ratio * corner_hz, corner_hz, RATE_HZ)
            .arg()
            .to_degrees();
        check(format!("phase at f/fc {ratio}"), phase, degrees, 0.051);
    }
    for (ratio, sum_db) in [(0.1, -6.06), (1.0, -9.03), (2.0, -13.01), (10.0, -26.06)] {
        check(
            format!("flipped, f/fc {ratio}"),
            level(flipped(line), ratio),
            sum_db,
            TOLERANCE_DB,
        );
    }
}

/// SUM-7. Three mono laws differ by a constant: average, ITU-R BS.775-4's 0.7071 (coefficient from memory), plain sum:
/// 0, +3.01, +6.02 dB (derivation). The judged figures don't depend on it.
#[test]
fn sum_7_the_mono_laws_differ_by_a_constant() {
    let left = crate::support::white(96_000, 1);
    let pair = Stereo::new(
        scaled(0.05, &left),
        scaled(
            0.05,
            &crate::support::mix(0.8, &left, 0.5, &crate::support::white(96_000, 2)),
        ),
    );
    let (grid, spectrum) = spectrum_of(&pair.left, &pair.right, RATE_HZ, 8192);
    let average = whole_power(&summed(SumLaw::Average, Line::STRAIGHT), &grid, &spectrum);
    let stored = take(&pair, RATE_HZ);
    let figures = |law| {
        let rig = Rig {
            law,
            ..Rig::default()
        };
        stored.rows(&rig, 0.0)[FeedId::MonoWedge as usize].score.unwrap()
    };
    for (law, constant_db) in [
        (SumLaw::Average, 0.0),
        (SumLaw::Minus3Db, 3.0103),
        (SumLaw::Unity, 6.0206),
    ] {
        let power = whole_power(&summed(law, Line::STRAIGHT), &grid, &spectrum);
        check(
            format!("{law:?}"),
            db::from_power(power / average),
            constant_db,
            1e-4,
        );
        let (now, usual) = (figures(law), figures(SumLaw::Average));
        check(
            format!("{law:?}, level"),
            now.level_lu - usual.level_lu,
            constant_db,
            1e-4,
        );
        check(format!("{law:?}, make up"), now.makeup_db, -constant_db, 1e-4);
        check(format!("{law:?}, total"), now.total_db, usual.total_db, 1e-9);
        check(
            format!("{law:?}, dry"),
            now.dry_db.unwrap(),
            usual.dry_db.unwrap(),
            1e-9,
        );
    }
}
