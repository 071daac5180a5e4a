//! Writing files so that nobody finds half of one.

pub mod wav;

use std::ffi::OsString;
use std::fs;
use std::io::{self, Write};
use std::path::Path;

use crate::exit;

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

/// Writes to that file, or to the terminal without one.
///
/// # Errors
/// One line that says what could not be written and what to do.
pub fn deliver(path: Option<&Path>, contents: &[u8]) -> Result<(), String> {
    let Some(path) = path else {
        return to_terminal(contents);
    };
    write_whole(path, contents).map_err(|error| refused(path, &error))
}

/// The same as the last thing a command does: what could not be written is said, and the exit code is that of it, else `code`.
#[must_use]
pub fn hand_over(path: Option<&Path>, contents: &[u8], code: u8) -> u8 {
    match deliver(path, contents) {
        Ok(()) => code,
        Err(line) => {
            eprintln!("{line}");
            exit::OUTPUT
        }
    }
}

/// The line for a place that can't be written to.
#[must_use]
pub fn refused(path: &Path, error: &io::Error) -> String {
    format!(
        "{}: could not be written ({error}); choose another place",
        path.display()
    )
}

fn to_terminal(contents: &[u8]) -> Result<(), String> {
    let mut out = io::stdout().lock();
    match out.write_all(contents).and_then(|()| out.flush()) {
        Ok(()) => Ok(()),
        // Whoever reads the pipe has seen enough.
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        Err(error) => Err(format!("the output could not be written ({error})")),
    }
}
