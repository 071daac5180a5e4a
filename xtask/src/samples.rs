//! The real sounds measured by the tests: recordings of Debian's `sonic-pi-samples` (each file used is CC0 by its own
//! stanza in the package's copyright file), and a hall's response of Debian's `guitarix-common`.

use crate::run::{Failure, output_of, run};
use crate::{needs, place};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// A Debian package whose files the tests use.
struct Package {
    name: &'static str,
    /// Folder of these files.
    folder: &'static str,
    size_mb: u32,
    /// Files with published reference values, by checksum. A different file would make every comparison meaningless.
    sha256: &'static [(&'static str, &'static str)],
}

/// Recordings.
const RECORDINGS: Package = Package {
    name: "sonic-pi-samples",
    folder: "usr/share/sonic-pi/samples",
    size_mb: 22,
    sha256: &[
        (
            "guit_em9.flac",
            "e6dbbdc5aef03fada9cbd84d9ef000472c6954db9badcf5721969c515d46c2f1",
        ),
        (
            "guit_e_fifths.flac",
            "b609553b02becbada9ec00a6a13e88bbde6b7ce29098063f4b3f27209ff13f79",
        ),
    ],
};

/// The response of a hall. The package is GPL: a test uses it, and no part of it is kept in this repository.
const HALL: Package = Package {
    name: "guitarix-common",
    folder: "usr/share/gx_head/sounds",
    size_mb: 26,
    sha256: &[(
        "greathall.wav",
        "2124c0591dfc7c4c54e047feff2752126e29b84389bea42c990599fb0ed5e757",
    )],
};

/// The responses of a street, left and right. The package is small, and GPL as above.
const STREET: Package = Package {
    name: "jconvolver-config-files",
    folder: "usr/share/jconvolver/config-files",
    size_mb: 1,
    sha256: &[
        (
            "demo-reverbs/street2-L.wav",
            "f7d5d72c39452469549c8e6785e4354c78b8175eb99ff6fc85ad770f38073dfc",
        ),
        (
            "demo-reverbs/street2-R.wav",
            "9b466b8ff501f842dfceb6743d1739ac075a910fcba81dbb80e1d1119fb99fbf",
        ),
    ],
};

/// Returns the folder of recordings: of the installed package, unpacked earlier, or downloaded now.
///
/// # Errors
/// [`Failure::Missing`] if it can be neither found nor downloaded.
pub fn provide() -> Result<PathBuf, Failure> {
    folder_of(&RECORDINGS)
}

/// Returns the folder with the hall's response, found the same way.
///
/// # Errors
/// As [`provide`].
pub fn provide_hall() -> Result<PathBuf, Failure> {
    folder_of(&HALL)
}

/// Returns the folder with the street's responses, found the same way.
///
/// # Errors
/// As [`provide`].
pub fn provide_street() -> Result<PathBuf, Failure> {
    folder_of(&STREET)
}

fn folder_of(package: &Package) -> Result<PathBuf, Failure> {
    let cache = place::target().join("cache").join(package.name);
    let places = [Path::new("/").join(package.folder), cache.join(package.folder)];
    if let Some(found) = places.iter().find(|folder| are_right(package, folder)) {
        return Ok(found.clone());
    }
    fetch(package, &cache)?;
    let folder = cache.join(package.folder);
    if are_right(package, &folder) {
        Ok(folder)
    } else {
        Err(Failure::Failed(format!(
            "the files of {} are not the ones that the reference values were computed from",
            package.name
        )))
    }
}

/// Downloads the package, which doesn't need root, and unpacks it without installing it.
fn fetch(wanted: &Package, cache: &Path) -> Result<(), Failure> {
    let name = wanted.name;
    let by_hand = || {
        Failure::Missing(format!(
            "the files of {name} are missing; run\n  sudo apt-get update\nand try again, or\n  sudo apt-get install {name}"
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
    eprintln!("fetching {name} ({} MB)", wanted.size_mb);
    if download(name, &partial).is_err() {
        if !needs::is_root() {
            return Err(by_hand());
        }
        needs::update_lists()?;
        download(name, &partial).map_err(|_| by_hand())?;
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

fn download(name: &str, into: &Path) -> Result<(), Failure> {
    // As root, the download would otherwise complain that the sandbox user can't write here.
    run(needs::apt_get()
        .args(["-q", "-o", "APT::Sandbox::User=root", "download", name])
        .current_dir(into))
}

/// Whether the files with reference values exist and are the right ones.
fn are_right(package: &Package, folder: &Path) -> bool {
    package.sha256.iter().all(|(name, expected)| {
        output_of(Command::new("sha256sum").arg(folder.join(name)))
            .is_some_and(|line| line.split_whitespace().next() == Some(expected))
    })
}
