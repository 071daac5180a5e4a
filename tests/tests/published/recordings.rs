//! Real stereo guitar: two recordings of Debian's `sonic-pi-samples` 3.2.2 (CC0), against values that numpy computed
//! from the same files (double precision of 16-bit samples over 32768; per band: one FFT of the whole file). Through
//! the command's own reader and analysis. Tolerances: correlation 0.001, broadband sum differences 0.02 dB, per band
//! 0.1 dB.

use std::path::PathBuf;

use crate::support::check;
use sumproof_core::score::rig::Rig;
use sumproof_report::TakeReport;

/// The path of a recording. Panics if it is missing: silently measuring nothing would be worse.
fn recording(name: &str) -> PathBuf {
    let folder = std::env::var_os("SUMPROOF_SAMPLES")
        .expect("SUMPROOF_SAMPLES is not set: run `cargo xtask test`, which fetches the recordings");
    let path = PathBuf::from(folder).join(name);
    assert!(
        path.is_file(),
        "{} is missing: run `cargo xtask test`",
        path.display()
    );
    path
}

struct Reference {
    name: &'static str,
    seconds: f64,
    correlation: f64,
    sum_difference_db: f64,
    flipped_db: f64,
    level_difference_db: f64,
    /// Nominal frequency, correlation, sum difference.
    bands: &'static [(f64, f64, f64)],
}

const REFERENCES: [Reference; 2] = [
    Reference {
        name: "guit_em9.flac",
        seconds: 9.972,
        correlation: 0.7927,
        sum_difference_db: -0.485,
        flipped_db: -9.761,
        level_difference_db: 0.87,
        bands: &[
            (100.0, 0.595, -0.99),
            (200.0, 0.771, -0.53),
            (400.0, 0.859, -0.32),
            (500.0, 0.628, -0.93),
            (1_000.0, 0.789, -0.48),
            (2_000.0, 0.891, -0.25),
            (4_000.0, 0.938, -0.14),
            (8_000.0, 0.966, -0.07),
            (10_000.0, 0.658, -0.81),
        ],
    },
    Reference {
        name: "guit_e_fifths.flac",
        seconds: 5.972,
        correlation: 0.8124,
        sum_difference_db: -0.434,
        flipped_db: -10.222,
        level_difference_db: -0.67,
        bands: &[
            (125.0, 0.351, -1.71),
            (250.0, 0.801, -0.53),
            (500.0, 0.767, -0.54),
            (1_000.0, 0.792, -0.48),
            (2_000.0, 0.880, -0.27),
            (4_000.0, 0.940, -0.13),
            (8_000.0, 0.968, -0.07),
        ],
    },
];

fn reports() -> impl Iterator<Item = (&'static Reference, TakeReport)> {
    REFERENCES.iter().map(|reference| {
        let take = sumproof_cli::analyse(&recording(reference.name)).unwrap();
        (reference, sumproof_report::report(&take, &Rig::default()))
    })
}

#[test]
fn broadband_figures_of_real_guitars() {
    for (reference, report) in reports() {
        let name = reference.name;
        let broadband = &report.broadband;
        check(
            format!("{name}, length"),
            report.seconds,
            reference.seconds,
            0.001,
        );
        check(
            format!("{name}, correlation"),
            broadband.correlation.unwrap(),
            reference.correlation,
            0.001,
        );
        check(
            format!("{name}, sum difference"),
            broadband.sum_difference_db.unwrap(),
            reference.sum_difference_db,
            0.02,
        );
        check(
            format!("{name}, flipped"),
            broadband.flipped_sum_difference_db.unwrap(),
            reference.flipped_db,
            0.02,
        );
        check(
            format!("{name}, level difference"),
            broadband.level_difference_db.unwrap(),
            reference.level_difference_db,
            0.0051,
        );
    }
}

#[test]
fn bands_of_real_guitars() {
    for (reference, report) in reports() {
        for &(nominal_hz, _, sum_difference_db) in reference.bands {
            let band = report
                .bands
                .iter()
                .find(|band| band.nominal_hz == nominal_hz)
                .unwrap();
            check(
                format!("{} at {nominal_hz} Hz", reference.name),
                band.sum_difference_db.unwrap(),
                sum_difference_db,
                0.1,
            );
        }
    }
}

#[test]
fn the_mono_guitars_are_said_to_be_mono() {
    for name in ["guit_e_slide.flac", "guit_harmonics.flac"] {
        let error = sumproof_cli::read_stereo(&recording(name)).unwrap_err();
        assert_eq!(sumproof_cli::exit::of(&error), 15, "{error}");
    }
}
