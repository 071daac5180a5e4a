//! `cargo xtask fuzz`: feeds damaged inputs to every parser, for as long as wanted.

use crate::run::{Failure, cargo, run};
use crate::{bundles, place};
use std::process::Command;

/// Builds the driver with the compiler's counters, which show when an input takes a new path, and runs it. Findings go
/// to `target/fuzz`.
///
/// # Errors
/// A failed build, or a finding.
pub fn fuzz(args: &[String]) -> Result<(), Failure> {
    run(cargo().args(["build", "--profile", "checked", "-p", bundles::PACKAGE]))?;
    let bundle = bundles::checked()?;
    let apart = place::target().join("fuzz-build");
    run(cargo()
        .args([
            "build",
            "--profile",
            "checked",
            "-p",
            "sumproof-tests",
            "--bin",
            "sumproof-fuzz",
        ])
        .env("CARGO_TARGET_DIR", &apart)
        .env("RUSTFLAGS", "-C instrument-coverage --cfg sumproof_guided")
        // Build scripts write counters as well, which would end up in the source tree.
        .env("LLVM_PROFILE_FILE", "/dev/null"))?;
    run(Command::new(apart.join("checked/sumproof-fuzz"))
        .arg("--out")
        .arg(place::target().join("fuzz"))
        .args(args)
        .env("SUMPROOF_CLAP", &bundle.clap)
        // The framework's messages about refused states would fill the screen.
        .env("NICE_LOG", "/dev/null")
        .env("LLVM_PROFILE_FILE", "/dev/null"))
}
