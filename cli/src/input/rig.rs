//! Reading rig files.

use std::fs;
use std::io::ErrorKind;
use std::path::Path;

use sumproof_report::rig::file::{RigFile, parse};

use crate::exit;
use crate::input::error::shown;

/// A rig file is a page of text; what is larger is another kind of file, and isn't read into memory.
const LARGEST_BYTES: u64 = 1 << 20;

/// Why there is no rig. Its text is one line.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RigError {
    /// The file can't be read.
    #[error("{0}")]
    Unreadable(String),
    /// What stands in it is wrong.
    #[error("{0}")]
    Wrong(String),
    /// What the command line says is wrong.
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

    /// Says it, and gives the exit code: how a command ends that has no rig.
    #[must_use]
    pub fn end(&self) -> u8 {
        eprintln!("{self}");
        self.exit_code()
    }
}

/// The rig file at `path`.
///
/// # Errors
/// It can't be read, or is wrong: one line that names it.
pub fn read(path: &Path) -> Result<RigFile, RigError> {
    let name = shown(path);
    let unreadable = |why: &str| RigError::Unreadable(format!("{name}: {why}"));
    let found = fs::metadata(path).map_err(|error| {
        unreadable(&match error.kind() {
            ErrorKind::NotFound => "there is no such file; check the name".to_string(),
            _ => format!("could not be read ({error}); check its permissions"),
        })
    })?;
    if found.is_dir() {
        return Err(unreadable("is a folder; name the rig file in it"));
    }
    if found.len() > LARGEST_BYTES {
        return Err(RigError::Wrong(format!(
            "{name}: is {} MB long, which no rig file is; name a rig file",
            found.len() >> 20
        )));
    }
    let bytes = fs::read(path)
        .map_err(|error| unreadable(&format!("could not be read ({error}); check its permissions")))?;
    let text = String::from_utf8(bytes)
        .map_err(|_| RigError::Wrong(format!("{name}: is not a text in UTF-8; save it as one")))?;
    parse(&text).map_err(|error| RigError::Wrong(format!("{name}: {error}")))
}

/// The rig file at `path`, or two straight lines without one.
///
/// # Errors
/// As [`read`].
pub fn read_or_default(path: Option<&Path>) -> Result<RigFile, RigError> {
    path.map_or_else(|| Ok(RigFile::default()), read)
}
