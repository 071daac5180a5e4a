//! Resolves a path to the target that is to be written.

use std::fs;
use std::io::{self, ErrorKind};
use std::path::{Component, Path, PathBuf};

/// Most links followed before they are taken for a loop (as on Linux: `path_resolution(7)`).
const MOST_LINKS: usize = 40;

/// The target for a file to be written at some path.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Target {
    /// A file at the end of all links, existing or not.
    File(PathBuf),
    /// A pipe, a device or an open descriptor: written to directly.
    Stream,
    /// This process's standard output.
    Output,
    /// Its standard error output.
    ErrorOutput,
}

/// Follows the links of a path.
///
/// # Errors
/// The path is a folder, its folder doesn't exist, the links form a loop, or the system reports an error.
pub(crate) fn target(path: &Path) -> io::Result<Target> {
    let mut path = path.to_path_buf();
    for _ in 0..MOST_LINKS {
        let name = path
            .file_name()
            .ok_or_else(|| io::Error::new(ErrorKind::InvalidInput, "the name of a file is missing"))?;
        let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
        let folder = folder.unwrap_or(Path::new(".")).canonicalize()?;
        // The name of an open descriptor is a link to a file, but the file itself is not meant: a process that uses the
        // descriptor would go on with the old file.
        if let Some(own) = names_descriptors(&folder) {
            return Ok(match name.to_str() {
                Some("1") if own => Target::Output,
                Some("2") if own => Target::ErrorOutput,
                _ => Target::Stream,
            });
        }
        let place = folder.join(name);
        let found = match fs::symlink_metadata(&place) {
            Err(error) if error.kind() == ErrorKind::NotFound => return Ok(Target::File(place)),
            found => found?.file_type(),
        };
        if found.is_symlink() {
            // A relative link starts from its own folder.
            path = folder.join(fs::read_link(&place)?);
        } else if found.is_dir() {
            return Err(io::Error::new(ErrorKind::IsADirectory, "it is a folder"));
        } else if found.is_file() {
            return Ok(Target::File(place));
        } else {
            return Ok(Target::Stream);
        }
    }
    Err(io::Error::other("its links lead in a circle"))
}

/// Whether a folder holds the names of a process's open descriptors (`/dev/fd`, or `/proc/1/fd` and the like):
/// `Some(true)` if that process is this one.
fn names_descriptors(folder: &Path) -> Option<bool> {
    let parts: Vec<&str> = folder
        .components()
        .filter_map(|part| match part {
            Component::Normal(name) => name.to_str(),
            _ => None,
        })
        .collect();
    match parts.as_slice() {
        _ if !folder.is_absolute() => None,
        ["dev", "fd"] => Some(true),
        ["proc", process, "fd"] | ["proc", process, "task", _, "fd"] => {
            Some(process.parse() == Ok(std::process::id()))
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn descriptors_are_known_by_their_folder() {
        let own = format!("/proc/{}/fd", std::process::id());
        for (folder, expected) in [
            ("/dev/fd", Some(true)),
            (own.as_str(), Some(true)),
            ("/proc/1/fd", Some(false)),
            ("/proc/1/task/18/fd", Some(false)),
            ("/dev", None),
            ("/dev/shm", None),
            ("/proc/1", None),
            ("dev/fd", None),
            ("/home/dev/fd", None),
        ] {
            assert_eq!(names_descriptors(Path::new(folder)), expected, "{folder}");
        }
    }

    #[test]
    fn a_name_is_needed_and_a_folder_is_none() {
        assert!(target(Path::new("/")).is_err());
        assert!(target(Path::new("..")).is_err());
        assert!(target(&std::env::temp_dir()).is_err());
        assert!(target(&std::env::temp_dir().join("no such folder/file")).is_err());
    }
}
