//! Shared by the tests of the command: folders, files, running it.
#![allow(dead_code, reason = "every test file uses a part of it")]
#![allow(clippy::unwrap_used, reason = "a test panics when something is missing")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use hound::{SampleFormat, WavSpec, WavWriter};
use sumproof_core::dsp::numbers::to_single;
use sumproof_signals::{PresetKind, PresetSpec, Stereo, render};

/// Arguments that make Chromium run without a window and without any dialog or network request.
pub const QUIET_CHROMIUM: [&str; 8] = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
];

/// A separate folder for each test, emptied first.
pub fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).unwrap();
    folder
}

/// Writes a sound as 32-bit float WAV and returns its path.
pub fn write(folder: &Path, name: &str, rate: u32, sound: &Stereo) -> PathBuf {
    let path = folder.join(name);
    let spec = WavSpec {
        channels: 2,
        sample_rate: rate,
        bits_per_sample: 32,
        sample_format: SampleFormat::Float,
    };
    let mut writer = WavWriter::create(&path, spec).unwrap();
    for (&left, &right) in sound.left.iter().zip(&sound.right) {
        writer.write_sample(to_single(left)).unwrap();
        writer.write_sample(to_single(right)).unwrap();
    }
    writer.finalize().unwrap();
    path
}

/// A preset of that kind, of `seconds`.
pub fn preset(kind: PresetKind, seconds: f64, seed: u64) -> Stereo {
    render(&PresetSpec {
        seconds,
        seed,
        ..PresetSpec::new(kind)
    })
    .full()
}

/// Runs the command.
pub fn sumproof(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sumproof"))
        .args(arguments)
        .output()
        .unwrap()
}

/// A path as an argument.
pub fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

/// Its standard output.
pub fn printed(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

/// Its error output.
pub fn complaints(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}
