//! Where results are written, and what names can do to them.
#![cfg(unix)]
#![allow(clippy::unwrap_used, reason = "a test panics when something is missing")]

mod common;

use std::fs::{self, Permissions};
use std::os::unix::fs::{FileTypeExt, PermissionsExt, symlink};
use std::path::Path;
use std::process::Command;
use std::thread;

use common::{complaints, folder, preset, printed, sumproof, text, write};
use sumproof_signals::PresetKind;

fn bounce(folder: &Path, name: &str, seed: u64) -> String {
    let path = write(folder, name, 48_000, &preset(PresetKind::EqualDry, 1.0, seed));
    text(&path).to_owned()
}

#[test]
fn the_output_goes_to_what_stands_there() {
    let folder = folder("outputs-places");
    let bounce = bounce(&folder, "Foam.wav", 1);
    let plain = printed(&sumproof(&["check", "--format", "csv", &bounce]));
    let to = |path: &Path| {
        let output = sumproof(&["check", "--format", "csv", "--output", text(path), &bounce]);
        assert_eq!(output.status.code(), Some(0), "{}", complaints(&output));
        output
    };
    // A named pipe that the test reads.
    assert_eq!(printed(&to(Path::new("/dev/stdout"))), plain);
    // A pipe in the file system.
    let pipe = folder.join("pipe");
    assert!(Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    let reader = thread::spawn({
        let pipe = pipe.clone();
        move || fs::read_to_string(pipe).unwrap()
    });
    to(&pipe);
    assert_eq!(reader.join().unwrap(), plain);
    assert!(fs::symlink_metadata(&pipe).unwrap().file_type().is_fifo());
    // A link, and a file readable only by its owner.
    let file = folder.join("kept.csv");
    fs::write(&file, "before").unwrap();
    fs::set_permissions(&file, Permissions::from_mode(0o600)).unwrap();
    let link = folder.join("link.csv");
    symlink(&file, &link).unwrap();
    to(&link);
    assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
    assert_eq!(fs::read_to_string(&file).unwrap(), plain);
    assert_eq!(fs::metadata(&file).unwrap().permissions().mode() & 0o777, 0o600);
    // A shell's redirection continues after it.
    let all = folder.join("all.txt");
    let script = format!(
        "{{ echo before; '{}' check --format csv --output /dev/stdout '{bounce}'; echo behind; }} > '{}'",
        env!("CARGO_BIN_EXE_sumproof"),
        text(&all)
    );
    assert!(
        Command::new("sh")
            .args(["-c", &script])
            .status()
            .unwrap()
            .success()
    );
    assert_eq!(
        fs::read_to_string(&all).unwrap(),
        format!("before\n{plain}behind\n")
    );
}

#[test]
fn names_are_data() {
    let folder = folder("outputs-names");
    let steering = "-Foam \u{1b}[31m\nred";
    for (n, name) in ["=1+1", "+49", "@SUM(A1)", steering, "北京"].iter().enumerate() {
        bounce(&folder, &format!("{name}.wav"), n as u64);
    }
    let of = |arguments: &[&str]| {
        let output = sumproof(&[arguments, &[text(&folder)]].concat());
        assert_eq!(output.status.code(), Some(0), "{}", complaints(&output));
        printed(&output)
    };
    for line in of(&["check", "--format", "csv"]).lines().skip(1) {
        let name = line.split(',').next().unwrap();
        assert!(name.starts_with('\'') || name.starts_with('北'), "{line}");
        assert!(!line.contains(char::is_control), "{line}");
    }
    for form in [
        &["check"][..],
        &["check", "--detail"],
        &["check", "--sort", "name"],
    ] {
        let table = of(form);
        assert!(!table.contains(|c: char| c.is_control() && c != '\n'), "{table}");
    }
    // An error is one line, whatever the file's name.
    let bad = folder.join("bad\n\u{1b}[2J.wav");
    fs::write(&bad, "nothing").unwrap();
    let nowhere = folder.join("no\nfolder").join("x.csv");
    let foam = bounce(&folder, "Foam.wav", 7);
    for arguments in [
        &["check", text(&bad)][..],
        &["linecheck", "read", text(&bad)],
        &["check", "--dry", text(&bad), "--wet", &foam],
        &["check", &foam, "--output", text(&nowhere)],
        &["card", text(&bad), "--output", "x.pdf"],
        &["check", &foam, "--rig", text(&bad)],
        &[
            "linecheck",
            "make",
            "--output",
            text(&nowhere.with_extension("wav")),
        ],
    ] {
        let output = sumproof(arguments);
        let line = complaints(&output);
        assert!(!output.status.success(), "{arguments:?}");
        assert_eq!(line.lines().count(), 1, "{arguments:?}: {line}");
        assert!(!line.trim_end().contains(char::is_control), "{line:?}");
    }
    let passes = folder.join("passes");
    fs::create_dir(&passes).unwrap();
    bounce(&passes, "a\nb-dry.wav", 1);
    let output = sumproof(&["check", "--dry", "*-dry", "--wet", "*-wet", text(&passes)]);
    assert_eq!(complaints(&output).lines().count(), 1, "{}", complaints(&output));
}

#[test]
fn no_picture_overwrites_another() {
    let folder = folder("outputs-pictures");
    for (n, name) in ["Foam?", "Foam!", "foam_", "Foam_ 2"].iter().enumerate() {
        bounce(&folder, &format!("{name}.wav"), n as u64);
    }
    let into = folder.join("pictures");
    let output = sumproof(&["check", text(&folder), "--pictures", text(&into)]);
    assert_eq!(output.status.code(), Some(0), "{}", complaints(&output));
    let mut names: Vec<String> = fs::read_dir(&into)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap().to_lowercase())
        .collect();
    names.sort();
    names.dedup();
    assert_eq!(names.len(), 4, "{names:?}");
}

#[test]
fn passes_that_differ_in_their_extension_are_an_error() {
    let folder = folder("outputs-twice");
    for name in ["Foam-dry.wav", "Foam-dry.wave", "Foam-wet.wav"] {
        bounce(&folder, name, 1);
    }
    let output = sumproof(&["check", "--dry", "*-dry", "--wet", "*-wet", text(&folder)]);
    assert_eq!(output.status.code(), Some(20));
    let line = complaints(&output);
    assert!(
        line.contains("Foam-dry.wave: is the dry pass of the same preset as") && line.lines().count() == 1,
        "{line}"
    );
}

#[test]
fn the_test_signal_is_what_its_name_says() {
    let folder = folder("outputs-signal");
    for name in ["x.flac", "x.mp3", "x.m4a"] {
        let path = folder.join(name);
        let output = sumproof(&["linecheck", "make", "--output", text(&path)]);
        assert_eq!(output.status.code(), Some(2));
        assert!(
            complaints(&output).contains("end the name in .wav"),
            "{}",
            complaints(&output)
        );
        assert!(!path.exists());
    }
    for name in ["x.wav", "x.WAVE", "x"] {
        let path = folder.join(name);
        assert!(
            sumproof(&["linecheck", "make", "--output", text(&path)])
                .status
                .success()
        );
        assert!(fs::read(path).unwrap().starts_with(b"RIFF"));
    }
}

#[test]
fn a_rig_of_any_length_is_not_read_into_memory() {
    let folder = folder("outputs-rig");
    let heard = bounce(&folder, "heard.wav", 1);
    for arguments in [
        &["check", &heard, "--rig", "/dev/zero"][..],
        &["card", "/dev/zero", "--output", "x.pdf"],
        &["lines", "/dev/zero"],
    ] {
        let output = sumproof(arguments);
        let line = complaints(&output);
        assert_eq!(output.status.code(), Some(21), "{line}");
        assert!(
            line.contains("longer than 1 MB") && line.lines().count() == 1,
            "{line}"
        );
    }
}
