//! Reads text files of unknown size and content.

use std::fs::File;
use std::io::{self, ErrorKind, Read};
use std::path::Path;

/// Why a text was not read.
#[derive(Debug)]
pub enum ReadTextError {
    /// The system's error.
    Io(io::Error),
    /// It is a folder.
    Folder,
    /// It is longer than the limit.
    TooLong,
    /// It is not text in UTF-8.
    NotText,
}

impl From<io::Error> for ReadTextError {
    fn from(error: io::Error) -> Self {
        match error.kind() {
            ErrorKind::IsADirectory => Self::Folder,
            _ => Self::Io(error),
        }
    }
}

/// The text of a file of at most `limit` bytes. No more than that is ever held in memory, whatever length the file
/// claims or a pipe delivers.
///
/// # Errors
/// See [`ReadTextError`].
pub fn read_text(path: &Path, limit: u64) -> Result<String, ReadTextError> {
    let file = File::open(path)?;
    let about = file.metadata()?;
    if about.is_dir() {
        return Err(ReadTextError::Folder);
    }
    if about.is_file() && about.len() > limit {
        return Err(ReadTextError::TooLong);
    }
    let mut bytes = Vec::new();
    file.take(limit.saturating_add(1)).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > limit {
        return Err(ReadTextError::TooLong);
    }
    String::from_utf8(bytes).map_err(|_| ReadTextError::NotText)
}
