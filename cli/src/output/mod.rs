//! Where results go: a file (written by [`sumproof_files`], so that nobody finds half of one) or the terminal.

pub mod wav;

use std::io::{self, Write};
use std::path::Path;

pub use sumproof_files::write_whole;
use sumproof_report::Form;

use crate::exit;
use sumproof_recordings::error::shown;

/// How wide a text may be that goes there, or to the terminal without a place, and whether its columns are to be explained.
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
        shown(path)
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
