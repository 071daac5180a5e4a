//! Good and bad files through the command: its output and exit code.
#![allow(clippy::unwrap_used, reason = "a test panics when something is missing")]
#![allow(
    clippy::cast_possible_truncation,
    reason = "a test chooses the numbers it converts"
)]

mod common;

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use common::folder;
use hound::{SampleFormat, WavSpec, WavWriter};
use sumproof_cli::{ReadError, exit, read, read_stereo};

fn tone(frame: usize, channel: usize) -> f32 {
    let hz = 220.0 * (1 + channel) as f32;
    0.25 * (std::f32::consts::TAU * hz * frame as f32 / 48_000.0).sin()
}

fn float_wav(path: &Path, rate: u32, channels: usize, frames: usize, sample: impl Fn(usize, usize) -> f32) {
    let spec = WavSpec {
        channels: channels as u16,
        sample_rate: rate,
        bits_per_sample: 32,
        sample_format: SampleFormat::Float,
    };
    let mut writer = WavWriter::create(path, spec).unwrap();
    for frame in 0..frames {
        for channel in 0..channels {
            writer.write_sample(sample(frame, channel)).unwrap();
        }
    }
    writer.finalize().unwrap();
}

fn good(path: &Path) {
    float_wav(path, 48_000, 2, 24_000, tone);
}

fn check(arguments: &[&Path]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sumproof"))
        .arg("check")
        .args(arguments)
        .output()
        .unwrap()
}

/// A bad file: its name, how it is written, the exit code, a part of the error line.
type Bad = (&'static str, fn(&Path), u8, &'static str);

const BAD: [Bad; 13] = [
    (
        "mono.wav",
        |path| float_wav(path, 48_000, 1, 4800, tone),
        15,
        "is mono",
    ),
    ("empty.wav", |path| fs::write(path, b"").unwrap(), 13, "is empty"),
    (
        "silence.wav",
        |path| float_wav(path, 48_000, 2, 4800, |_, _| 0.0),
        17,
        "is silent",
    ),
    (
        "nan.wav",
        |path| {
            float_wav(path, 48_000, 2, 4800, |frame, channel| {
                if frame == 7 || (frame == 9 && channel == 1) {
                    f32::NAN
                } else {
                    tone(frame, channel)
                }
            });
        },
        18,
        "2 of 4800 frames are not numbers",
    ),
    (
        "truncated.wav",
        |path| {
            good(path);
            let bytes = fs::read(path).unwrap();
            fs::write(path, &bytes[..bytes.len() / 2]).unwrap();
        },
        12,
        "is truncated, its header promises 24000 frames and ",
    ),
    (
        "six.wav",
        |path| float_wav(path, 48_000, 6, 4800, tone),
        16,
        "has 6 channels",
    ),
    (
        "text.wav",
        |path| fs::write(path, "Set list\n1. Gravel and Foam\n".repeat(200)).unwrap(),
        11,
        "holds no audio",
    ),
    (
        "loud.wav",
        |path| {
            float_wav(path, 48_000, 2, 4800, |frame, channel| {
                if frame == 1 { 1e30 } else { tone(frame, channel) }
            })
        },
        18,
        "1 of 4800 frames",
    ),
    (
        "header only.wav",
        |path| float_wav(path, 48_000, 2, 0, tone),
        14,
        "no sound in it",
    ),
    (
        "half a header.wav",
        |path| {
            good(path);
            let bytes = fs::read(path).unwrap();
            fs::write(path, &bytes[..30]).unwrap();
        },
        12,
        "is damaged",
    ),
    (
        "slow.wav",
        |path| float_wav(path, 4000, 2, 4800, tone),
        19,
        "sample rate of 4000 Hz",
    ),
    (
        "a folder.wav",
        |path| fs::create_dir(path).unwrap(),
        10,
        "a folder",
    ),
    ("missing.wav", |_| {}, 10, "no such file"),
];

#[test]
fn every_bad_file_gets_one_line_its_code_and_does_not_stop_the_rest() {
    let folder = folder("bad");
    let fine = folder.join("fine.wav");
    good(&fine);
    for (name, write, code, says) in BAD {
        let path = folder.join(name);
        write(&path);
        let alone = check(&[&path]);
        let line = String::from_utf8(alone.stderr).unwrap();
        assert_eq!(alone.status.code(), Some(i32::from(code)), "{name}: {line}");
        assert_eq!(line.lines().count(), 1, "{name}: {line}");
        assert!(line.contains(name) && line.contains(says), "{name}: {line}");
        assert!(alone.stdout.is_empty(), "{name} gave a table");

        let together = check(&[&path, &fine]);
        assert_eq!(
            together.status.code(),
            Some(i32::from(code)),
            "{name} with a good one"
        );
        assert!(
            String::from_utf8(together.stdout)
                .unwrap()
                .starts_with("fine: 0.50 s")
        );
    }
    let first = check(&[&folder.join("six.wav"), &folder.join("mono.wav")]);
    assert_eq!(first.status.code(), Some(16), "the first bad file decides");
    assert_eq!(check(&[&fine]).status.code(), Some(0));
}

#[test]
fn every_exit_code_is_in_the_table_and_the_table_in_the_help() {
    let folder = folder("codes");
    for (name, write, code, _) in BAD {
        let path = folder.join(name);
        write(&path);
        let error = read(&path, |_, _, _| {}).unwrap_err();
        assert_eq!(exit::of(&error), code, "{name}: {error}");
        assert!(exit::TABLE.iter().any(|&(known, _)| known == code), "{name}");
    }
    let help_of = |subcommand: &[&str]| {
        let help = Command::new(env!("CARGO_BIN_EXE_sumproof"))
            .args(subcommand)
            .arg("--help")
            .output()
            .unwrap();
        String::from_utf8(help.stdout).unwrap()
    };
    let [check, read] = [&["check"][..], &["linecheck", "read"]].map(help_of);
    let lists = |help: &str, code: u8| {
        help.lines()
            .any(|line| line.trim_start().starts_with(&format!("{code} ")))
    };
    for (code, _) in exit::TABLE {
        let own = if code < 30 { &check } else { &read };
        assert!(lists(own, code), "{code} is not in\n{own}");
    }
    assert!(!lists(&check, exit::NO_SIGNAL) && !lists(&read, exit::PASSES));
    let wrong = Command::new(env!("CARGO_BIN_EXE_sumproof"))
        .arg("check")
        .output()
        .unwrap();
    assert_eq!(wrong.status.code(), Some(2));
}

#[test]
fn a_name_with_a_line_break_stays_one_line() {
    let error = ReadError::Empty {
        path: "two\nlines.wav".into(),
    };
    assert_eq!(error.to_string().lines().count(), 1);
}

#[test]
fn the_samples_are_those_in_the_file_whatever_their_coding() {
    let folder = folder("codings");
    let frames = 5000;
    for (bits, format) in [
        (16, SampleFormat::Int),
        (24, SampleFormat::Int),
        (32, SampleFormat::Int),
        (32, SampleFormat::Float),
    ] {
        let path = folder.join(format!("{bits}{format:?}.wav"));
        let spec = WavSpec {
            channels: 2,
            sample_rate: 44_100,
            bits_per_sample: bits,
            sample_format: format,
        };
        let mut writer = WavWriter::create(&path, spec).unwrap();
        let full = f64::from(1u32 << (bits - 1));
        for frame in 0..frames {
            for channel in 0..2 {
                let sample = tone(frame, channel);
                match format {
                    SampleFormat::Float => writer.write_sample(sample).unwrap(),
                    SampleFormat::Int => writer
                        .write_sample((f64::from(sample) * full).round() as i32)
                        .unwrap(),
                }
            }
        }
        writer.finalize().unwrap();
        let file = read_stereo(&path).unwrap();
        assert_eq!(
            (file.rate_hz, file.left.len(), file.right.len()),
            (44_100.0, frames, frames)
        );
        for frame in 0..frames {
            for (channel, got) in [(0, file.left[frame]), (1, file.right[frame])] {
                let error = f64::from(got) - f64::from(tone(frame, channel));
                let step = if format == SampleFormat::Float {
                    0.0
                } else {
                    (1.0 / full).max(1e-7)
                };
                assert!(error.abs() <= step, "{path:?} frame {frame}: off by {error}");
            }
        }
    }
}

/// A number as the 80-bit float of an AIFF's rate: sign and exponent, then the mantissa with its leading 1.
fn extended(value: u32) -> [u8; 10] {
    let shift = value.leading_zeros();
    let mut bytes = [0; 10];
    bytes[..2].copy_from_slice(&(16_383 + 31 - shift as u16).to_be_bytes());
    bytes[2..6].copy_from_slice(&(value << shift).to_be_bytes());
    bytes
}

#[test]
fn an_aiff_is_read_and_a_cut_one_is_said_to_be() {
    let folder = folder("aiff");
    let path = folder.join("tone.aiff");
    let frames = 4000u32;
    let mut sound = vec![0u8; 8];
    for frame in 0..frames as usize {
        for channel in 0..2 {
            sound.extend(((tone(frame, channel) * 32_768.0) as i16).to_be_bytes());
        }
    }
    let mut common = Vec::from(2u16.to_be_bytes());
    common.extend(frames.to_be_bytes());
    common.extend(16u16.to_be_bytes());
    common.extend(extended(48_000));
    let mut body = Vec::from(*b"AIFF");
    for (name, chunk) in [(b"COMM", &common), (b"SSND", &sound)] {
        body.extend(name);
        body.extend((chunk.len() as u32).to_be_bytes());
        body.extend(chunk);
    }
    let mut bytes = Vec::from(*b"FORM");
    bytes.extend((body.len() as u32).to_be_bytes());
    bytes.extend(body);
    fs::write(&path, &bytes).unwrap();
    let file = read_stereo(&path).unwrap();
    assert_eq!((file.rate_hz, file.left.len()), (48_000.0, 4000));
    assert!(
        file.right
            .iter()
            .enumerate()
            .all(|(n, got)| (got - tone(n, 1)).abs() < 1e-4)
    );
    fs::write(&path, &bytes[..bytes.len() / 2]).unwrap();
    let error = read_stereo(&path).unwrap_err();
    assert_eq!(exit::of(&error), 12);
    assert!(error.to_string().contains("ends too early"), "{error}");
}

#[test]
fn json_goes_to_a_file_whole_or_not_at_all() {
    let folder = folder("output");
    let (input, output) = (folder.join("tone.wav"), folder.join("out.json"));
    good(&input);
    let run = |output: &Path| {
        Command::new(env!("CARGO_BIN_EXE_sumproof"))
            .args(["check", "--format", "json", "--output"])
            .arg(output)
            .arg(&input)
            .output()
            .unwrap()
    };
    let done = run(&output);
    assert_eq!(done.status.code(), Some(0));
    assert!(done.stdout.is_empty());
    let text = fs::read_to_string(&output).unwrap();
    assert!(text.contains("\"schema\": 2") && text.contains("\"name\": \"tone\""));
    assert_eq!(
        fs::read_dir(&folder).unwrap().count(),
        2,
        "nothing temporary is left"
    );
    let nowhere = run(&folder.join("no such folder/out.json"));
    assert_eq!(nowhere.status.code(), Some(i32::from(exit::OUTPUT)));
    assert_eq!(String::from_utf8(nowhere.stderr).unwrap().lines().count(), 1);
}
