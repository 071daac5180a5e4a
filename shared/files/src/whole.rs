//! Puts a file in place in one step.

use std::fs::{self, File, OpenOptions};
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

use crate::target::{Target, target};

/// Writes `contents` to the target of `path`, or creates a file there.
///
/// A regular file is replaced in one step, keeps its permissions, and is on disk when this returns; links to it are
/// followed. A pipe, a device or an open descriptor (`/dev/stdout`) is written to directly; it is no error if its
/// reader stops early.
///
/// # Errors
/// The system's error. An existing regular file is then unchanged, and nothing else is left.
pub fn write_whole(path: &Path, contents: &[u8]) -> io::Result<()> {
    let place = match target(path)? {
        Target::Stream => {
            // Appended, because the descriptor may belong to a file that already has contents.
            let stream = OpenOptions::new().append(true).open(path);
            return stream.and_then(|stream| write_to(stream, contents));
        }
        // Not opened again: other output to the same descriptor must continue after this.
        Target::Output => return write_to(io::stdout().lock(), contents),
        Target::ErrorOutput => return write_to(io::stderr().lock(), contents),
        Target::File(place) => place,
    };
    let folder = place.parent().unwrap_or(Path::new("."));
    let partial = Partial::write(folder, contents)?;
    match fs::metadata(&place) {
        Ok(found) => fs::set_permissions(&partial.path, found.permissions())?,
        Err(error) if error.kind() == ErrorKind::NotFound => {}
        Err(error) => return Err(error),
    }
    fs::rename(&partial.path, &place)?;
    partial.placed();
    settle(folder);
    Ok(())
}

fn write_to(mut stream: impl Write, contents: &[u8]) -> io::Result<()> {
    match stream.write_all(contents).and_then(|()| stream.flush()) {
        Err(error) if error.kind() == ErrorKind::BrokenPipe => Ok(()),
        done => done,
    }
}

/// Makes a new name in a folder survive a loss of power. Not every system can; the file itself is safe either way.
pub(crate) fn settle(folder: &Path) {
    let _ = File::open(folder).and_then(|folder| folder.sync_all());
}

/// A file that is written but not in place yet. It is removed unless it is put in place.
pub(crate) struct Partial {
    pub(crate) path: PathBuf,
    in_place: bool,
}

impl Partial {
    /// Writes a file in a folder under a unique name, and waits until it is on disk.
    pub(crate) fn write(folder: &Path, contents: &[u8]) -> io::Result<Self> {
        /// Number of files begun by this process.
        static BEGUN: AtomicU64 = AtomicU64::new(0);
        let (mut file, partial) = loop {
            let number = BEGUN.fetch_add(1, Ordering::Relaxed);
            let path = folder.join(format!(".sumproof-{}-{number}.part", std::process::id()));
            match File::create_new(&path) {
                Ok(file) => {
                    let partial = Self {
                        path,
                        in_place: false,
                    };
                    break (file, partial);
                }
                // Left behind by a terminated process with the same id.
                Err(error) if error.kind() == ErrorKind::AlreadyExists => {}
                Err(error) => return Err(error),
            }
        };
        file.write_all(contents)?;
        file.sync_all()?;
        Ok(partial)
    }

    /// It is now in place under another name and no longer here.
    pub(crate) fn placed(mut self) {
        self.in_place = true;
    }
}

impl Drop for Partial {
    fn drop(&mut self) {
        if !self.in_place {
            // The original error is the one worth reporting.
            let _ = fs::remove_file(&self.path);
        }
    }
}
