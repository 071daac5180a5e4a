//! Formats of phones, recorders and cameras, as coded by ffmpeg.
#![allow(clippy::unwrap_used, reason = "a test panics when something is missing")]
#![allow(
    clippy::cast_possible_truncation,
    reason = "a test chooses the numbers it converts"
)]

mod common;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use common::{complaints, folder, preset, printed, sumproof, text, write};
use serde_json::Value;
use sumproof_cli::{Recording, read_recording};
use sumproof_signals::PresetKind;
use wait4::Wait4;

const RATE_HZ: u32 = 48_000;
/// Start of the excerpt by which the delay is found, frames.
const EXCERPT: usize = 30_000;
/// Longest delay of a coder, frames.
const DELAYED: usize = 4096;

/// Runs ffmpeg in a folder.
fn ffmpeg(folder: &Path, arguments: &str) {
    let done = Command::new("ffmpeg")
        .args(["-hide_banner", "-loglevel", "error", "-nostdin", "-y"])
        .args(arguments.split_whitespace())
        .current_dir(folder)
        .stdin(Stdio::null())
        .output()
        .expect("ffmpeg is missing: install the package ffmpeg");
    assert!(
        done.status.success(),
        "ffmpeg {arguments}: {}",
        String::from_utf8_lossy(&done.stderr)
    );
}

/// A moving picture, for videos.
const PICTURE: &str = "-f lavfi -i testsrc=s=64x48:r=10:d=1.5";

/// A folder with the source of all files here: `plain.wav`, a second and a half.
fn source(name: &str) -> (PathBuf, Recording) {
    let folder = folder(name);
    // Left and right differ in content and level, so that they can be told apart.
    let mut sound = preset(PresetKind::EqualDry, 1.5, 11);
    for (n, left) in sound.left.iter_mut().enumerate() {
        *left = 0.5 * *left + 0.2 * (0.05 * n as f64).sin();
    }
    let path = write(&folder, "plain.wav", RATE_HZ, &sound);
    let plain = read_recording(&path, 60.0).unwrap();
    (folder, plain)
}

/// Correlation of two channels when one is delayed by `late` frames, −1 to +1.
fn alike(a: &[f32], b: &[f32], late: usize) -> f64 {
    let pairs = || {
        a.iter()
            .zip(b.get(late..).unwrap_or_default())
            .map(|(a, b)| (f64::from(*a), f64::from(*b)))
    };
    let sum = |of: fn((f64, f64)) -> f64| pairs().map(of).sum::<f64>();
    sum(|(a, b)| a * b) / (sum(|(a, _)| a * a) * sum(|(_, b)| b * b)).sqrt()
}

/// Name, ffmpeg's arguments, and whether the coding is lossless (for 16 bits at least).
const KINDS: [(&str, &str, bool); 23] = [
    ("aac.m4a", "-c:a aac -b:a 160k", false),
    ("aac.mp4", "-c:a aac -b:a 160k", false),
    ("aac.mov", "-c:a aac -b:a 160k", false),
    ("aac.3gp", "-c:a aac -b:a 160k", false),
    ("aac.aac", "-c:a aac -b:a 160k", false),
    ("aac.mkv", "-c:a aac -b:a 160k", false),
    (
        "pieces.mp4",
        "-c:a aac -b:a 160k -movflags frag_keyframe+empty_moov",
        false,
    ),
    ("alac.m4a", "-c:a alac", true),
    ("alac.caf", "-c:a alac", true),
    ("pcm.caf", "-c:a pcm_s24be", true),
    ("pcm.mov", "-c:a pcm_s16le", true),
    ("pcm.mkv", "-c:a pcm_s24le", true),
    ("flac.mka", "-c:a flac", true),
    ("flac.oga", "-c:a flac", true),
    ("opus.opus", "-c:a libopus -b:a 128k", false),
    ("opus.webm", "-c:a libopus -b:a 128k", false),
    ("opus.mkv", "-c:a libopus -b:a 128k", false),
    ("vorbis.webm", "-c:a libvorbis -b:a 160k", false),
    ("vorbis.ogg", "-c:a libvorbis -b:a 160k", false),
    ("ima.wav", "-c:a adpcm_ima_wav", false),
    ("ms.wav", "-c:a adpcm_ms", false),
    ("long.w64", "-c:a pcm_s24le", true),
    ("long.wav", "-c:a pcm_s24le -rf64 always", true),
];

#[test]
fn every_kind_comes_back_as_it_was() {
    let (folder, plain) = source("formats-kinds");
    for (name, arguments, exact) in KINDS {
        ffmpeg(&folder, &format!("-i plain.wav {arguments} {name}"));
        let read = read_recording(&folder.join(name), 60.0).unwrap();
        assert_eq!((read.rate_hz, read.channels.len()), (plain.rate_hz, 2), "{name}");
        if exact {
            assert_eq!(read.channels[0].len(), plain.channels[0].len(), "{name}");
            for (channel, plain) in read.channels.iter().zip(&plain.channels) {
                let worst = channel
                    .iter()
                    .zip(plain)
                    .map(|(a, b)| (a - b).abs())
                    .fold(0.0, f32::max);
                assert!(worst < 1.0 / 16_384.0, "{name}: {worst}");
            }
            continue;
        }
        // A coder's delay is silence before the sound. It is the same for both channels, and the channels aren't
        // swapped.
        let [left, right] = [&read.channels[0], &read.channels[1]];
        let excerpt = EXCERPT..EXCERPT + 5000;
        let late = (0..DELAYED)
            .map(|late| {
                (
                    late,
                    alike(&plain.channels[0][excerpt.clone()], &left[EXCERPT..], late),
                )
            })
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .unwrap()
            .0;
        let found = [
            alike(&plain.channels[0], left, late),
            alike(&plain.channels[1], right, late),
        ];
        assert!(
            found.iter().all(|alike| *alike > 0.97),
            "{name}, {late} frames late: {found:?}"
        );
        let len = left.len().abs_diff(plain.channels[0].len());
        assert!(len < DELAYED, "{name}: {len} frames more or less");
        let before = left[..late].iter().map(|x| x.abs()).fold(0.0, f32::max);
        assert!(before < 0.1, "{name}: {before}");
    }
}

#[test]
fn a_videos_sound_is_taken_and_the_first_of_several() {
    let (folder, _) = source("formats-video");
    let check = |name: &str| {
        let output = sumproof(&["check", "--format", "json", text(&folder.join(name))]);
        assert_eq!(output.status.code(), Some(0), "{name}: {}", complaints(&output));
        let found: Value = serde_json::from_slice(&output.stdout).unwrap();
        found["takes"][0]["broadband"]["correlation"].as_f64().unwrap()
    };
    let plain = check("plain.wav");
    for (name, coders) in [
        ("video.mp4", "-c:v mpeg4 -c:a aac -b:a 160k"),
        ("video.mov", "-c:v mjpeg -c:a pcm_s24le"),
        ("video.mkv", "-c:v mpeg4 -c:a libopus -b:a 128k"),
    ] {
        ffmpeg(&folder, &format!("{PICTURE} -i plain.wav {coders} {name}"));
        let found = check(name);
        assert!((found - plain).abs() < 0.01, "{name}: {found} {plain}");
    }
    // A second sound track with only one channel. And a first one that no decoder accepts is skipped.
    ffmpeg(&folder, "-i plain.wav -af pan=stereo|c0=c0|c1=-1*c0 other.wav");
    let two = "-map 0 -map 1 -map 2 -c:v mpeg4";
    ffmpeg(
        &folder,
        &format!("{PICTURE} -i plain.wav -i other.wav {two} -c:a pcm_s24le two.mov"),
    );
    assert!((check("two.mov") - plain).abs() < 0.001);
    ffmpeg(
        &folder,
        &format!("{PICTURE} -i other.wav -i plain.wav {two} -c:a:0 ac3 -c:a:1 pcm_s24le second.mov"),
    );
    assert!((check("second.mov") - plain).abs() < 0.001);
}

#[test]
fn the_line_check_reads_what_phones_write() {
    let folder = folder("formats-line-check");
    let signal = folder.join("signal.wav");
    assert!(
        sumproof(&["linecheck", "make", "--output", text(&signal)])
            .status
            .success()
    );
    // One loudspeaker gets both lines, the right one flipped, 6 dB down and half a millisecond late.
    ffmpeg(
        &folder,
        "-i signal.wav -af adelay=1000|1000.5,apad=pad_dur=1,pan=mono|c0=0.5*c0-0.25*c1 -ar 48000 heard.wav",
    );
    let read = |name: &str| {
        let output = sumproof(&["linecheck", "read", text(&folder.join(name)), "--format", "json"]);
        assert_eq!(output.status.code(), Some(0), "{name}: {}", complaints(&output));
        let found: Value = serde_json::from_slice(&output.stdout).unwrap();
        let pair = &found["pair"];
        let value = |key: &str| pair[key]["value"].clone();
        (
            value("polarity"),
            value("right_late_s").as_f64(),
            pair["right_late_s"]["within"].as_f64().unwrap_or(0.0),
        )
    };
    let plain = read("heard.wav");
    for (name, arguments) in [
        ("heard.m4a", "-c:a aac -b:a 96k"),
        ("heard.3gp", "-c:a aac -b:a 64k -ar 44100"),
        ("lossless.m4a", "-c:a alac"),
        ("heard.caf", "-c:a alac"),
        ("heard.opus", "-c:a libopus -b:a 48k"),
        ("heard.webm", "-c:a libopus -b:a 64k"),
        ("heard.mka", "-c:a libvorbis -b:a 96k"),
        ("heard.w64", "-c:a pcm_s16le"),
        ("ima.wav", "-c:a adpcm_ima_wav"),
    ] {
        ffmpeg(&folder, &format!("-i heard.wav {arguments} {name}"));
        let found = read(name);
        assert_eq!(found.0, plain.0, "{name}");
        let late = found.1.unwrap() - plain.1.unwrap();
        // A coder smears what it considers inaudible: the reading states its own uncertainty.
        assert!(
            late.abs() < 5e-6 + found.2 + plain.2,
            "{name}: {late} s beside the plain one"
        );
    }
}

#[test]
fn what_is_not_read_is_named_with_the_line_that_converts_it() {
    let (folder, _) = source("formats-named");
    ffmpeg(&folder, "-i plain.wav -c:a aac aac.3gp");
    let mut amr = fs::read(folder.join("aac.3gp")).unwrap();
    let at = amr.windows(4).position(|four| four == b"mp4a").unwrap();
    amr[at..at + 4].copy_from_slice(b"samr");
    fs::write(folder.join("phone.3gp"), amr).unwrap();
    fs::write(folder.join("phone.amr"), b"#!AMR\n<\0\0\0\0\0\0").unwrap();
    fs::write(folder.join("my set.zip"), b"PK\x03\x04....").unwrap();
    for made in [
        "-i plain.wav -c:a ac3 film.mkv",
        "-i plain.wav -c:a ac3 film.mov",
        "-i plain.wav -c:a alac wrapped.mov",
        "-i plain.wav -c:a wmav2 sound.wma",
        "-i plain.wav -c:a libspeex -ar 16000 -ac 1 speech.spx",
        "-f lavfi -i testsrc=s=64x48:r=10:d=0.5 -c:v mpeg4 mute.mp4",
        "-f lavfi -i testsrc=s=64x48:r=10:d=0.5 -i plain.wav -c:v mjpeg -c:a pcm_s16le old.avi",
        "-i plain.wav -c:a libmp3lame -f wav hidden.wav",
    ] {
        ffmpeg(&folder, made);
    }
    for (name, code, says) in [
        (
            "phone.3gp",
            11,
            "is coded as AMR, which isn't read here; convert it: ffmpeg -i",
        ),
        (
            "phone.amr",
            11,
            "is an AMR recording, which isn't read here; convert it: ffmpeg -i",
        ),
        ("my set.zip", 11, "is an archive; unpack it"),
        ("film.mkv", 11, "is coded as AC3, which"),
        ("film.mov", 11, "is coded as AC-3, which"),
        (
            "wrapped.mov",
            11,
            "is coded as ALAC in QuickTime's wrapping, which",
        ),
        ("sound.wma", 11, "is a Windows Media file, which"),
        ("speech.spx", 11, "is a Speex recording, which"),
        ("mute.mp4", 14, "no sound in it"),
        ("old.avi", 11, "is an AVI video, which"),
        ("hidden.wav", 11, "is coded as MP3, which"),
    ] {
        let path = folder.join(name);
        for output in [
            sumproof(&["check", text(&path)]),
            sumproof(&["linecheck", "read", text(&path)]),
        ] {
            let line = complaints(&output);
            assert_eq!(output.status.code(), Some(code), "{name}: {line}");
            assert!(line.contains(says) && line.lines().count() == 1, "{name}: {line}");
            assert!(!line.contains("unsupported"), "a library's own words: {line}");
        }
    }
    // The printed command line works.
    let line = complaints(&sumproof(&["check", text(&folder.join("film.mov"))]));
    let (_, command) = line.trim_end().split_once("convert it: ").unwrap();
    let mut words = command.split(' ');
    assert_eq!(words.next(), Some("ffmpeg"));
    ffmpeg(&folder, &words.collect::<Vec<_>>().join(" "));
    assert!(read_recording(&folder.join("film.wav"), 60.0).is_ok());
}

#[test]
fn a_film_cut_short_is_told() {
    let (folder, _) = source("formats-cut");
    for (name, arguments) in [
        ("front.m4a", "-c:a aac -movflags faststart"),
        ("back.m4a", "-c:a aac"),
        ("cut.webm", "-c:a libopus"),
        ("cut.opus", "-c:a libopus"),
        ("cut.caf", "-c:a alac"),
        ("cut.w64", "-c:a pcm_s16le"),
    ] {
        ffmpeg(&folder, &format!("-i plain.wav {arguments} {name}"));
        let path = folder.join(name);
        let whole = fs::read(&path).unwrap();
        fs::write(&path, &whole[..whole.len() / 2]).unwrap();
        let output = sumproof(&["check", text(&path)]);
        let line = complaints(&output);
        assert_eq!(
            output.status.code(),
            Some(12),
            "{name}: {line} {}",
            printed(&output)
        );
        assert_eq!(line.lines().count(), 1, "{line}");
    }
}

/// A recording of hours is refused as soon as its header states the length, or after ten minutes if the header doesn't.
#[test]
fn a_recording_of_hours_is_refused_while_it_is_read() {
    let folder = folder("formats-hours");
    let long = folder.join("long.wav");
    let sound = preset(PresetKind::EqualDry, 1.0, 1);
    write(&folder, "short.wav", RATE_HZ, &sound);
    let header = fs::read(folder.join("short.wav")).unwrap();
    let at = header.windows(4).position(|four| four == b"data").unwrap();
    let mut bytes = header[..at + 8].to_vec();
    // Two and a half hours; and a header as in a stream, without a length.
    for (len, tell) in [(3_456_000_000_u32, 3_456_000_000_u32), (1_300_000_000, u32::MAX)] {
        bytes[at + 4..].copy_from_slice(&tell.to_le_bytes());
        bytes[4..8].copy_from_slice(&tell.saturating_add(at as u32).to_le_bytes());
        fs::write(&long, &bytes).unwrap();
        // A sparse file: it takes no room on the disk.
        let file = fs::File::options().write(true).open(&long).unwrap();
        file.set_len(u64::from(len) + at as u64 + 8).unwrap();
        let mut child = Command::new(env!("CARGO_BIN_EXE_sumproof"))
            .args(["linecheck", "read", text(&long)])
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        std::io::Read::read_to_string(child.stderr.as_mut().unwrap(), &mut line).unwrap();
        let ended = child.wait4().unwrap();
        assert_eq!(ended.status.code(), Some(33), "{line}");
        assert!(line.contains("longer than 10 minutes"), "{line}");
        // Ten minutes of two channels are 230 MB; before this limit existed the whole file was read.
        let most = if tell == u32::MAX { 600 << 20 } else { 32 << 20 };
        assert!(ended.rusage.maxrss < most, "{} bytes", ended.rusage.maxrss);
    }
}
