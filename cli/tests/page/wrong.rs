//! Damaged files, and files without sound: the page refuses them with the command's messages, and goes on.

use std::fs;
use std::path::Path;
use std::process::Command;

use serde_json::json;

use crate::browser::Browser;
use crate::common::{complaints, printed, sumproof, text};
use crate::same::{asked, on_the_page};
use crate::site::{Site, recorded, wav16};
use crate::way::{ERROR, SENTENCE, until};

#[test]
#[ignore = "needs the page and a browser: `cargo xtask test` runs it"]
fn damaged_files_are_refused_as_by_the_command() {
    let Some(site) = Site::new("page-wrong") else {
        return;
    };
    let inputs = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/fuzz");
    let mut names = Vec::new();
    for folder in ["seeds/files", "found/files"] {
        for entry in fs::read_dir(inputs.join(folder)).unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_name().unwrap().to_str().unwrap().to_owned();
            let bytes = fs::read(&path).unwrap();
            // Intact, truncated, and with a gap.
            let mut holed = bytes.clone();
            let middle = bytes.len() / 3;
            holed[middle..(middle + 40).min(bytes.len())].fill(0xff);
            for (how, bytes) in [
                ("", &bytes[..]),
                ("cut-", &bytes[..bytes.len() / 2]),
                ("holed-", &holed[..]),
            ] {
                fs::write(site.folder.join(format!("{how}{name}")), bytes).unwrap();
                names.push(format!("{how}{name}"));
            }
        }
    }
    names.sort();
    let browser = Browser::open(800, 600);
    site.open(&browser);
    let questions: Vec<_> = names
        .iter()
        .map(|name| json!({"ask": "read", "mono": false, "file": {"name": name}}))
        .collect();
    let answers = asked(&browser, &json!(questions));
    for (name, answer) in names.iter().zip(answers.as_array().unwrap()) {
        let answer = &answer["answer"];
        if answer["foreign"] == true {
            // Here the page tries the browser's decoder next; the command may have its own.
            continue;
        }
        let path = site.folder.join(name);
        let output = sumproof(&["linecheck", "read", path.to_str().unwrap()]);
        let folder = format!("{}/", site.folder.display());
        let said = complaints(&output).replace(&folder, "");
        let line = answer["refused"]
            .as_str()
            .unwrap_or_else(|| panic!("{name}: {}", printed(&output)));
        assert_eq!(line, on_the_page(said.trim_end()), "{name}");
    }
    assert_eq!(browser.console(), Vec::<String>::new());
}

#[test]
#[ignore = "needs the page, a browser and ffmpeg: `cargo xtask test` runs it"]
fn a_file_without_sound_is_one_line_and_the_page_goes_on() {
    let Some(site) = Site::new("page-mute") else {
        return;
    };
    let file = |name: &str| site.folder.join(name);
    let filmed = Command::new("ffmpeg")
        .args([
            "-v",
            "error",
            "-y",
            "-f",
            "lavfi",
            "-i",
            "color=c=black:s=64x64:d=1",
            "-an",
        ])
        .arg(file("mute.mp4"))
        .status();
    assert!(
        filmed.is_ok_and(|status| status.success()),
        "ffmpeg is missing or failed: apt-get install ffmpeg"
    );
    wav16(&file("silent.wav"), &vec![0.0; 48_000 * 30], 48_000);
    wav16(&file("short.wav"), &[0.1; 4800], 48_000);
    wav16(&file("none.wav"), &[], 48_000);
    fs::write(file("empty.m4a"), "").unwrap();
    fs::copy(file("icon.png"), file("picture.wav")).unwrap();
    // Sound, but not the signal's.
    let hum: Vec<f64> = (0..48_000 * 30)
        .map(|n| 0.1 * (f64::from(n) * 0.01).sin())
        .collect();
    wav16(&file("hum.wav"), &hum, 48_000);
    let browser = Browser::phone();
    browser.visit(&format!("{}#recording", site.url()));
    until(&browser, "return document.querySelector('#recording') !== null");
    for name in [
        "mute.mp4",
        "silent.wav",
        "short.wav",
        "none.wav",
        "empty.m4a",
        "picture.wav",
        "hum.wav",
    ] {
        browser.type_into("#recording", text(&file(name)));
        let line = until(&browser, ERROR);
        let output = sumproof(&["linecheck", "read", text(&file(name))]);
        let said = complaints(&output).replace(&format!("{}/", site.folder.display()), "");
        assert_eq!(line, on_the_page(said.trim_end()), "{name}");
        let line = line.as_str().unwrap();
        assert!(
            line.starts_with(name) && !line.contains("--") && !line.contains('\n'),
            "{line}"
        );
    }
    let (samples, rate) = recorded(1);
    wav16(&file("venue.wav"), &samples, rate);
    browser.type_into("#recording", text(&file("venue.wav")));
    assert_ne!(until(&browser, SENTENCE), "error", "{}", browser.script(ERROR));
    assert_eq!(browser.script(ERROR), "");
    assert_eq!(browser.console(), Vec::<String>::new());
}
