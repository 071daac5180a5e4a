//! `cargo xtask fuzz`: everything that reads, fed with damaged inputs for as long as one wants.

use crate::run::{Failure, cargo, run};
use crate::{bundles, place};
use std::process::Command;

/// Builds the driver with the compiler's counters, which tell it when an input took a new path, and runs it. What it finds goes
/// to `target/fuzz`.
///
/// # Errors
/// A build that fails, or something that was found.
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
        // Build scripts count as well, and would leave what they counted in the source.
        .env("LLVM_PROFILE_FILE", "/dev/null"))?;
    run(Command::new(apart.join("checked/sumproof-fuzz"))
        .arg("--out")
        .arg(place::target().join("fuzz"))
        .args(args)
        .env("SUMPROOF_CLAP", &bundle.clap)
        // What the framework says of states that it refuses would fill the screen.
        .env("NICE_LOG", "/dev/null")
        .env("LLVM_PROFILE_FILE", "/dev/null"))
}
