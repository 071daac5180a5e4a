//! A file supplied by the page, as an [`Origin`].

use std::io::{Error, ErrorKind, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use sumproof_recordings::{Origin, ReadError};
use symphonia::core::io::MediaSource;

use crate::ask::File;

/// Reads a piece of a file: `(file, offset, into)`, returns the number of bytes read; `None` when the page can't read
/// it.
pub type Pieces = Arc<dyn Fn(u32, u64, &mut [u8]) -> Option<usize> + Send + Sync>;

/// A file and its reader.
pub struct Given {
    path: PathBuf,
    file: File,
    pieces: Pieces,
}

impl Given {
    /// Wraps a file.
    #[must_use]
    pub fn new(file: &File, pieces: &Pieces) -> Self {
        Self {
            path: PathBuf::from(&file.name),
            file: file.clone(),
            pieces: Arc::clone(pieces),
        }
    }
}

impl Origin for Given {
    fn path(&self) -> &Path {
        &self.path
    }

    fn open(&self) -> Result<Box<dyn MediaSource>, ReadError> {
        Ok(Box::new(Stream {
            file: self.file.id,
            len: self.file.len,
            at: 0,
            pieces: Arc::clone(&self.pieces),
        }))
    }
}

/// A position in a file.
struct Stream {
    file: u32,
    len: u64,
    at: u64,
    pieces: Pieces,
}

impl Read for Stream {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        let left = usize::try_from(self.len.saturating_sub(self.at)).unwrap_or(usize::MAX);
        let wanted = into.len().min(left);
        if wanted == 0 {
            return Ok(0);
        }
        let count = (self.pieces)(self.file, self.at, &mut into[..wanted])
            .ok_or_else(|| Error::other("the browser gives it no longer"))?
            .min(wanted);
        self.at += count as u64;
        Ok(count)
    }
}

impl Seek for Stream {
    fn seek(&mut self, to: SeekFrom) -> std::io::Result<u64> {
        let at = match to {
            SeekFrom::Start(at) => Some(at),
            SeekFrom::Current(by) => self.at.checked_add_signed(by),
            SeekFrom::End(by) => self.len.checked_add_signed(by),
        };
        self.at = at.ok_or_else(|| Error::from(ErrorKind::InvalidInput))?;
        Ok(self.at)
    }
}

impl MediaSource for Stream {
    fn is_seekable(&self) -> bool {
        true
    }

    fn byte_len(&self) -> Option<u64> {
        Some(self.len)
    }
}
