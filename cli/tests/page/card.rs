//! The rig card on the page: the same words, and the same PDF, as the command's.

use std::fs;
use std::path::{Path, PathBuf};

use serde_json::json;
use sumproof_signals::PresetKind;

use crate::browser::Browser;
use crate::common::{complaints, preset, sumproof, text, write};
use crate::same::asked;
use crate::site::Site;
use crate::way::{ERROR, press, saved, until};

/// The command's PDF of a rig file and takes.
pub fn card(rig: &Path, takes: &[PathBuf], folder: &Path, paper: &str) -> Vec<u8> {
    let to = folder.join(format!("command-{paper}.pdf"));
    let mut arguments = vec!["card", text(rig)];
    arguments.extend(takes.iter().map(|path| text(path)));
    arguments.extend(["-o", text(&to), "--paper", paper]);
    let output = sumproof(&arguments);
    assert_eq!(output.status.code(), Some(0), "{}", complaints(&output));
    fs::read(to).unwrap()
}

/// Judges a few presets, two of them with names in other letters; returns the JSON.
fn judged(folder: &Path) -> PathBuf {
    let mut bounces = Vec::new();
    for (number, kind) in PresetKind::ALL.into_iter().enumerate() {
        let name = match number {
            0 => "Łódź – brødrene.wav".into(),
            1 => "Trường Ấm.wav".into(),
            _ => format!("{}.wav", kind.id()),
        };
        bounces.push(write(
            folder,
            &name,
            48_000,
            &preset(kind, 4.0, 40 + number as u64),
        ));
    }
    let to = folder.join("takes.json");
    let mut arguments = vec!["check", "--format", "json", "--output", text(&to)];
    arguments.extend(bounces.iter().map(|path| text(path)));
    let output = sumproof(&arguments);
    assert_eq!(output.status.code(), Some(0), "{}", complaints(&output));
    to
}

/// A rig file with every kind of text, in the letters of many languages.
const RIG: &str = "[left]\nbox = \"passive-direct-box\"\n[right]\nbox = \"active-direct-box\"\npolarity = \"flipped\"\n[card]\n\
    player = \"Zoë Čížková-Ø\"\nshow = \"Şehir, Ķekava, Việt Nam\"\ncontact = \"e\u{301}, AVATAR, official flow\"\n\
    left = \"FLIPPED, he says\"\nnotes = [\"½ of 3 Ω, −6 dB, 25 µs\", \"“quoted” – and ‘so’ … № 5 ™\"]\n";

#[test]
#[ignore = "needs the page and a browser: `cargo xtask test` runs it"]
fn the_card_says_what_the_commands_says_and_its_pdf_is_the_commands() {
    let Some(site) = Site::new("page-card") else {
        return;
    };
    let browser = Browser::open(800, 600);
    browser.devtools(
        "Browser.setDownloadBehavior",
        &json!({"behavior": "allow", "downloadPath": site.folder.join("saved")}),
    );
    let takes = judged(&site.folder);
    let rig = site.folder.join("rig.toml");
    fs::write(&rig, RIG).unwrap();
    let empty = site.folder.join("empty.toml");
    fs::write(&empty, "").unwrap();
    let shown = "return document.querySelector('.card h2') !== null";
    for (number, (with_rig, with_takes, paper)) in [
        (true, true, "a4"),
        (true, true, "letter"),
        (false, true, "a4"),
        (true, false, "letter"),
    ]
    .into_iter()
    .enumerate()
    {
        browser.visit(&format!("{}?{number}#card", site.url()));
        until(&browser, "return document.querySelector('#card-rig') !== null");
        let _ = fs::remove_dir_all(site.folder.join("saved"));
        browser.script(&format!("document.querySelector('#paper').value = '{paper}'"));
        if with_rig {
            browser.type_into("#card-rig", text(&rig));
            until(&browser, shown);
        }
        if with_takes {
            browser.type_into("#card-takes", text(&takes));
            until(
                &browser,
                "return document.querySelector('#used').textContent.includes('takes.json')",
            );
        }
        press(&browser, "save-pdf");
        let ours = fs::read(saved(&site.folder, "pdf")).unwrap();
        let takes = if with_takes {
            vec![takes.clone()]
        } else {
            Vec::new()
        };
        let theirs = card(if with_rig { &rig } else { &empty }, &takes, &site.folder, paper);
        assert!(ours == theirs, "{with_rig} {with_takes} {paper}");
        let said = browser.script("return document.querySelector('.notes')?.innerText ?? ''");
        assert!(!said.as_str().unwrap().contains("typeface"), "{said}");
        assert_eq!(browser.script(ERROR), "");
    }
    // Letters that the page's part of the typeface lacks; the command has the first.
    let other = site.folder.join("other.toml");
    fs::write(&other, "[card]\nplayer = \"Ж 音\"\n").unwrap();
    browser.type_into("#card-rig", text(&other));
    let said = until(&browser, "return document.querySelector('.notes')?.innerText");
    assert!(
        said.as_str()
            .unwrap()
            .contains("2 characters are not in the typeface"),
        "{said}"
    );
    assert_eq!(browser.console(), Vec::<String>::new());
}

#[test]
#[ignore = "needs the page and a browser: `cargo xtask test` runs it"]
fn what_gives_no_card_is_one_line_and_the_last_card_stays() {
    let Some(site) = Site::new("page-no-card") else {
        return;
    };
    let browser = Browser::phone();
    browser.visit(&format!("{}#card", site.url()));
    until(&browser, "return document.querySelector('#card-rig') !== null");
    let file = |name: &str, text: &str| {
        let path = site.folder.join(name);
        fs::write(&path, text).unwrap();
        path
    };
    browser.type_into(
        "#card-rig",
        text(&file("good.toml", "[card]\nplayer = \"A. Player\"\n")),
    );
    until(&browser, "return document.querySelector('.card h2') !== null");
    // Nothing scrolls sideways.
    let wide = browser.script("return document.documentElement.scrollWidth");
    assert!(wide.as_u64().unwrap() <= 390, "{wide}");
    for (id, path, part) in [
        (
            "#card-rig",
            file("bad.toml", "[card]\nplayer = 3\n"),
            "bad.toml: line 2: card.player = 3 is not a text",
        ),
        (
            "#card-takes",
            file("bad.json", "{\"schema\": 1}"),
            "bad.json: is not the JSON of judged presets",
        ),
        (
            "#card-takes",
            file("none.json", "{\"schema\": 1, \"takes\": []}"),
            "none.json: holds no preset that was judged",
        ),
    ] {
        browser.type_into(id, text(&path));
        let line = until(&browser, ERROR);
        assert!(line.as_str().unwrap().starts_with(part), "{line}");
        let player = browser.script("return document.querySelector('.card').innerText.includes('A. Player')");
        assert_eq!(player, true);
    }
    // From the module itself: a text that is too long for the page.
    let wide = "W".repeat(120);
    let notes = vec![format!("\"{wide}\""); 4].join(", ");
    let risks = vec![format!("\"{}\"", "W".repeat(100)); 20].join(", ");
    let rig = format!(
        "[left]\ndelay_ms = 1\n[card]\nrig = \"{wide}\"\nleft = \"{0}\"\nright = \"{0}\"\nplayer = \"{1}\"\nmonitor = \"{1}\"\nnotes = [{notes}]\nat_risk = [{risks}]\n",
        "W".repeat(80),
        "W".repeat(60)
    );
    let answers = asked(
        &browser,
        &json!([{"ask": "card", "rig": {"name": "long.toml", "text": rig}, "takes": [], "letter": true, "pdf": true}]),
    );
    let line = answers[0]["answer"]["refused"].as_str().unwrap();
    assert!(
        line.starts_with("long.toml: ") && line.contains("mm too long"),
        "{line}"
    );
    assert_eq!(browser.console(), Vec::<String>::new());
}
