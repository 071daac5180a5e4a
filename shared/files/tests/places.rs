//! Where files are written, and what stays unchanged.
#![cfg(unix)]
#![allow(clippy::unwrap_used, reason = "a test panics when something is missing")]

use std::fs::{self, File, Permissions};
use std::io::{Read, Write};
use std::os::unix::fs::{FileTypeExt, MetadataExt, PermissionsExt, symlink};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::thread;

use sumproof_files::{ReadTextError, read_text, write_new, write_whole};

/// A separate folder for each test, removed afterwards.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("sumproof-files-{name}-{}", std::process::id()));
        let _ = fs::remove_dir_all(&path);
        fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    fn at(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }

    /// The names of its entries.
    fn names(&self) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(&self.0)
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

fn fifo(path: &Path) {
    assert!(Command::new("mkfifo").arg(path).status().unwrap().success());
}

#[test]
fn a_file_is_replaced_in_one_step_and_keeps_its_mode() {
    let folder = Folder::new("mode");
    let path = folder.at("a.csv");
    fs::write(&path, "what was there before").unwrap();
    fs::set_permissions(&path, Permissions::from_mode(0o640)).unwrap();
    let before = fs::metadata(&path).unwrap().ino();
    // A reader that has it open reads the whole old contents.
    let mut open = File::open(&path).unwrap();
    write_whole(&path, b"new").unwrap();
    let mut old = String::new();
    open.read_to_string(&mut old).unwrap();
    assert_eq!(old, "what was there before");
    assert_eq!(fs::read(&path).unwrap(), b"new");
    let after = fs::metadata(&path).unwrap();
    assert_eq!(after.mode() & 0o777, 0o640);
    assert_ne!(after.ino(), before);
    assert_eq!(folder.names(), ["a.csv"]);
}

#[test]
fn links_are_followed() {
    let folder = Folder::new("links");
    fs::create_dir(folder.at("real")).unwrap();
    fs::write(folder.at("real/a.csv"), "old").unwrap();
    symlink("real/a.csv", folder.at("one")).unwrap();
    symlink(folder.at("one"), folder.at("two")).unwrap();
    write_whole(&folder.at("two"), b"new").unwrap();
    assert!(fs::symlink_metadata(folder.at("two")).unwrap().is_symlink());
    assert!(fs::symlink_metadata(folder.at("one")).unwrap().is_symlink());
    assert_eq!(fs::read(folder.at("real/a.csv")).unwrap(), b"new");
    // A link to a missing file creates that file.
    symlink("real/b.csv", folder.at("three")).unwrap();
    write_whole(&folder.at("three"), b"made").unwrap();
    assert!(fs::symlink_metadata(folder.at("three")).unwrap().is_symlink());
    assert_eq!(fs::read(folder.at("real/b.csv")).unwrap(), b"made");
    symlink("round", folder.at("round")).unwrap();
    assert!(write_whole(&folder.at("round"), b"x").is_err());
}

#[test]
fn a_pipe_is_written_to() {
    let folder = Folder::new("pipe");
    let path = folder.at("pipe");
    fifo(&path);
    let long = vec![b'x'; 1 << 20];
    let reader = thread::spawn({
        let path = path.clone();
        move || fs::read(path).unwrap()
    });
    write_whole(&path, &long).unwrap();
    assert_eq!(reader.join().unwrap(), long);
    assert!(fs::symlink_metadata(&path).unwrap().file_type().is_fifo());
    // A reader that stops early.
    let reader = thread::spawn({
        let path = path.clone();
        move || File::open(path).unwrap().read_exact(&mut [0; 1000]).unwrap()
    });
    write_whole(&path, &long).unwrap();
    reader.join().unwrap();
    assert_eq!(folder.names(), ["pipe"]);
}

#[test]
fn a_device_is_written_to() {
    write_whole(Path::new("/dev/null"), b"gone").unwrap();
    assert!(
        fs::symlink_metadata("/dev/null")
            .unwrap()
            .file_type()
            .is_char_device()
    );
}

#[test]
fn an_open_descriptor_gets_it_after_what_it_has() {
    use std::os::fd::AsRawFd;
    let folder = Folder::new("descriptor");
    let path = folder.at("log");
    let mut file = File::options().create(true).append(true).open(&path).unwrap();
    let name = PathBuf::from(format!("/dev/fd/{}", file.as_raw_fd()));
    file.write_all(b"one ").unwrap();
    write_whole(&name, b"two ").unwrap();
    file.write_all(b"three").unwrap();
    assert_eq!(fs::read_to_string(&path).unwrap(), "one two three");
    assert_eq!(folder.names(), ["log"]);
}

#[test]
fn after_an_error_all_is_as_it_was() {
    let folder = Folder::new("error");
    assert!(write_whole(&folder.0, b"x").is_err());
    assert!(write_whole(&folder.at("no/such/folder"), b"x").is_err());
    // A file in the place of a folder.
    fs::write(folder.at("file"), "in the way").unwrap();
    assert!(write_whole(&folder.at("file/x"), b"x").is_err());
    assert!(write_new(&folder.at("file"), "x", "json", b"x").is_err());
    assert_eq!(folder.names(), ["file"]);
}

#[test]
fn new_files_never_replace_one() {
    let folder = Folder::new("new");
    let at = folder.at("made on the way");
    for expected in ["takes.json", "takes 2.json", "takes 3.json"] {
        let path = write_new(&at, "takes", "json", expected.as_bytes()).unwrap();
        assert_eq!(path, at.join(expected));
        assert_eq!(fs::read_to_string(path).unwrap(), expected);
    }
    // A dangling link occupies a name too.
    symlink("nowhere", at.join("takes 4.json")).unwrap();
    assert_eq!(
        write_new(&at, "takes", "json", b"x").unwrap(),
        at.join("takes 5.json")
    );
    assert!(!at.join("nowhere").exists());
    assert_eq!(fs::read_dir(&at).unwrap().count(), 5);
}

#[test]
fn many_at_once_get_a_name_each() {
    let folder = Folder::new("many");
    thread::scope(|scope| {
        for n in 0..8 {
            let folder = &folder;
            scope.spawn(move || {
                for _ in 0..10 {
                    write_new(&folder.0, "takes", "json", &[n; 1000]).unwrap();
                    write_whole(&folder.at("one"), &[n; 1000]).unwrap();
                }
            });
        }
    });
    assert_eq!(folder.names().len(), 81);
    let one = fs::read(folder.at("one")).unwrap();
    assert!(one.len() == 1000 && one.iter().all(|byte| *byte == one[0]));
}

#[test]
fn texts_are_read_up_to_a_limit() {
    let folder = Folder::new("limit");
    let path = folder.at("rig.toml");
    fs::write(&path, "0123456789").unwrap();
    assert_eq!(read_text(&path, 10).unwrap(), "0123456789");
    assert!(matches!(read_text(&path, 9), Err(ReadTextError::TooLong)));
    // A file without a length, or with a wrong one.
    assert!(matches!(
        read_text(Path::new("/dev/zero"), 1000),
        Err(ReadTextError::TooLong)
    ));
    assert!(matches!(read_text(&folder.0, 10), Err(ReadTextError::Folder)));
    assert!(matches!(
        read_text(&folder.at("none"), 10),
        Err(ReadTextError::Io(_))
    ));
    fs::write(&path, [0xff, 0xfe]).unwrap();
    assert!(matches!(read_text(&path, 10), Err(ReadTextError::NotText)));
}
