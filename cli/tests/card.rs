//! Tests of `sumproof card` as users run it.

mod chromium;
mod common;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn sumproof(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sumproof"))
        .args(arguments)
        .current_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join(".."))
        .output()
        .expect("the command starts")
}

/// A folder for one test, removed with it.
struct Place(PathBuf);

impl Place {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("sumproof-card-{name}-{}", std::process::id()));
        fs::create_dir_all(&path).expect("a place to write");
        Self(path)
    }

    fn file(&self, name: &str) -> String {
        self.0.join(name).to_string_lossy().into_owned()
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

fn refused(arguments: &[&str], code: i32) -> String {
    let output = sumproof(arguments);
    let line = String::from_utf8(output.stderr).expect("text");
    assert_eq!(output.status.code(), Some(code), "{line}");
    assert_eq!(line.lines().count(), 1, "{line}");
    line
}

/// A preset whose right channel is silent: the right line alone carries no sound.
fn one_sided(path: &str) {
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: 44_100,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut file = hound::WavWriter::create(path, spec).expect("a place to write");
    let mut noise: u32 = 1;
    for _ in 0..3 * 44_100 {
        noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        file.write_sample((noise >> 18) as i16 - 8192).expect("written");
        file.write_sample(0i16).expect("written");
    }
    file.finalize().expect("written");
}

#[test]
fn from_bounces_to_a_card() {
    let place = Place::new("whole");
    let (wav, json) = (place.file("One side.wav"), place.file("takes.json"));
    one_sided(&wav);
    let checked = sumproof(&["check", "--format", "json", "--output", &json, &wav]);
    assert_eq!(
        checked.status.code(),
        Some(0),
        "{}",
        String::from_utf8_lossy(&checked.stderr)
    );
    for paper in ["a4", "letter"] {
        for ending in ["html", "pdf"] {
            let card = place.file(&format!("card-{paper}.{ending}"));
            let made = sumproof(&[
                "card",
                "examples/two-isolators.toml",
                &json,
                "-o",
                &card,
                "--paper",
                paper,
            ]);
            assert_eq!(
                made.status.code(),
                Some(0),
                "{}",
                String::from_utf8_lossy(&made.stderr)
            );
            assert!(made.stdout.is_empty());
            let bytes = fs::read(&card).expect("it was written");
            if ending == "pdf" {
                assert!(bytes.starts_with(b"%PDF-"));
            } else {
                let page = String::from_utf8(bytes).expect("text");
                assert!(page.contains("One side drops out"), "{paper}");
                assert!(page.contains("@page{size:") && !page.contains("http"));
            }
        }
    }
}

#[test]
fn what_is_wrong_is_one_line() {
    let place = Place::new("wrong");
    let card = place.file("card.pdf");
    let rig = "examples/two-isolators.toml";
    assert!(refused(&["card", rig, "-o", &place.file("card.doc")], 2).contains("end it in .html or .pdf"));
    assert!(
        refused(&["card", "no-such.toml", "-o", &card], 10).contains("no-such.toml: there is no such file")
    );
    assert!(
        refused(&["card", rig, "no-such.json", "-o", &card], 10)
            .contains("no-such.json: there is no such file")
    );
    let bad = place.file("bad.toml");
    fs::write(&bad, "[card]\nplayer = 3\n").expect("a place to write");
    let line = refused(&["card", &bad, "-o", &card], 21);
    assert!(
        line.contains("bad.toml: line 2: card.player = 3 is not a text"),
        "{line}"
    );
    let json = place.file("bad.json");
    fs::write(&json, "{\"schema\": 1}").expect("a place to write");
    let line = refused(&["card", rig, &json, "-o", &card], 21);
    assert!(
        line.contains("bad.json: is not what `sumproof check --format json` writes"),
        "{line}"
    );
    let line = refused(&["card", rig, "-o", "/no/such/folder/card.html"], 3);
    assert!(
        line.contains("/no/such/folder/card.html: could not be written"),
        "{line}"
    );
    // No part is left of a card that was not made.
    let left: Vec<_> = fs::read_dir(&place.0)
        .expect("a folder")
        .flatten()
        .map(|entry| entry.file_name())
        .collect();
    assert_eq!(left.len(), 2, "{left:?}");
}

#[test]
fn texts_with_no_room_are_refused_with_what_to_do() {
    let place = Place::new("long");
    let rig = place.file("long.toml");
    let wide = |length: usize| "W".repeat(length);
    let text = format!(
        "[left]\ndelay_ms = 1\n[card]\nplayer = \"{}\"\nmonitor = \"{}\"\ncontact = \"{}\"\nposition = \"{}\"\nrig = \"{}\"\nleft = \"{}\"\nright = \"{}\"\nnotes = [{}]\nat_risk = [{}]\n",
        wide(60),
        wide(60),
        wide(30),
        wide(30),
        wide(120),
        wide(80),
        wide(80),
        vec![format!("\"{}\"", wide(120)); 4].join(", "),
        vec![format!("\"{}\"", wide(100)); 20].join(", "),
    );
    fs::write(&rig, text).expect("a place to write");
    let line = refused(
        &["card", &rig, "-o", &place.file("card.pdf"), "--paper", "letter"],
        21,
    );
    assert!(
        line.contains("mm too long for one Letter page; shorten card.notes"),
        "{line}"
    );
}

/// Number of pages of a PDF, from its page tree, and the first page's size in points.
fn pages_and_size(pdf: &[u8]) -> (usize, [f64; 2]) {
    let text = String::from_utf8_lossy(pdf).replace("/Type /Pages", "/Type/Pages");
    let after = |key: &str| {
        let at = text.find(key).unwrap_or_else(|| panic!("the PDF has no {key}"));
        &text[at + key.len()..]
    };
    let tree = text.split("/Type/Pages").nth(1).expect("a page tree");
    let count = tree.split("/Count").nth(1).expect("a count").trim_start();
    let digits: String = count.chars().take_while(char::is_ascii_digit).collect();
    let corners: Vec<f64> = after("/MediaBox")
        .split(['[', ']'])
        .nth(1)
        .expect("a box")
        .split_whitespace()
        .filter_map(|number| number.parse().ok())
        .collect();
    (
        digits.parse().expect("a number"),
        [corners[2] - corners[0], corners[3] - corners[1]],
    )
}

/// The print view in a real browser, with usual texts and with the longest: exactly one page of the paper chosen, like
/// the PDF that is written directly.
#[test]
#[ignore = "needs Debian's chromium: `cargo xtask test` runs it"]
fn the_print_view_is_exactly_one_page() {
    let place = Place::new("print");
    let long = place.file("long.toml");
    let words = |length: usize| {
        "many a word and more "
            .repeat(9)
            .chars()
            .take(length)
            .collect::<String>()
    };
    let text = format!(
        "[left]\nbox = \"wireless\"\n[right]\nbox = \"passive-direct-box\"\npolarity = \"flipped\"\n[card]\nplayer = \"{}\"\nrig = \"{}\"\n\
         left = \"{}\"\nright = \"{}\"\nnotes = [{}]\nat_risk = [{}]\n",
        words(60),
        words(120),
        words(80),
        words(80),
        vec![format!("\"{}\"", words(120)); 4].join(", "),
        vec![format!("\"{}\"", words(100)); 128].join(", "),
    );
    fs::write(&long, text).expect("a place to write");
    for (paper, size) in [("a4", [595.28, 841.89]), ("letter", [612.0, 792.0])] {
        for (name, rig) in [("usual", "examples/uneven-boxes.toml"), ("long", &long)] {
            for ending in ["html", "pdf"] {
                let card = place.file(&format!("{name}-{paper}.{ending}"));
                let made = sumproof(&["card", rig, "-o", &card, "--paper", paper]);
                assert_eq!(
                    made.status.code(),
                    Some(0),
                    "{}",
                    String::from_utf8_lossy(&made.stderr)
                );
                let pdf = if ending == "html" {
                    chromium::print_to_pdf(Path::new(&card))
                } else {
                    fs::read(&card).expect("it was written")
                };
                let (pages, found) = pages_and_size(&pdf);
                assert_eq!(pages, 1, "{name} {paper} {ending}");
                for (found, wanted) in found.iter().zip(size) {
                    // The browser rounds to whole device pixels.
                    assert!(
                        (found - wanted).abs() < 1.0,
                        "{name} {paper} {ending}: {found}, not {wanted}"
                    );
                }
            }
        }
    }
}
