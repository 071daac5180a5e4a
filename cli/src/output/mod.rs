//! Writes results to a file (by [`sumproof_files`], so that no reader finds a partly written one) or to the terminal.

pub mod wav;

use std::io::{self, Write};
use std::path::Path;

pub use sumproof_files::write_whole;
use sumproof_report::Form;

use crate::exit;
use sumproof_recordings::error::shown;

/// Width of a text for the file or, without a path, for the terminal, and whether its columns are explained.
#[must_use]
pub fn form(path: Option<&Path>, explain: bool) -> Form {
    let terminal = terminal_size::terminal_size_of(io::stdout()).filter(|_| path.is_none());
    Form {
        columns: terminal.map_or(Form::USUAL, |(width, _)| {
            usize::from(width.0).clamp(Form::LEAST, Form::MOST)
        }),
        explain,
    }
}

/// Writes to the file, or to the terminal without one.
///
/// # Errors
/// One line that says what could not be written and what to do.
pub fn deliver(path: Option<&Path>, contents: &[u8]) -> Result<(), String> {
    let Some(path) = path else {
        return to_terminal(contents);
    };
    write_whole(path, contents).map_err(|error| refused(path, &error))
}

/// The same as a command's last step: prints an error if writing fails and returns its exit code, else returns `code`.
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

/// The error for a path that can't be written to.
#[must_use]
pub fn refused(path: &Path, error: &io::Error) -> String {
    format!(
        "{}: could not be written ({error}); choose another place",
        shown(path)
    )
}

fn to_terminal(contents: &[u8]) -> Result<(), String> {
    let mut out = io::stdout().lock();
    match out.write_all(contents).and_then(|()| out.flush()) {
        Ok(()) => Ok(()),
        // The pipe's reader has stopped early.
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        Err(error) => Err(format!("the output could not be written ({error})")),
    }
}
