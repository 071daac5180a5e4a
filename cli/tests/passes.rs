//! Dry and wet from two passes in files, through the command.
#![allow(clippy::unwrap_used, reason = "a test panics when something is missing")]

mod common;

use std::path::Path;
use std::process::{Command, Output};

use common::{folder, sumproof, text, write};
use serde_json::Value;
use sumproof_signals::{Preset, PresetKind, PresetSpec, render};

fn preset(seed: u64) -> Preset {
    // Half of this wet is common to both channels, which no estimate can detect.
    render(&PresetSpec {
        seconds: 5.0,
        seed,
        ..PresetSpec::new(PresetKind::HalfCorrelatedReverb)
    })
}

fn check(dry: &Path, wet: &Path, full: &[&Path]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sumproof"))
        .args(["check", "--format", "json", "--dry"])
        .arg(dry)
        .arg("--wet")
        .arg(wet)
        .args(full)
        .output()
        .unwrap()
}

#[test]
fn two_passes_and_the_part_as_it_is_give_the_true_balance() {
    let folder = folder("passes-true");
    let part = preset(1);
    let dry = write(&folder, "dry.wav", 48_000, &part.dry);
    // The bypass of a mix-type effect: the wet pass is 4 dB too loud.
    let mut loud = part.wet.clone();
    loud.scale(10f64.powf(4.0 / 20.0));
    let wet = write(&folder, "wet.wav", 48_000, &loud);
    let full = write(&folder, "part.wav", 48_000, &part.full());
    let output = check(&dry, &wet, &[&full]);
    assert_eq!(
        output.status.code(),
        Some(0),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let report: Value = serde_json::from_slice(&output.stdout).unwrap();
    let split = &report["takes"][0]["split"];
    assert_eq!(split["method"], "two-pass");
    let balance = split["wet_over_dry_db"].as_f64().unwrap();
    // The bound required of this method.
    assert!((balance - part.true_wet_dry_db()).abs() < 0.1, "{balance}");
    assert_eq!(report["takes"][0]["name"], "part");
}

/// The wet is the full less a softer dry pass that begins later.
#[test]
fn a_dry_pass_and_the_part_as_it_is_give_the_true_balance() {
    let folder = folder("passes-dry");
    let part = preset(1);
    let mut soft = part.dry.clone();
    soft.scale(0.5);
    for channel in [&mut soft.left, &mut soft.right] {
        channel.splice(0..0, vec![0.0; 1000]);
    }
    let dry = write(&folder, "dry.wav", 48_000, &soft);
    let full = write(&folder, "part.wav", 48_000, &part.full());
    let output = sumproof(&["check", "--format", "json", "--dry", text(&dry), text(&full)]);
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{said}");
    assert!(said.contains("6.0 dB louder"), "{said}");
    let report: Value = serde_json::from_slice(&output.stdout).unwrap();
    let split = &report["takes"][0]["split"];
    assert_eq!(split["method"], "two-pass");
    let balance = split["wet_over_dry_db"].as_f64().unwrap();
    assert!((balance - part.true_wet_dry_db()).abs() < 0.1, "{balance}");
    // Another performance can't be paired with it.
    let other = write(&folder, "other.wav", 48_000, &preset(2).full());
    let output = sumproof(&["check", "--dry", text(&dry), text(&other)]);
    assert_eq!(output.status.code(), Some(20));
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(
        said.contains("be found in the full one") && said.lines().count() == 1,
        "{said}"
    );
}

#[test]
fn passes_of_another_part_are_found_out() {
    let folder = folder("passes-other");
    let (part, other) = (preset(1), preset(2));
    let dry = write(&folder, "dry.wav", 48_000, &part.dry);
    let wet = write(&folder, "wet.wav", 48_000, &other.wet);
    let full = write(&folder, "part.wav", 48_000, &part.full());
    let output = check(&dry, &wet, &[&full]);
    assert_eq!(output.status.code(), Some(20));
    let line = String::from_utf8(output.stderr).unwrap();
    assert!(
        line.contains("was not repeated the same way") && line.lines().count() == 1,
        "{line}"
    );
}

#[test]
fn passes_of_different_rates_get_one_line() {
    let folder = folder("passes-rates");
    let part = preset(1);
    let dry = write(&folder, "dry.wav", 48_000, &part.dry);
    let wet = write(&folder, "wet.wav", 44_100, &part.wet);
    let output = check(&dry, &wet, &[]);
    assert_eq!(output.status.code(), Some(20));
    let line = String::from_utf8(output.stderr).unwrap();
    assert!(
        line.contains("dry.wav") && line.contains("different sample rates") && line.lines().count() == 1,
        "{line}"
    );
}
