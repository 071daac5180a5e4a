//! Sources of a recording's bytes.

use std::fs::File;
use std::io::{Error, ErrorKind};
use std::path::Path;

use symphonia::core::io::MediaSource;

use crate::error::ReadError;

/// A source of a recording's bytes: a file, or anything else that has a name and can be read.
pub trait Origin {
    /// Its name in messages.
    fn path(&self) -> &Path;

    /// Its bytes from the beginning. May be called again while earlier streams are still in use.
    ///
    /// # Errors
    /// One line that says why it can't be opened.
    fn open(&self) -> Result<Box<dyn MediaSource>, ReadError>;
}

/// A file on disk.
pub(crate) struct OnDisk<'a>(pub &'a Path);

impl Origin for OnDisk<'_> {
    fn path(&self) -> &Path {
        self.0
    }

    fn open(&self) -> Result<Box<dyn MediaSource>, ReadError> {
        let file = File::open(self.0).map_err(|error| unreadable(self.0, &error))?;
        let about = file.metadata().map_err(|error| unreadable(self.0, &error))?;
        if about.is_dir() {
            return Err(ReadError::Unreadable {
                path: self.0.into(),
                reason: "is a folder; name the files in it".into(),
            });
        }
        Ok(Box::new(file))
    }
}

pub(crate) fn unreadable(path: &Path, error: &Error) -> ReadError {
    ReadError::Unreadable {
        path: path.into(),
        reason: match error.kind() {
            ErrorKind::NotFound => "there is no such file; check the name".into(),
            ErrorKind::PermissionDenied => "may not be read; check its permissions".into(),
            _ => format!("cannot be read ({error})"),
        },
    }
}
