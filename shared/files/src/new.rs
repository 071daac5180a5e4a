//! Files under names that are free.

use std::fs;
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

use crate::whole::{Partial, settle};

/// Files of one name, told apart by numbers.
const MOST_NUMBERS: u32 = 9999;

/// Writes a file into a folder (which is made where it is missing) under the first name that is free: `takes.json`, `takes
/// 2.json` and so on; gives its path. Nothing is ever replaced.
///
/// # Errors
/// What the system says; nothing is left.
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
        // A link never replaces a file that came in between. Where there are none, a rename has to do.
        match fs::hard_link(&partial.path, &path) {
            // The name it was written under goes.
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
