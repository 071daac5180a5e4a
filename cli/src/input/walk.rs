//! Resolves the files and folders named on the command line to single files.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use crate::input::wildcard;
use sumproof_recordings::error::ReadError;

/// Extensions of the files that are read when a folder is walked; a file named itself may have any.
pub const EXTENSIONS: [&str; 27] = [
    "wav", "wave", "rf64", "bw64", "w64", "aif", "aiff", "aifc", "caf", "flac", "mp3", "aac", "m4a", "m4b",
    "mp4", "m4v", "mov", "3gp", "3g2", "ogg", "oga", "opus", "mka", "mkv", "webm", "ogv", "ogx",
];

/// Every file named, and every audio file below a folder named, in the order given and by name inside a folder. Hidden
/// files are left out, and no folder is walked twice (links can form loops).
///
/// A path that can't be walked is in the list as an error, in its place.
#[must_use]
pub fn walk(named: &[PathBuf]) -> Vec<Result<PathBuf, ReadError>> {
    let mut found = Vec::new();
    let named = named
        .iter()
        .flat_map(|path| wildcard::expanded(path).unwrap_or_else(|| vec![path.clone()]));
    for path in named {
        let path = &path;
        if path.is_dir() {
            let before = found.len();
            into(path, &mut BTreeSet::new(), &mut found);
            if found.len() == before {
                found.push(Err(ReadError::Unreadable {
                    path: path.clone(),
                    reason: "is a folder with no audio files in it (WAV, AIFF, FLAC, M4A, MP3, Ogg and others); name another"
                        .into(),
                }));
            }
        } else {
            found.push(Ok(path.clone()));
        }
    }
    found
}

fn into(folder: &Path, seen: &mut BTreeSet<PathBuf>, found: &mut Vec<Result<PathBuf, ReadError>>) {
    let unreadable = |error: std::io::Error| ReadError::Unreadable {
        path: folder.into(),
        reason: format!("is a folder that can't be looked into ({error}); check its permissions"),
    };
    match folder.canonicalize() {
        Ok(real) => {
            if !seen.insert(real) {
                return;
            }
        }
        Err(error) => return found.push(Err(unreadable(error))),
    }
    let mut inside: Vec<PathBuf> = match fs::read_dir(folder) {
        Ok(entries) => entries
            .filter_map(|entry| entry.ok().map(|entry| entry.path()))
            .collect(),
        Err(error) => return found.push(Err(unreadable(error))),
    };
    inside.sort();
    for path in inside {
        if path
            .file_name()
            .is_none_or(|name| name.to_string_lossy().starts_with('.'))
        {
            continue;
        }
        if path.is_dir() {
            into(&path, seen, found);
        } else if is_audio(&path) {
            found.push(Ok(path));
        }
    }
}

fn is_audio(path: &Path) -> bool {
    path.extension().is_some_and(|extension| {
        EXTENSIONS
            .iter()
            .any(|known| extension.eq_ignore_ascii_case(known))
    })
}
