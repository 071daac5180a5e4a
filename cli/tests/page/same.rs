//! Page and command give the same results for the same files.

use std::fs;
use std::path::Path;
use std::process::Command;

use serde_json::{Value, json};
use sumproof_signals::PresetKind;

use crate::browser::Browser;
use crate::common::{preset, write};
use crate::site::{Site, coded, is_plain, recorded, wav16};

/// Sines, transforms and decoders differ between the two platforms: figures may differ by this relative amount, and by
/// this absolute amount near zero.
const SHARE: f64 = 1e-4;
const LEAST: f64 = 1e-4;
/// Relative amount for an estimate's stored evidence; dry and wet, which follow from it, must meet the tolerance above.
const STORED: f64 = 0.05;

/// Codings of the recordings, in turn.
const ENDINGS: [&str; 5] = ["wav", "mp3", "m4a", "flac", "ogg"];

/// Numbers of recordings and bounces: `SUMPROOF_PAGE_FILES` as two numbers, or a few recordings and all kinds of preset.
fn counts() -> (usize, usize) {
    let given = std::env::var("SUMPROOF_PAGE_FILES").ok();
    let mut numbers = given
        .iter()
        .flat_map(|text| text.split_whitespace().filter_map(|number| number.parse().ok()));
    (numbers.next().unwrap_or(5), numbers.next().unwrap_or(20))
}

/// Puts questions to the page's own worker in an open page; returns the answers, the time taken and the module's
/// memory.
pub fn asked(browser: &Browser, questions: &Value) -> Value {
    browser.script(&format!(
        "const worker = window.testWorker ??= new Worker('worker.js');
         const ask = (question, blobs) => new Promise(resolve => {{
           worker.onmessage = ({{ data }}) => data.answer && resolve(data);
           worker.postMessage({{ id: 1, question, files: blobs }});
         }});
         return (async () => {{
           const answers = [];
           for (const question of {questions}) {{
             let blobs = {{}};
             if (question.file) {{
               const blob = await (await fetch(question.file.name)).blob();
               question.file = {{ id: 0, name: question.file.name, len: blob.size }};
               blobs = {{ 0: blob }};
             }}
             const began = performance.now();
             const {{ answer, memory }} = await ask(question, blobs);
             answers.push({{ answer, memory, seconds: (performance.now() - began) / 1000 }});
           }}
           return answers;
         }})();"
    ))
}

fn command(folder: &Path, arguments: &[&str]) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_sumproof"))
        .current_dir(folder)
        .args(arguments)
        .output()
        .unwrap();
    if output.stdout.is_empty() {
        String::from_utf8(output.stderr).unwrap()
    } else {
        String::from_utf8(output.stdout).unwrap()
    }
}

/// What the page says instead of the command's line: it has no options, but the choice between stereo and mono.
pub fn on_the_page(line: &str) -> String {
    let chosen = "was sent as chosen here (stereo, or for one mono source)";
    line.replace("made with the same settings (--mono, --band, --length)", chosen)
        .replace("was made with the same settings", chosen)
}

/// The places where two documents differ by more than the tolerance.
fn differences(a: &Value, b: &Value, place: &str) -> Vec<String> {
    let differ = |differ: bool| {
        if differ {
            vec![format!("{place}: {a} and {b}")]
        } else {
            Vec::new()
        }
    };
    match (a, b) {
        (Value::Number(x), Value::Number(y)) => {
            let (x, y) = (x.as_f64().unwrap(), y.as_f64().unwrap());
            differ((x - y).abs() > LEAST + SHARE * x.abs().max(y.abs()))
        }
        (Value::Array(x), Value::Array(y)) if x.len() == y.len() => x
            .iter()
            .zip(y)
            .enumerate()
            .flat_map(|(n, (x, y))| differences(x, y, &format!("{place}[{n}]")))
            .collect(),
        (Value::Object(x), Value::Object(y)) if x.keys().eq(y.keys()) => x
            .iter()
            .flat_map(|(key, value)| differences(value, &y[key], &format!("{place}.{key}")))
            .collect(),
        (Value::String(x), Value::String(y)) if x != y && is_stored(place) => {
            let (x, y) = (numbers(x, place), numbers(y, place));
            if x.len() != y.len() {
                return vec![format!("{place}: of another length")];
            }
            let pairs = x.iter().zip(&y).enumerate();
            pairs
                .filter(|(_, (x, y))| (*x - *y).abs() > LEAST + STORED * x.abs().max(y.abs()))
                .map(|(n, (x, y))| format!("{place}, number {n}: {x} and {y}"))
                .collect()
        }
        _ => differ(a != b),
    }
}

/// Spectra and evidence that a take stores for later readings, as text.
fn is_stored(place: &str) -> bool {
    place.contains(".stored.")
}

/// The numbers of such a text. A cell of a spectrum is two powers, as floats, and the two parts of a cross term, each as
/// 24 bits of its share in the powers; its part before the delay is two more of these; evidence is floats.
fn numbers(text: &str, place: &str) -> Vec<f64> {
    let bytes = decoded(text);
    let float = |four: &[u8]| f64::from(f32::from_le_bytes([four[0], four[1], four[2], four[3]]));
    let share = |three: &[u8]| {
        f64::from(i32::from_le_bytes([0, three[0], three[1], three[2]]) >> 8) / f64::from(1 << 22)
    };
    if place.ends_with(".cells") {
        let cells = bytes.chunks_exact(14);
        cells
            .flat_map(|cell| {
                let powers = cell[..8].chunks_exact(4).map(float);
                powers
                    .chain(cell[8..].chunks_exact(3).map(share))
                    .collect::<Vec<f64>>()
            })
            .collect()
    } else if place.ends_with(".near") {
        bytes.chunks_exact(3).map(share).collect()
    } else {
        bytes.chunks_exact(4).map(float).collect()
    }
}

/// RFC 4648, 4.
fn decoded(text: &str) -> Vec<u8> {
    let digit = |c: u8| {
        let digits = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
        digits.iter().position(|&known| known == c).unwrap() as u32
    };
    let digits: Vec<u32> = text.bytes().filter(|&c| c != b'=').map(digit).collect();
    digits
        .chunks(4)
        .flat_map(|four| {
            let bits = four
                .iter()
                .enumerate()
                .fold(0, |bits, (n, digit)| bits | digit << (18 - 6 * n));
            bits.to_be_bytes()[1..four.len()].to_vec()
        })
        .collect()
}

fn values(document: &Value) -> usize {
    match document {
        Value::Array(all) => all.iter().map(values).sum(),
        Value::Object(all) => all.values().map(values).sum(),
        _ => 1,
    }
}

#[test]
#[ignore = "needs the page and a browser: `cargo xtask test` runs it"]
fn recordings_say_the_same_as_in_the_command() {
    let Some(site) = Site::new("page-recordings") else {
        return;
    };
    let browser = Browser::open(800, 600);
    site.open(&browser);
    let mut checked = 0;
    for number in (1..).filter(|&number| is_plain(number)).take(counts().0) {
        let (samples, rate) = recorded(number);
        let wav = site.folder.join(format!("venue-{number}.wav"));
        wav16(&wav, &samples, rate);
        let ending = ENDINGS[number as usize % ENDINGS.len()];
        let path = coded(&wav, if rate > 48_000 { "wav" } else { ending });
        let name = path.file_name().unwrap().to_str().unwrap().to_owned();
        let said = command(&site.folder, &["linecheck", "read", "--format", "json", &name]);
        let answers = asked(
            &browser,
            &json!([{"ask": "read", "mono": false, "file": {"name": name}}]),
        );
        let answer = &answers[0]["answer"];
        println!(
            "{name}: {} s, {} MB",
            answers[0]["seconds"],
            answers[0]["memory"].as_u64().unwrap() >> 20
        );
        assert!(answers[0]["memory"].as_u64().unwrap() <= 200 << 20, "{name}");
        match answer["refused"].as_str() {
            Some(line) => assert_eq!(line, on_the_page(said.trim_end()), "{name}"),
            None => {
                let ours: Value = serde_json::from_str(answer["json"].as_str().unwrap()).unwrap();
                let theirs: Value = serde_json::from_str(&said).unwrap();
                checked += values(&ours);
                assert_eq!(differences(&ours, &theirs, &name), Vec::<String>::new());
            }
        }
        fs::remove_file(path).unwrap();
    }
    println!("{checked} values are the same");
    assert!(checked > 1000);
}

#[test]
#[ignore = "needs the page and a browser: `cargo xtask test` runs it"]
fn bounces_say_the_same_as_in_the_command() {
    let Some(site) = Site::new("page-bounces") else {
        return;
    };
    let browser = Browser::open(800, 600);
    site.open(&browser);
    let rig = "sum = \"unity\"\n[right]\ndelay_ms = 0.4\n";
    let mut names = Vec::new();
    for (number, kind) in PresetKind::ALL.into_iter().cycle().take(counts().1).enumerate() {
        let name = format!("{number}-{}.wav", kind.id());
        write(
            &site.folder,
            &name,
            [48_000, 44_100][number % 2],
            &preset(kind, 8.0, 900 + number as u64),
        );
        names.push(name);
    }
    fs::write(site.folder.join("rig.toml"), rig).unwrap();
    for (text, options) in [("", &[][..]), (rig, &["--rig", "rig.toml"][..])] {
        let mut arguments = vec!["check", "--format", "json"];
        arguments.extend(options);
        arguments.extend(names.iter().map(String::as_str));
        let said: Value = serde_json::from_str(&command(&site.folder, &arguments)).unwrap();
        let mut questions = vec![json!({"ask": "begin", "rig": {"name": "rig.toml", "text": text}})];
        questions.extend(
            names
                .iter()
                .map(|name| json!({"ask": "add", "file": {"name": name}})),
        );
        questions.push(json!({"ask": "set"}));
        let answers = asked(&browser, &Value::Array(questions));
        let answers = answers.as_array().unwrap();
        for answer in answers {
            println!(
                "{} s, {} MB",
                answer["seconds"],
                answer["memory"].as_u64().unwrap() >> 20
            );
            assert!(answer["memory"].as_u64().unwrap() <= 200 << 20);
        }
        let ours: Value =
            serde_json::from_str(answers.last().unwrap()["answer"]["json"].as_str().unwrap()).unwrap();
        println!("{} values", values(&ours));
        assert_eq!(differences(&ours, &said, "set"), Vec::<String>::new());
    }
}
