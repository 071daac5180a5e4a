//! Where a recording's bytes come from.

use std::fs::File;
use std::io::{Error, ErrorKind};
use std::path::Path;

use symphonia::core::io::MediaSource;

use crate::error::ReadError;

/// Where a recording's bytes come from: a file, or whatever else has a name and can be read.
pub trait Origin {
    /// What it is called in what is said of it.
    fn path(&self) -> &Path;

    /// Its bytes from the beginning. May be asked for again while earlier ones are still in use.
    ///
    /// # Errors
    /// One line that says why there are none.
    fn open(&self) -> Result<Box<dyn MediaSource>, ReadError>;
}

/// A file of the system's.
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
