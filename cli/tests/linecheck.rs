//! The line check through the command.
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
use hound::{SampleFormat, WavReader, WavSpec, WavWriter};
use serde_json::Value;
use sumproof_report::rig::file::parse;
use sumproof_signals::venue::{End, Venue};
use sumproof_signals::{LineFault, Stereo, tones};

fn run(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sumproof"))
        .arg("linecheck")
        .args(arguments)
        .current_dir(folder)
        .output()
        .unwrap()
}

fn said(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

fn complaint(output: &Output) -> String {
    let text = String::from_utf8(output.stderr.clone()).unwrap();
    assert_eq!(text.lines().count(), 1, "{text}");
    text
}

fn played(path: &Path) -> [Vec<f64>; 2] {
    let mut reader = WavReader::open(path).unwrap();
    assert_eq!((reader.spec().channels, reader.spec().bits_per_sample), (2, 24));
    let samples: Vec<f64> = reader
        .samples::<i32>()
        .map(|x| f64::from(x.unwrap()) / 8_388_608.0)
        .collect();
    [0, 1].map(|side| samples.iter().skip(side).step_by(2).copied().collect())
}

fn write(path: &Path, samples: &[f64]) {
    let spec = WavSpec {
        channels: 1,
        sample_rate: 48_000,
        bits_per_sample: 24,
        sample_format: SampleFormat::Int,
    };
    let mut writer = WavWriter::create(path, spec).unwrap();
    for x in samples {
        writer.write_sample((x * 8_388_607.0) as i32).unwrap();
    }
    writer.finalize().unwrap();
}

/// The received file: the right line flipped, 12 dB down, 0.5 ms late, without low end.
fn recorded(folder: &Path) -> Vec<f64> {
    let made = run(folder, &["make", "-o", "signal.wav"]);
    assert!(made.status.success());
    let text = said(&made);
    assert!(
        text.contains("Caution") && text.contains("clean preset") && text.contains("-20 dBFS"),
        "{text}"
    );
    let [left, right] = played(&folder.join("signal.wav"));
    let peak = left.iter().fold(0.0f64, |peak, x| peak.max(x.abs()));
    assert!((20.0 * peak.log10() + 20.0).abs() < 0.1 && left.len() < 24 * 48_000);
    let mut venue = Venue::straight(End::Sum);
    venue.right = LineFault {
        flip: true,
        gain_db: -12.0,
        delay_s: 0.0005,
        high_pass_hz: Some(150.0),
        unplugged: false,
    };
    venue.recorder.before_s = 2.0;
    venue.recorder.behind_s = 1.0;
    venue.recorder.drift_ppm = 40.0;
    venue.record(&left, &right, 48_000.0)
}

#[test]
fn made_played_recorded_and_read() {
    let folder = folder("linecheck-read");
    write(&folder.join("heard.wav"), &recorded(&folder));
    let text = said(&run(&folder, &["read", "heard.wav"]));
    for part in [
        "one line arrives flipped against the other (sure)",
        "the right line is 0.500 ms late",
        "the right line is 12.0",
        "the right line has a high-pass at 150 Hz",
        "mono wedge, one line flipped, or stereo jack in a balanced mono input",
        "Tell the engineer: My two lines cancel each other",
    ] {
        let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(words.contains(part), "{part} is not in\n{text}");
    }
    assert!(text.starts_with("Tell the engineer"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    let output = run(&folder, &["read", "heard.wav", "--format", "json"]);
    let found: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(found["kind"], "line-check");
    assert_eq!(found["pair"]["polarity"]["value"], "flipped");
    assert!((found["pair"]["right_late_s"]["value"].as_f64().unwrap() - 0.0005).abs() < 1e-6);
    assert!((found["drift_ppm"].as_f64().unwrap() - 40.0).abs() < 0.1);
    assert_eq!(found["feeds"][0], "wedge-line-flipped");
    let page = ["read", "heard.wav", "--format", "html", "--output", "page.html"];
    assert!(said(&run(&folder, &page)).is_empty());
    let page = fs::read_to_string(folder.join("page.html")).unwrap();
    assert_eq!(page.matches("<svg class=\"picture\"").count(), 4);
    assert!(!page.contains("NaN") && !page.contains("inf"));
}

/// `check` gives the same for the saved feed as for the true one.
fn used_by_check(folder: &Path) {
    let noise = tones::pink_noise(3 * 48_000, 48_000.0, 0.1, 5);
    let sound = Stereo::new(noise.clone(), noise);
    common::write(folder, "alike.wav", 48_000, &sound);
    let row = |arguments: &[&str]| -> Value {
        let output = Command::new(env!("CARGO_BIN_EXE_sumproof"))
            .args(["check", "alike.wav", "--format", "json"])
            .args(arguments)
            .current_dir(folder)
            .output()
            .unwrap();
        let document: Value = serde_json::from_slice(&output.stdout).unwrap();
        let feeds = document["takes"][0]["feeds"].as_array().unwrap();
        feeds.iter().find(|feed| feed["id"] == "own").unwrap().clone()
    };
    let measured = row(&["--rig", "new.toml"]);
    assert_eq!(measured["name"], "as measured");
    let really = "{name = \"really\", ending = \"sum\", right = {polarity = \"flipped\", gain_db = -12, delay_ms = 0.5, \
                  high_pass_hz = 150}}";
    let given = row(&["--feed", really]);
    let mut compared = 0;
    for (key, value) in given.as_object().unwrap() {
        if let Some(value) = value.as_f64() {
            let found = measured[key].as_f64().unwrap();
            assert!((found - value).abs() < 0.05, "{key}: {found}, not {value}");
            compared += 1;
        }
    }
    assert!(compared >= 3, "{given}");
}

#[test]
fn what_was_found_goes_into_a_rig_file_and_the_rest_stays() {
    let folder = folder("linecheck-save");
    write(&folder.join("heard.wav"), &recorded(&folder));
    let before = "# my rig\nsum = \"unity\"\n\n[left]\nbox = \"active-direct-box\" # the blue one\n\n[own]\nname = \"old\"\n\
                  ending = \"stereo\"\n[own.left]\ngain_db = -3.0\n\n# for the engineer\n[card]\nplayer = \"Ines\"\n";
    fs::write(folder.join("rig.toml"), before).unwrap();
    let arguments = [
        "read",
        "heard.wav",
        "--save",
        "rig.toml",
        "--name",
        "the old mill",
    ];
    assert!(run(&folder, &arguments).status.success());
    let text = fs::read_to_string(folder.join("rig.toml")).unwrap();
    for kept in [
        "# my rig",
        "# the blue one",
        "# for the engineer",
        "player = \"Ines\"",
    ] {
        assert!(text.contains(kept), "{kept} is not in\n{text}");
    }
    assert!(!text.contains("\"old\"") && !text.contains("-3.0"), "{text}");
    let rig = parse(&text).unwrap();
    let own = rig.own.unwrap();
    assert_eq!(own.name, "the old mill");
    assert!((own.right.gain_db + 12.0).abs() < 0.1 && (own.right.delay_ms - 0.5).abs() < 0.001);
    assert_eq!(rig.card.player, "Ines");
    // Saved again over its own output, and into a new file.
    assert!(run(&folder, &arguments).status.success());
    assert_eq!(fs::read_to_string(folder.join("rig.toml")).unwrap(), text);
    assert!(
        run(&folder, &["read", "heard.wav", "--save", "new.toml"])
            .status
            .success()
    );
    let new = parse(&fs::read_to_string(folder.join("new.toml")).unwrap()).unwrap();
    assert_eq!(new.own.unwrap().name, "as measured");
    used_by_check(&folder);
    fs::write(folder.join("bad.toml"), "sum = 3\n").unwrap();
    let bad = run(&folder, &["read", "heard.wav", "--save", "bad.toml"]);
    assert_eq!(bad.status.code(), Some(21));
    assert!(complaint(&bad).starts_with("bad.toml: "));
    assert_eq!(fs::read_to_string(folder.join("bad.toml")).unwrap(), "sum = 3\n");
}

#[test]
fn what_cannot_be_read_gets_one_line_and_a_code_of_its_own() {
    let folder = folder("linecheck-wrong");
    let all = recorded(&folder);
    let music: Vec<f64> = tones::pink_noise(20 * 48_000, 48_000.0, 0.1, 3);
    for (name, samples, code, word) in [
        ("silence.wav", &vec![0.0; 20 * 48_000][..], 17, "silent"),
        ("second.wav", &all[200_000..248_000], 32, "record all of it"),
        ("half.wav", &all[..all.len() / 2], 31, "only a part"),
        ("end.wav", &all[all.len() / 2..], 31, "only a part"),
        ("other.wav", &music[..], 30, "isn't in it"),
    ] {
        write(&folder.join(name), samples);
        let output = run(&folder, &["read", name]);
        assert_eq!(output.status.code(), Some(code), "{name}");
        let line = complaint(&output);
        assert!(line.starts_with(name) && line.contains(word), "{line}");
        assert!(output.stdout.is_empty());
    }
    // Made with other settings than it is read with: a notice says so, and it is read with its own.
    write(&folder.join("heard.wav"), &all);
    let output = run(&folder, &["read", "heard.wav", "--mono"]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(said.contains("another signal than was asked for"), "{said}");
    let output = run(&folder, &["read", "nothing.wav"]);
    assert_eq!(output.status.code(), Some(10));
    complaint(&output);
}

#[test]
fn settings_that_make_no_signal_are_refused() {
    let folder = folder("linecheck-settings");
    for arguments in [
        &["make", "--level", "3"][..],
        &["make", "--band", "5000", "200"],
        &["make", "--length", "0.2"],
        &["make", "--mono", "--pause", "0"],
        &["make", "--band", "20", "22000", "--rate", "44100"],
    ] {
        let output = run(&folder, arguments);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        complaint(&output);
    }
    let output = run(&folder, &["make", "-o", "no/such/folder.wav"]);
    assert_eq!(output.status.code(), Some(3));
    complaint(&output);
    let text = said(&run(
        &folder,
        &["make", "-o", "m.wav", "--mono", "--pause", "5", "--level", "-30"],
    ));
    assert!(
        text.contains("unplug the right line") && text.contains("read --mono --pause 5"),
        "{text}"
    );
}
