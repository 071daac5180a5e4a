//! Writes files under free names.

use std::fs;
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

use crate::whole::{Partial, settle};

/// Highest number tried in a name.
const MOST_NUMBERS: u32 = 9999;

/// Writes a file into a folder (which is created if it is missing) under the first free name: `takes.json`, `takes
/// 2.json` and so on; returns its path. No file is ever replaced.
///
/// # Errors
/// The system's error; nothing is left.
pub fn write_new(folder: &Path, stem: &str, extension: &str, contents: &[u8]) -> io::Result<PathBuf> {
    fs::create_dir_all(folder)?;
    let partial = Partial::write(folder, contents)?;
    for number in 1..=MOST_NUMBERS {
        let name = if number == 1 {
            format!("{stem}.{extension}")
        } else {
            format!("{stem} {number}.{extension}")
        };
        let path = folder.join(name);
        if fs::symlink_metadata(&path).is_ok() {
            continue;
        }
        // A hard link never replaces a file created in the meantime. Where links aren't supported, a rename has to do.
        match fs::hard_link(&partial.path, &path) {
            // Removes the temporary name.
            Ok(()) => drop(partial),
            Err(error) if error.kind() == ErrorKind::AlreadyExists => continue,
            Err(_) => {
                fs::rename(&partial.path, &path)?;
                partial.placed();
            }
        }
        settle(folder);
        return Ok(path);
    }
    Err(io::Error::other("there are too many files of that name"))
}
