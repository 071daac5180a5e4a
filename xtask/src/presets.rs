//! `cargo xtask presets`: presets of sampled guitars through effects of other authors, with known dry and wet, and the
//! table of the analysis' errors on them.

use crate::run::{Failure, cargo, run};
use crate::{needs, place, python, samples};
use std::path::{Path, PathBuf};
use std::process::Command;

/// The halves of the set: limits are chosen on the first, published results come from the second.
const HALVES: [&str; 2] = ["dev", "publish"];

/// Makes a half of the set, unless it exists, and prints its table.
///
/// # Errors
/// Wrong usage, a tool that has to be installed, or a step that failed.
pub fn presets(args: &[String]) -> Result<(), Failure> {
    let half = args.first().map_or(HALVES[0], String::as_str);
    if !is_half(half) {
        return Err(Failure::Usage(format!(
            "the halves are {}, with a number behind for another draw (publish-2), not '{half}'",
            HALVES.join(" and ")
        )));
    }
    needs::provide(&[needs::PRESETS, needs::PYTHON])?;
    let python = python::provide()?;
    let folder = make(
        &python,
        half,
        &samples::provide_hall()?,
        &samples::provide_street()?,
        &[],
        "presets",
    )?;
    run(cargo()
        .args([
            "run",
            "--release",
            "-p",
            "sumproof-tests",
            "--bin",
            "sumproof-presets",
            "--",
        ])
        .arg(folder)
        .args(args.get(1..).unwrap_or_default()))
}

/// Whether it is the name of a half, or of another draw of one.
fn is_half(name: &str) -> bool {
    let (half, draw) = name.split_once('-').unwrap_or((name, "0"));
    HALVES.contains(&half) && draw.parse::<u32>().is_ok()
}

/// Makes the dozen presets used in every test run.
///
/// # Errors
/// As [`presets`].
pub fn few(python: &Path, hall: &Path, street: &Path) -> Result<PathBuf, Failure> {
    make(python, HALVES[0], hall, street, &["--small"], "presets/few")
}

/// Makes presets in a folder of the target's; existing ones are kept. Returns the half's folder.
fn make(
    python: &Path,
    half: &str,
    hall: &Path,
    street: &Path,
    more: &[&str],
    folder: &str,
) -> Result<PathBuf, Failure> {
    let into = std::env::var_os("SUMPROOF_PRESETS_CACHE")
        .map_or_else(|| place::target().join(folder), PathBuf::from);
    run(Command::new(python)
        .arg(place::root().join("tests/presets/build.py"))
        .args(["--half", half, "--into"])
        .arg(&into)
        .args(more)
        .env("SUMPROOF_GUITARIX", hall)
        .env("SUMPROOF_JCONVOLVER", street)
        // Keeps compiled scripts out of the tree.
        .env("PYTHONDONTWRITEBYTECODE", "1"))?;
    Ok(into.join(half))
}
