//! The real recordings that the tests measure: Debian's `sonic-pi-samples` (each file used is CC0 by its own stanza in
//! the package's copyright file).

use crate::run::{Failure, output_of, run};
use crate::{needs, place};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

const PACKAGE: &str = "sonic-pi-samples";

/// Where the package keeps its recordings.
const FOLDER: &str = "usr/share/sonic-pi/samples";

/// The two stereo guitar recordings with published reference values. A file that differs would make every comparison
/// meaningless.
const SHA256: [(&str, &str); 2] = [
    (
        "guit_em9.flac",
        "e6dbbdc5aef03fada9cbd84d9ef000472c6954db9badcf5721969c515d46c2f1",
    ),
    (
        "guit_e_fifths.flac",
        "b609553b02becbada9ec00a6a13e88bbde6b7ce29098063f4b3f27209ff13f79",
    ),
];

/// Returns the folder of recordings: installed, unpacked before, or fetched now.
///
/// # Errors
/// [`Failure::Missing`] when it can neither be found nor fetched.
pub fn provide() -> Result<PathBuf, Failure> {
    let cache = place::target().join("cache").join(PACKAGE);
    let places = [Path::new("/").join(FOLDER), cache.join(FOLDER)];
    if let Some(found) = places.iter().find(|folder| are_right(folder)) {
        return Ok(found.clone());
    }
    fetch(&cache)?;
    let folder = cache.join(FOLDER);
    if are_right(&folder) {
        Ok(folder)
    } else {
        Err(Failure::Failed(format!(
            "the recordings of {PACKAGE} are not the ones that the reference values were computed from"
        )))
    }
}

/// Downloads the package, which needs no root, and unpacks it without installing.
fn fetch(cache: &Path) -> Result<(), Failure> {
    let by_hand = || {
        Failure::Missing(format!(
            "the recordings are missing; run\n  sudo apt-get update\nand try again, or\n  sudo apt-get install {PACKAGE}"
        ))
    };
    let io = |e: std::io::Error| Failure::Failed(format!("{}: {e}", cache.display()));
    let partial = cache.with_extension("part");
    for stale in [cache, partial.as_path()] {
        if stale.exists() {
            fs::remove_dir_all(stale).map_err(io)?;
        }
    }
    fs::create_dir_all(&partial).map_err(io)?;
    eprintln!("fetching {PACKAGE} (22 MB)");
    if download(&partial).is_err() {
        if !needs::is_root() {
            return Err(by_hand());
        }
        needs::update_lists()?;
        download(&partial).map_err(|_| by_hand())?;
    }
    let package = fs::read_dir(&partial)
        .map_err(io)?
        .filter_map(|entry| entry.ok().map(|entry| entry.path()))
        .find(|path| path.extension().is_some_and(|extension| extension == "deb"))
        .ok_or_else(by_hand)?;
    run(Command::new("dpkg-deb").arg("-x").arg(&package).arg(&partial))?;
    fs::remove_file(&package).map_err(io)?;
    fs::rename(&partial, cache).map_err(io)
}

fn download(into: &Path) -> Result<(), Failure> {
    // Root's download would otherwise complain that the sandbox user cannot write here.
    run(needs::apt_get()
        .args(["-q", "-o", "APT::Sandbox::User=root", "download", PACKAGE])
        .current_dir(into))
}

/// Whether both recordings are there and the right ones.
fn are_right(folder: &Path) -> bool {
    SHA256.iter().all(|(name, expected)| {
        output_of(Command::new("sha256sum").arg(folder.join(name)))
            .is_some_and(|line| line.split_whitespace().next() == Some(expected))
    })
}
