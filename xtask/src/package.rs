//! `cargo xtask package`: the archives that users get, for the system this runs on.

use crate::bundles::{self, Shipped};
use crate::run::{Failure, cargo, output_of, run};
use crate::{alike, licences, place};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Where the checksum is, beside the archive.
const SUMS: &str = "SHA256SUMS";

/// `--twice` makes the archive a second time from a copy of the tree elsewhere and compares the two.
///
/// # Errors
/// Wrong usage, or as [`once`] and [`again`].
pub fn package(args: &[String]) -> Result<(), Failure> {
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    match args.as_slice() {
        [] => once(),
        ["--twice"] => once().and_then(|()| again()),
        [other, ..] => Err(Failure::Usage(format!("'{other}' is not expected here"))),
    }
}

/// Builds everything as users get it and packs it, the same bytes from the same tree and toolchain: no times, owners or paths
/// of the machine are in it.
///
/// # Errors
/// What is missing, or the failure of a step.
fn once() -> Result<(), Failure> {
    licences::licences()?;
    let shipped = bundles::shipped()?;
    let name = format!(
        "sumproof-{}-{}-{}",
        env!("CARGO_PKG_VERSION"),
        std::env::consts::OS,
        std::env::consts::ARCH
    );
    let home = home();
    let folder = home.join(&name);
    fresh(&folder)?;
    let Shipped {
        clap,
        vst3,
        standalone,
        command,
        ..
    } = &shipped;
    for from in [clap, vst3, standalone, command] {
        copy(from, &folder)?;
    }
    for file in ["README.md", "CHANGELOG.md", "LICENSE-MIT", "LICENSE-APACHE"] {
        copy(&place::root().join(file), &folder)?;
    }
    write(&folder.join("THIRD-PARTY.txt"), licences::texts()?.as_bytes())?;
    copy(&shipped.manual, &folder)?;
    alike::no_place_in(&folder)?;
    let archive = packed(&home, &name)?;
    let sum = output_of(Command::new("sha256sum").current_dir(&home).arg(&archive))
        .ok_or_else(|| Failure::Failed("sha256sum is missing or failed".to_owned()))?;
    write(&home.join(SUMS), sum.as_bytes())?;
    println!("{}\n{}", home.join(&archive).display(), sum.trim_end());
    println!("For other systems: run this there; nothing is built across systems here.");
    Ok(())
}

fn home() -> PathBuf {
    place::target().join("package")
}

/// Makes the archive from a copy of the tree in another folder, with another target directory.
///
/// # Errors
/// A step that fails, or archives that differ; then the copy is left where it is.
fn again() -> Result<(), Failure> {
    let elsewhere = std::env::temp_dir().join(format!("sumproof-again-{}", std::process::id()));
    let (tree, target) = (elsewhere.join("a tree"), elsewhere.join("built"));
    fresh(&tree)?;
    let listed = output_of(Command::new("git").current_dir(place::root()).args([
        "ls-files",
        "-z",
        "--cached",
        "--others",
        "--exclude-standard",
    ]));
    let listed =
        listed.ok_or_else(|| Failure::Failed("git does not say which files make up the tree".to_owned()))?;
    for file in listed.split('\0').filter(|file| !file.is_empty()) {
        let (from, to) = (place::root().join(file), tree.join(file));
        // Deleted, and not committed yet.
        if !from.exists() {
            continue;
        }
        let folder = to.parent().unwrap_or(&tree);
        fs::create_dir_all(folder).map_err(|e| failed(folder, &e))?;
        fs::copy(&from, &to).map_err(|e| failed(&from, &e))?;
    }
    run(cargo()
        .current_dir(&tree)
        .args(["xtask", "package"])
        .env("CARGO_TARGET_DIR", &target))?;
    let sums = [home().join(SUMS), target.join("package").join(SUMS)]
        .map(|path| fs::read_to_string(&path).map_err(|e| failed(&path, &e)));
    let [first, second] = sums;
    let (first, second) = (first?, second?);
    if first != second {
        return Err(Failure::Failed(format!(
            "the second archive differs, see {}:\n{first}{second}",
            elsewhere.display()
        )));
    }
    println!("The same archive came of a copy of the tree in another folder.");
    fs::remove_dir_all(&elsewhere).map_err(|e| failed(&elsewhere, &e))
}

fn packed(home: &Path, name: &str) -> Result<String, Failure> {
    let archive = format!("{name}.tar");
    run(Command::new("tar")
        .current_dir(home)
        .args([
            "--format=ustar",
            "--sort=name",
            "--mtime=@0",
            "--owner=0",
            "--group=0",
            "--numeric-owner",
            "--mode=u=rwX,go=rX",
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
