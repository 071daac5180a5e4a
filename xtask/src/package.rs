//! `cargo xtask package`: the archives that users get.

use crate::bundles::{self, Shipped};
use crate::run::{Failure, cargo, output_of, run};
use crate::system::System;
use crate::target::Target;
use crate::{alike, archive, licences, papers, place};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// File with the checksums of the archive's contents.
const SUMS: &str = "SHA256SUMS";

/// Makes the archive. `--twice` makes it a second time from a copy of the tree elsewhere and compares the two;
/// `--target` selects the system.
///
/// # Errors
/// Wrong usage, or as [`once`] and [`again`].
pub fn package(args: &[String]) -> Result<(), Failure> {
    let mut rest = args.to_vec();
    let target = Target::from_args(&mut rest)?;
    let rest: Vec<&str> = rest.iter().map(String::as_str).collect();
    match rest.as_slice() {
        [] => once(&target).map(drop),
        ["--twice"] => once(&target).and_then(|sum| again(args, &sum)),
        [other, ..] => Err(Failure::Usage(format!("'{other}' is not expected here"))),
    }
}

/// `cargo xtask release-tag TAG`: checks that a tag names this version.
///
/// # Errors
/// Wrong usage, or another tag than this version's.
pub fn release_tag(args: &[String]) -> Result<(), Failure> {
    let version = env!("CARGO_PKG_VERSION");
    match args {
        [tag] if tag.strip_prefix('v') == Some(version) => Ok(()),
        [tag] => Err(Failure::Failed(format!(
            "the tag is '{tag}', the version in Cargo.toml {version}"
        ))),
        _ => Err(Failure::Usage("release-tag takes one tag".to_owned())),
    }
}

/// Builds everything in the form users get and packs it; the same tree and toolchain give the same bytes: no times,
/// owners or paths of the machine are in it. Returns the path of the archive's checksum.
///
/// # Errors
/// A missing tool, or the failure of a step.
fn once(target: &Target) -> Result<PathBuf, Failure> {
    target.provide()?;
    licences::of(&target.triples()?)?;
    let shipped = bundles::shipped(target)?;
    let home = place::target().join("package");
    let folder = home.join(format!(
        "sumproof-{}-{}",
        env!("CARGO_PKG_VERSION"),
        target.word()
    ));
    fill(&folder, &shipped, target)?;
    alike::no_place_in(&folder)?;
    let files = archive::below(&folder).map_err(|e| failed(&folder, &e))?;
    write(&folder.join(SUMS), archive::sums(&folder, &files)?.as_bytes())?;
    let packed = match target.system {
        System::Windows => archive::zip(&folder)?,
        System::Linux | System::MacOs => archive::tar_gz(&folder)?,
    };
    let line = archive::sums(&home, std::slice::from_ref(&packed))?;
    let sum = PathBuf::from(format!("{}.sha256", packed.display()));
    write(&sum, line.as_bytes())?;
    println!("{}\n{}", packed.display(), line.trim_end());
    Ok(sum)
}

/// Fills a new folder with the archive's contents.
fn fill(folder: &Path, shipped: &Shipped, target: &Target) -> Result<(), Failure> {
    if folder.exists() {
        fs::remove_dir_all(folder).map_err(|e| failed(folder, &e))?;
    }
    fs::create_dir_all(folder).map_err(|e| failed(folder, &e))?;
    for from in [
        &shipped.clap,
        &shipped.vst3,
        &shipped.standalone,
        &shipped.command,
    ] {
        copy(from, folder)?;
    }
    if target.system != System::Windows {
        copy(&shipped.manual, folder)?;
    }
    for (from, name) in papers::papers(target.system)? {
        let to = folder.join(name);
        let below = to.parent().unwrap_or(folder);
        fs::create_dir_all(below).map_err(|e| failed(below, &e))?;
        fs::copy(&from, &to).map_err(|e| failed(&from, &e))?;
    }
    write(
        &folder.join("THIRD-PARTY.txt"),
        licences::texts(&target.triples()?)?.as_bytes(),
    )
}

/// Makes the archive from a copy of the tree in another folder, with another target directory.
///
/// # Errors
/// A step that fails, or archives that differ; the copy is then kept.
fn again(args: &[String], sum: &Path) -> Result<(), Failure> {
    let elsewhere = std::env::temp_dir().join(format!("sumproof-again-{}", std::process::id()));
    let (tree, target) = (elsewhere.join("a tree"), elsewhere.join("built"));
    fs::create_dir_all(&tree).map_err(|e| failed(&tree, &e))?;
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
        // Deleted, and not yet committed.
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
        .args(args.iter().filter(|arg| *arg != "--twice"))
        .env("CARGO_TARGET_DIR", &target))?;
    let second = target.join("package").join(sum.file_name().unwrap_or_default());
    let [first, second] = [sum, &second].map(|path| fs::read_to_string(path).map_err(|e| failed(path, &e)));
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

/// Copies a file or a whole bundle into a folder.
fn copy(from: &Path, folder: &Path) -> Result<(), Failure> {
    let to = folder.join(from.file_name().unwrap_or_default());
    place::copy(from, &to).map_err(|e| failed(from, &e))
}

fn write(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    fs::write(path, bytes).map_err(|e| failed(path, &e))
}

fn failed(path: &Path, error: &std::io::Error) -> Failure {
    Failure::Failed(format!("{}: {error}", path.display()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_release_has_the_versions_tag() {
        let tag = |tag: &str| release_tag(&[tag.to_owned()]);
        assert!(tag(concat!("v", env!("CARGO_PKG_VERSION"))).is_ok());
        assert!(matches!(tag(env!("CARGO_PKG_VERSION")), Err(Failure::Failed(_))));
        assert!(matches!(tag("v99.0.0"), Err(Failure::Failed(_))));
    }
}
