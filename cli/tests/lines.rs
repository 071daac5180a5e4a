//! Tests of `sumproof lines` as users run it.

use std::path::Path;
use std::process::{Command, Output};

fn sumproof(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sumproof"))
        .arg("lines")
        .args(arguments)
        .current_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join(".."))
        .output()
        .expect("the command starts")
}

fn text(output: &Output) -> String {
    assert_eq!(
        output.status.code(),
        Some(0),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    String::from_utf8(output.stdout.clone()).expect("text")
}

fn refused(arguments: &[&str], code: i32) -> String {
    let output = sumproof(arguments);
    assert_eq!(output.status.code(), Some(code));
    assert!(output.stdout.is_empty());
    let line = String::from_utf8(output.stderr).expect("text");
    assert_eq!(line.lines().count(), 1, "{line}");
    line
}

#[test]
fn two_unlike_lines_are_told_apart() {
    let said = text(&sumproof(&["examples/uneven-boxes.toml"]));
    for part in [
        "adapter cable",
        "passive direct box 10:1",
        "The left line is 18.7 dB louder than the right",
        "Take: line isolator on both lines.",
    ] {
        let words = said.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(words.contains(part), "{part}\n{said}");
    }
    // The recommendation comes first, and the player's own lines are among the choices.
    assert!(said.starts_with("Take: ") && said.contains("(your"), "{said}");
    let alike = text(&sumproof(&["examples/two-isolators.toml"]));
    assert!(alike.contains("Nothing: what both carry adds up whole"));
}

#[test]
fn the_gig_changes_the_choice() {
    let best = |arguments: &[&str]| {
        let said = text(&sumproof(arguments));
        let line = said
            .lines()
            .find(|line| line.starts_with("Take: "))
            .expect("there is a choice");
        line.to_string()
    };
    assert!(best(&["--mains", "separate"]).contains("line isolator"));
    let have = ["--have", "adapter-cable,active-direct-box", "--mains", "same"];
    assert!(best(&[&have[..], &["--phantom", "on"]].concat()).contains("active direct box"));
    assert!(best(&[&have[..], &["--phantom", "off"]].concat()).contains("adapter cable"));
}

#[test]
fn the_json_holds_what_the_table_says() {
    let output = text(&sumproof(&["examples/uneven-boxes.toml", "--format", "json"]));
    let json: serde_json::Value = serde_json::from_str(&output).expect("JSON");
    assert_eq!(json["schema"], 1);
    assert_eq!(json["own"]["left"]["box"], "adapter-cable");
    assert_eq!(json["own"]["right"]["turns_ratio"], 10.0);
    let difference = json["own"]["level_difference_db"].as_f64().expect("a number");
    assert!((difference - 18.7).abs() < 0.05);
    assert_eq!(json["choices"][0]["left"]["box"], "line-isolator");
    assert_eq!(json["choices"].as_array().map(Vec::len), Some(7));
    let page = include_str!("../../docs/boxes.md");
    let mut fields = vec![];
    keys(&json, &mut fields);
    for field in fields {
        assert!(page.contains(&format!("`{field}`")), "{field} is not described");
    }
}

fn keys(value: &serde_json::Value, found: &mut Vec<String>) {
    match value {
        serde_json::Value::Object(map) => {
            for (key, value) in map {
                found.push(key.clone());
                keys(value, found);
            }
        }
        serde_json::Value::Array(list) => list.iter().for_each(|value| keys(value, found)),
        _ => {}
    }
}

#[test]
fn what_is_wrong_is_one_line() {
    assert!(refused(&["--left", "adapter-cable"], 2).contains("add --right BOX"));
    assert!(refused(&["--level-dbu", "99"], 2).contains("give -60 to 24"));
    assert!(refused(&["no-such-rig.toml"], 10).contains("there is no such file"));
    assert!(refused(&["examples"], 10).contains("is a folder"));
    let place = std::env::temp_dir().join(format!("sumproof-lines-{}.toml", std::process::id()));
    std::fs::write(&place, "[left]\nbxo = 1\n").expect("a place to write");
    let line = refused(&[&place.to_string_lossy()], 21);
    assert!(
        line.contains("line 2: left.bxo") && line.contains("nearest is left.box"),
        "{line}"
    );
    std::fs::write(&place, [0xff, 0xfe]).expect("a place to write");
    assert!(refused(&[&place.to_string_lossy()], 21).contains("UTF-8"));
    let _ = std::fs::remove_file(&place);
    assert!(refused(&["--output", "/no/such/folder/x.txt"], 3).contains("could not be written"));
}

/// A line isolator into a mic input needs the pad just as an active DI does: peaks decide, given or assumed.
#[test]
fn a_pad_is_judged_by_peaks() {
    let said = |arguments: &[&str]| {
        let lines = text(&sumproof(
            &[&["examples/two-isolators.toml", "--inputs", "mic"], arguments].concat(),
        ));
        lines.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let taken = said(&[]);
    assert!(taken.contains("pad YES (peaks"), "{taken}");
    assert!(!taken.contains("arrives at line level"), "{taken}");
    let quiet = said(&["--level-dbu", "-8", "--peak-dbu", "1"]);
    assert!(
        quiet.contains("pad no no") && quiet.contains("peaks +1.0 dBu"),
        "{quiet}"
    );
    let wrong = refused(&["--level-dbu", "4", "--peak-dbu", "1"], 2);
    assert!(wrong.contains("--peak-dbu 1 is out of range"), "{wrong}");
    let unsaid = text(&sumproof(&[]));
    assert!(unsaid.contains("nobody said it"), "{unsaid}");
}
