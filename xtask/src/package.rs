//! `cargo xtask package`: the archives that users get, for the system this runs on.

use crate::bundles::{self, Bundles};
use crate::run::{Failure, cargo, output_of, run};
use crate::{licences, needs, place};
use std::fs;
use std::path::Path;
use std::process::Command;

/// The command's program.
const COMMAND: &str = "sumproof";

/// Builds everything as users get it and packs it, the same bytes from the same tree and toolchain: no times, owners or paths
/// of the machine are in it.
///
/// # Errors
/// What is missing, or the failure of a step.
pub fn package() -> Result<(), Failure> {
    licences::licences()?;
    needs::provide(&[needs::STANDALONE])?;
    run(cargo().args(["build", "--release", "-p", "sumproof-cli"]))?;
    bundles::bundle(Vec::new())?;
    let (Some(Bundles { clap, vst3 }), Some(standalone)) = (bundles::made(), bundles::standalone()) else {
        return Err(Failure::Failed(
            "the bundles were made and are not there".to_owned(),
        ));
    };
    let command = place::target()
        .join("release")
        .join(format!("{COMMAND}{}", std::env::consts::EXE_SUFFIX));
    let name = format!(
        "sumproof-{}-{}-{}",
        env!("CARGO_PKG_VERSION"),
        std::env::consts::OS,
        std::env::consts::ARCH
    );
    let home = place::target().join("package");
    let folder = home.join(&name);
    fresh(&folder)?;
    for (from, to) in [
        (clap.as_path(), "."),
        (vst3.as_path(), "."),
        (standalone.as_path(), "."),
        (command.as_path(), "."),
    ] {
        copy(from, &folder.join(to))?;
    }
    for file in ["README.md", "CHANGELOG.md", "LICENSE-MIT", "LICENSE-APACHE"] {
        copy(&place::root().join(file), &folder)?;
    }
    write(&folder.join("THIRD-PARTY.txt"), licences::texts()?.as_bytes())?;
    let manual = output_of(Command::new(&command).arg("manual"))
        .ok_or_else(|| Failure::Failed("`sumproof manual` failed".to_owned()))?;
    write(&folder.join("sumproof.1"), manual.as_bytes())?;
    let archive = packed(&home, &name)?;
    let sums = output_of(Command::new("sha256sum").current_dir(&home).arg(&archive))
        .ok_or_else(|| Failure::Failed("sha256sum is missing or failed".to_owned()))?;
    write(&home.join("SHA256SUMS"), sums.as_bytes())?;
    println!("{}\n{}", home.join(&archive).display(), sums.trim_end());
    println!("For other systems: run this there; nothing is built across systems here.");
    Ok(())
}

fn packed(home: &Path, name: &str) -> Result<String, Failure> {
    let archive = format!("{name}.tar");
    run(Command::new("tar")
        .current_dir(home)
        .args([
            "--sort=name",
            "--mtime=@0",
            "--owner=0",
            "--group=0",
            "--numeric-owner",
            "--mode=go-w",
            "-cf",
        ])
        .args([&archive, name]))?;
    run(Command::new("gzip")
        .current_dir(home)
        .args(["-9", "-n", "-f", &archive]))?;
    Ok(format!("{archive}.gz"))
}

fn fresh(folder: &Path) -> Result<(), Failure> {
    if folder.exists() {
        fs::remove_dir_all(folder).map_err(|e| failed(folder, &e))?;
    }
    fs::create_dir_all(folder).map_err(|e| failed(folder, &e))
}

fn copy(from: &Path, folder: &Path) -> Result<(), Failure> {
    run(Command::new("cp").arg("-r").arg(from).arg(folder))
}

fn write(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    fs::write(path, bytes).map_err(|e| failed(path, &e))
}

fn failed(path: &Path, error: &std::io::Error) -> Failure {
    Failure::Failed(format!("{}: {error}", path.display()))
}
