//! Archives: the same bytes from the same files, on whatever system they are packed.

use crate::run::Failure;
use flate2::Compression;
use flate2::write::GzEncoder;
use sha2::{Digest, Sha256};
use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use tar::{Builder, EntryType, Header, HeaderMode};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipWriter};

/// Endings of files that are not executable; all others may be.
const PAPERS: [&str; 9] = ["md", "txt", "1", "plist", "toml", "json", "png", "html", "css"];

/// Packs a folder, under its own name, into a `.tar.gz` beside it, and returns the archive's path.
///
/// # Errors
/// A file that can't be read or written.
pub fn tar_gz(folder: &Path) -> Result<PathBuf, Failure> {
    packed(folder, "tar.gz", |out| {
        let gz = GzEncoder::new(out, Compression::best());
        let mut tar = Builder::new(gz);
        tar.mode(HeaderMode::Deterministic);
        for (name, path) in named(folder)? {
            let bytes = fs::read(&path)?;
            let mut header = Header::new_ustar();
            header.set_entry_type(EntryType::Regular);
            header.set_size(bytes.len() as u64);
            header.set_mode(mode(&path));
            header.set_mtime(0);
            tar.append_data(&mut header, name, bytes.as_slice())?;
        }
        tar.into_inner()?.finish()
    })
}

/// Packs a folder, under its own name, into a `.zip` beside it, and returns the archive's path.
///
/// # Errors
/// A file that can't be read or written.
pub fn zip(folder: &Path) -> Result<PathBuf, Failure> {
    packed(folder, "zip", |out| {
        let mut zip = ZipWriter::new(out);
        for (name, path) in named(folder)? {
            let options = SimpleFileOptions::default()
                .compression_method(CompressionMethod::Deflated)
                .compression_level(Some(9))
                .last_modified_time(DateTime::default())
                .unix_permissions(mode(&path));
            zip.start_file(name, options).map_err(io::Error::other)?;
            zip.write_all(&fs::read(&path)?)?;
        }
        zip.finish().map_err(io::Error::other)
    })
}

fn packed(
    folder: &Path,
    ending: &str,
    pack: impl FnOnce(BufWriter<File>) -> io::Result<BufWriter<File>>,
) -> Result<PathBuf, Failure> {
    let name = folder.file_name().unwrap_or_default().to_string_lossy();
    // Not `with_extension`: a version contains dots.
    let archive = folder.with_file_name(format!("{name}.{ending}"));
    File::create(&archive)
        .map(BufWriter::new)
        .and_then(pack)
        .and_then(|mut out| out.flush())
        .map_err(|e| Failure::Failed(format!("{}: {e}", archive.display())))?;
    Ok(archive)
}

/// Every file below a folder with its name in an archive, sorted by name.
fn named(folder: &Path) -> io::Result<Vec<(String, PathBuf)>> {
    let parent = folder.parent().unwrap_or(folder);
    let mut files: Vec<(String, PathBuf)> = below(folder)?
        .into_iter()
        .filter_map(|path| {
            let relative = path.strip_prefix(parent).ok()?;
            let parts: Vec<_> = relative
                .components()
                .map(|part| part.as_os_str().to_string_lossy())
                .collect();
            Some((parts.join("/"), path))
        })
        .collect();
    files.sort();
    Ok(files)
}

/// Every file below a folder.
///
/// # Errors
/// A folder that can't be read.
pub fn below(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let mut files = Vec::new();
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            files.extend(below(&path)?);
        } else {
            files.push(path);
        }
    }
    Ok(files)
}

fn mode(path: &Path) -> u32 {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let ending = path.extension().unwrap_or_default().to_string_lossy();
    let paper = PAPERS.contains(&&*ending) || name.starts_with("LICENSE") || !is_started(&name, &ending);
    if paper { 0o644 } else { 0o755 }
}

/// Whether a file is executable: not if its name is in capitals without an ending, such as `LICENSE`.
fn is_started(name: &str, ending: &str) -> bool {
    !(ending.is_empty() && name.chars().all(|c| c.is_ascii_uppercase() || c.is_ascii_digit()))
}

/// A line for each file, in the format of `sha256sum`: the sum, and the name relative to `folder`.
///
/// # Errors
/// A file that can't be read.
pub fn sums(folder: &Path, files: &[PathBuf]) -> Result<String, Failure> {
    let mut lines: Vec<(String, String)> = files
        .iter()
        .map(|path| {
            let bytes = fs::read(path).map_err(|e| Failure::Failed(format!("{}: {e}", path.display())))?;
            let name = path.strip_prefix(folder).unwrap_or(path);
            Ok((name.to_string_lossy().replace('\\', "/"), sum(&bytes)))
        })
        .collect::<Result<_, Failure>>()?;
    lines.sort();
    Ok(lines
        .iter()
        .map(|(name, sum)| format!("{sum}  {name}\n"))
        .collect())
}

fn sum(bytes: &[u8]) -> String {
    Sha256::digest(bytes)
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Read;

    fn folder(name: &str) -> PathBuf {
        let root = std::env::temp_dir().join(format!("sumproof-archive-{name}-{}", std::process::id()));
        let folder = root.join("thing-0.1.0-linux");
        fs::create_dir_all(folder.join("inner")).unwrap();
        fs::write(folder.join("README.md"), "read me").unwrap();
        fs::write(folder.join("SHA256SUMS"), "sums").unwrap();
        fs::write(folder.join("inner/program"), vec![7; 100_000]).unwrap();
        folder
    }

    #[test]
    fn a_sum_is_the_standards() {
        // FIPS 180-4, the example of NIST's "SHA-256" document: "abc".
        assert_eq!(
            sum(b"abc"),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }

    #[test]
    fn a_tar_holds_the_files_and_who_may_start_them() {
        let folder = folder("tar");
        let archive = tar_gz(&folder).unwrap();
        assert!(archive.ends_with("thing-0.1.0-linux.tar.gz"));
        let first = fs::read(&archive).unwrap();
        assert_eq!(
            first,
            fs::read(tar_gz(&folder).unwrap()).unwrap(),
            "the same bytes again"
        );
        let mut tar = tar::Archive::new(flate2::read::GzDecoder::new(first.as_slice()));
        let seen: Vec<(String, u32, u64)> = tar
            .entries()
            .unwrap()
            .map(|entry| {
                let entry = entry.unwrap();
                let name = entry.path().unwrap().to_string_lossy().into_owned();
                (name, entry.header().mode().unwrap(), entry.size())
            })
            .collect();
        fs::remove_dir_all(folder.parent().unwrap()).unwrap();
        let wanted = [
            ("thing-0.1.0-linux/README.md", 0o644, 7),
            ("thing-0.1.0-linux/SHA256SUMS", 0o644, 4),
            ("thing-0.1.0-linux/inner/program", 0o755, 100_000),
        ];
        assert_eq!(
            seen,
            wanted.map(|(name, mode, size)| (name.to_owned(), mode, size))
        );
    }

    #[test]
    fn a_zip_holds_the_same() {
        let folder = folder("zip");
        let archive = zip(&folder).unwrap();
        let first = fs::read(&archive).unwrap();
        assert_eq!(
            first,
            fs::read(zip(&folder).unwrap()).unwrap(),
            "the same bytes again"
        );
        fs::remove_dir_all(folder.parent().unwrap()).unwrap();
        let mut zip = zip::ZipArchive::new(io::Cursor::new(first)).unwrap();
        assert_eq!(zip.len(), 3);
        let mut program = zip.by_name("thing-0.1.0-linux/inner/program").unwrap();
        assert_eq!(program.unix_mode().map(|mode| mode & 0o777), Some(0o755));
        let mut bytes = Vec::new();
        program.read_to_end(&mut bytes).unwrap();
        assert_eq!(bytes, vec![7; 100_000]);
    }
}
