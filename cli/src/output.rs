//! Writing files so that nobody finds half of one.

use std::ffi::OsString;
use std::fs;
use std::io;
use std::path::Path;

/// Writes `contents` to a temporary file beside `path` and renames it into place.
///
/// # Errors
/// What the system says; the temporary file is removed.
pub fn write_whole(path: &Path, contents: &[u8]) -> io::Result<()> {
    let name = path
        .file_name()
        .ok_or_else(|| io::Error::new(io::ErrorKind::InvalidInput, "the name of a file is missing"))?;
    let mut temporary = OsString::from(".");
    temporary.push(name);
    temporary.push(format!(".{}.part", std::process::id()));
    let temporary = path.with_file_name(temporary);
    fs::write(&temporary, contents)
        .and_then(|()| fs::rename(&temporary, path))
        .inspect_err(|_| {
            // The first error is the one worth telling.
            let _ = fs::remove_file(&temporary);
        })
}
