//! Reads rig files.

use std::io::ErrorKind;
use std::path::Path;

use sumproof_files::{ReadTextError, read_text};
use sumproof_report::rig::file::{LARGEST_BYTES, RigFile, parse};

use crate::exit;
use sumproof_recordings::error::shown;

/// Why there is no rig. Its text is one line.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RigError {
    /// The file can't be read.
    #[error("{0}")]
    Unreadable(String),
    /// Its contents have an error.
    #[error("{0}")]
    Wrong(String),
    /// The command line has an error.
    #[error("{0}")]
    Usage(String),
}

impl RigError {
    /// The exit code of the command: see [`exit::TABLE`].
    #[must_use]
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Unreadable(_) => 10,
            Self::Wrong(_) => exit::RIG_FILE,
            Self::Usage(_) => exit::USAGE,
        }
    }

    /// Prints the error and returns its exit code.
    #[must_use]
    pub fn end(&self) -> u8 {
        eprintln!("{self}");
        self.exit_code()
    }
}

/// The rig file at `path`.
///
/// # Errors
/// It can't be read or has an error: one line that names it.
pub fn read(path: &Path) -> Result<RigFile, RigError> {
    let name = shown(path);
    let text = text(path, LARGEST_BYTES, "rig file")?;
    parse(&text).map_err(|error| RigError::Wrong(format!("{name}: {error}")))
}

/// The text of a file of at most `largest` bytes; `what` names its kind in errors.
///
/// # Errors
/// It can't be read, is longer, or is not text: one line that names it.
pub fn text(path: &Path, largest: u64, what: &str) -> Result<String, RigError> {
    let name = shown(path);
    read_text(path, largest).map_err(|error| match error {
        ReadTextError::Io(error) if error.kind() == ErrorKind::NotFound => {
            RigError::Unreadable(format!("{name}: there is no such file; check the name"))
        }
        ReadTextError::Io(error) => RigError::Unreadable(format!(
            "{name}: could not be read ({error}); check its permissions"
        )),
        ReadTextError::Folder => RigError::Unreadable(format!("{name}: is a folder; name the {what} in it")),
        ReadTextError::TooLong => RigError::Wrong(format!(
            "{name}: is longer than {} MB, which no {what} is; name a {what}",
            largest >> 20
        )),
        ReadTextError::NotText => RigError::Wrong(format!("{name}: is not a text in UTF-8; save it as one")),
    })
}

/// The rig file at `path`, or two straight lines without one.
///
/// # Errors
/// As [`read`].
pub fn read_or_default(path: Option<&Path>) -> Result<RigFile, RigError> {
    path.map_or_else(|| Ok(RigFile::default()), read)
}
