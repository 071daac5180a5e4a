//! Published values through the command, as its JSON and its table give them.
//!
//! EBU Tech 3341 (version 4, November 2023), table 1, cases 1 to 3 and 15 to 19, made by `sumproof-signals`: they test how
//! the meter is wired, which is somebody else's. And the recordings of Debian's `sonic-pi-samples` 3.2.2 (CC0) against values
//! that numpy and the `ebur128` crate gave for the same files.
#![allow(clippy::unwrap_used, reason = "a test panics when something is missing")]

mod common;

use std::path::PathBuf;

use common::{folder, printed, sumproof, text, write};
use serde_json::Value;
use sumproof_signals::ebu::{self, Expected};

#[test]
fn ebu_tech_3341() {
    let folder = folder("ebu");
    for case in [1, 2, 3, 15, 16, 17, 18, 19] {
        for file in ebu::files(case, 48_000.0) {
            let path = write(&folder, &format!("{case}.wav"), 48_000, &file.signal);
            let output = sumproof(&["check", "--format", "json", text(&path)]);
            let document: Value = serde_json::from_slice(&output.stdout).unwrap();
            let loudness = &document["takes"][0]["loudness"];
            let (names, expected) = match file.expected {
                Expected::AllLoudness(lufs) | Expected::Integrated(lufs) => {
                    (["stereo_lufs", "wedge_lufs"], lufs)
                }
                Expected::TruePeak(dbtp) => (["stereo_peak_dbtp", "wedge_peak_dbtp"], dbtp),
                other => panic!("case {case} has {other:?}"),
            };
            let (below, above) = file.expected.tolerance();
            // Both channels carry the same, so the wedge reads what stereo does.
            for name in names {
                let read = loudness[name].as_f64().unwrap();
                assert!(
                    (expected - below..=expected + above).contains(&read),
                    "case {case}, {name}: {read} instead of {expected}"
                );
            }
        }
    }
}

/// File, correlation, integrated loudness in stereo and as dual mono of the sum, true peak.
const RECORDINGS: [(&str, f64, f64, f64, f64); 6] = [
    ("guit_em9", 0.7927, -16.11, -16.45, -2.81),
    ("guit_e_fifths", 0.8124, -15.41, -15.88, -2.39),
    ("ambi_lunar_land", -0.0010, -18.89, -21.91, -0.96),
    ("ambi_piano", 0.9757, -11.24, -11.31, -3.40),
    ("loop_garzul", 0.9876, -12.08, -12.12, -0.86),
    ("loop_tabla", 1.0000, -26.57, -26.57, -9.74),
];

#[test]
#[ignore = "needs recordings of Debian's: `cargo xtask test` runs it"]
fn recordings() {
    let samples = PathBuf::from(
        std::env::var_os("SUMPROOF_SAMPLES")
            .expect("SUMPROOF_SAMPLES is not set: run `cargo xtask test`, which fetches the recordings"),
    );
    let near = |name: &str, what: &str, read: f64, expected: f64, tolerance: f64| {
        assert!(
            (read - expected).abs() <= tolerance,
            "{name}, {what}: {read} instead of {expected}"
        );
    };
    for (name, correlation, stereo, wedge, peak) in RECORDINGS {
        let path = samples.join(format!("{name}.flac"));
        let output = sumproof(&["check", "--format", "json", text(&path)]);
        let document: Value = serde_json::from_slice(&output.stdout).unwrap();
        let take = &document["takes"][0];
        let of = |object: &str, field: &str| take[object][field].as_f64().unwrap();
        near(
            name,
            "correlation",
            of("broadband", "correlation"),
            correlation,
            0.001,
        );
        near(name, "stereo", of("loudness", "stereo_lufs"), stereo, 0.05);
        near(name, "wedge", of("loudness", "wedge_lufs"), wedge, 0.05);
        near(name, "peak", of("loudness", "stereo_peak_dbtp"), peak, 0.3);
        // The table has the same figures.
        let table = printed(&sumproof(&["check", text(&path)]));
        let words = |begins: &str| -> Vec<f64> {
            table
                .lines()
                .find(|line| line.starts_with(begins))
                .unwrap_or_else(|| panic!("no '{begins}' in\n{table}"))
                .split([' ', ';', ','])
                .filter_map(|word| word.parse().ok())
                .collect()
        };
        near(
            name,
            "correlation in the table",
            words("correlation")[0],
            correlation,
            0.001,
        );
        near(name, "stereo in the table", words("loudness")[0], stereo, 0.05);
        near(name, "wedge in the table", words("loudness")[1], wedge, 0.05);
        near(name, "peak in the table", words("true peak")[0], peak, 0.3);
    }
}
