//! `sumproof check` over a folder: the table, the output formats, order and filters, limits, passes by name; `compare`.
#![allow(clippy::unwrap_used, reason = "a test panics when something is missing")]

mod common;

use std::fs;
use std::path::PathBuf;

use common::{complaints, folder, preset, printed, sumproof, text, write};
use serde_json::Value;
use sumproof_signals::{PresetKind, PresetSpec, Rng, Stereo, render};

/// Four presets in a folder with a subfolder, one of them with opposite channels, and a file that is no preset.
fn set(name: &str) -> PathBuf {
    let folder = folder(name);
    let inner = folder.join("second half");
    fs::create_dir(&inner).unwrap();
    for (folder, name, kind, gain) in [
        (&folder, "b foam.wav", PresetKind::EqualDry, 1.0),
        (&folder, "a flipped.wav", PresetKind::FlippedChannel, 0.5),
        (&inner, "late.wav", PresetKind::LateChannel12Ms, 0.25),
        (&inner, "d mono.wav", PresetKind::DryOnly, 1.0),
    ] {
        let mut sound = preset(kind, 4.0, 3);
        sound.scale(gain);
        write(folder, name, 48_000, &sound);
    }
    fs::write(folder.join("notes.txt"), "not a preset").unwrap();
    fs::write(folder.join(".hidden.wav"), "not a preset").unwrap();
    folder
}

fn names(json: &[u8]) -> Vec<String> {
    let document: Value = serde_json::from_slice(json).unwrap();
    document["takes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|take| take["name"].as_str().unwrap().into())
        .collect()
}

#[test]
fn a_folder_is_a_table_with_the_worst_first() {
    let folder = set("set-table");
    let output = sumproof(&["check", text(&folder)]);
    assert_eq!(output.status.code(), Some(0), "{}", complaints(&output));
    assert!(
        output.stderr.is_empty(),
        "quiet in a pipe: {}",
        complaints(&output)
    );
    let table = printed(&output);
    // First the outcomes and what to do first, then the lines and limits, then the table.
    let places = [
        "4 presets: ",
        "Begin with a flipped (drops out: mono wedge)",
        "What helps most: ",
        "Both lines: no fault set. Limits: ",
        "outcome",
        "wedge LUFS",
    ];
    let words = table.split_whitespace().collect::<Vec<_>>().join(" ");
    let at = places.map(|part| {
        words
            .find(part)
            .unwrap_or_else(|| panic!("{part} is not in\n{table}"))
    });
    assert!(at.is_sorted(), "{table}");
    let lines: Vec<&str> = table
        .lines()
        .skip_while(|line| !line.contains("outcome"))
        .collect();
    assert!(
        lines[1].contains("drops out") && lines[1].contains("a flipped"),
        "{table}"
    );
    assert!(lines[4].contains("d mono"), "{table}");
    assert!(
        table.contains("Levels spread over ") && table.contains("in the mono wedge"),
        "{table}"
    );
    assert!(!table.contains("notes") && !table.contains("hidden"));
    let detailed = printed(&sumproof(&["check", "--detail", text(&folder)]));
    assert_eq!(detailed.matches("correlation  ").count(), 4, "{detailed}");
}

#[test]
fn the_spread_is_that_of_the_loudness_in_stereo_and_in_the_wedge() {
    let folder = folder("set-spread");
    // Equally loud in stereo; when summed, unrelated channels lose 3.01 dB, equal ones nothing (BS.1770 adds channel
    // powers).
    let noise = |seed| -> Vec<f64> {
        let mut rng = Rng::new(seed);
        (0..10 * 48_000).map(|_| 0.05 * rng.gaussian()).collect()
    };
    let equal = Stereo::dual_mono(&noise(1));
    let unrelated = Stereo {
        right: noise(2),
        ..equal.clone()
    };
    write(&folder, "equal.wav", 48_000, &equal);
    write(&folder, "unrelated.wav", 48_000, &unrelated);
    let output = sumproof(&["check", "--format", "json", text(&folder)]);
    let document: Value = serde_json::from_slice(&output.stdout).unwrap();
    let spread = |name: &str| document["set"][name]["spread_lu"].as_f64().unwrap();
    assert!(spread("stereo_lufs") < 0.1, "{}", spread("stereo_lufs"));
    assert!(
        (spread("wedge_lufs") - 3.01).abs() < 0.15,
        "{}",
        spread("wedge_lufs")
    );
}

#[test]
fn presets_are_ordered_and_chosen() {
    let folder = set("set-order");
    let chosen = |options: &[&str]| {
        let mut arguments = vec!["check", "--format", "json", text(&folder)];
        arguments.extend(options);
        let output = sumproof(&arguments);
        assert_eq!(output.status.code(), Some(0), "{}", complaints(&output));
        names(&output.stdout)
    };
    let given = ["a flipped", "b foam", "d mono", "late"];
    assert_eq!(chosen(&[]), given);
    assert_eq!(chosen(&["--jobs", "1"]), given);
    assert_eq!(chosen(&["--sort", "name", "--reverse"])[0], "late");
    assert_eq!(chosen(&["--sort", "stereo_lufs"])[0], "late");
    assert_eq!(chosen(&["--sort", "worst"])[0], "a flipped");
    assert_eq!(chosen(&["--only", "drops-out"])[0], "a flipped");
    assert_eq!(chosen(&["--name", "MON"]), ["d mono"]);
    assert_eq!(
        chosen(&["--where", "correlation>0.99", "--where", "change_lu>-0.1"]),
        ["d mono"]
    );
    assert!(chosen(&["--where", "seconds>100"]).is_empty());
}

#[test]
fn a_pack_can_be_guarded() {
    let folder = set("set-guard");
    let code = |options: &[&str]| {
        let mut arguments = vec!["check", text(&folder)];
        arguments.extend(options);
        sumproof(&arguments).status.code()
    };
    assert_eq!(code(&["--fail-on", "drops-out"]), Some(1));
    // A preset that is filtered out fails all the same.
    assert_eq!(code(&["--fail-on", "drops-out", "--only", "holds"]), Some(1));
    assert_eq!(
        code(&["--fail-on", "drops-out", "--feed", "stereo-house"]),
        Some(0)
    );
    let foam = folder.join("b foam.wav");
    let alone = |options: &[&str]| {
        let mut arguments = vec!["check", text(&foam)];
        arguments.extend(options);
        sumproof(&arguments).status.code()
    };
    assert_eq!(alone(&["--fail-on", "thins"]), Some(0));
    assert_eq!(
        alone(&[
            "--fail-on",
            "thins",
            "--feed",
            "wedge-line-transformer",
            "--limit",
            "tone_db=0"
        ]),
        Some(1),
        "no transformer passes without some change of tone"
    );
    assert_eq!(
        alone(&["--fail-on", "thins", "--feed", "wedge-line-flipped"]),
        Some(1)
    );
    let described = r#"{name = "front fill", ending = "sum", right = {polarity = "flipped"}}"#;
    assert_eq!(alone(&["--fail-on", "drops-out", "--feed", described]), Some(1));
    assert_eq!(alone(&["--feed", "no such feed"]), Some(2));
    assert_eq!(alone(&["--where", "loudness<3"]), Some(2));
    // A bad file takes precedence over a bad preset.
    fs::write(folder.join("empty.wav"), "").unwrap();
    assert_eq!(code(&["--fail-on", "drops-out"]), Some(13));
}

#[test]
fn a_rig_file_says_what_the_lines_are() {
    let folder = folder("set-rig");
    let foam = write(&folder, "foam.wav", 48_000, &preset(PresetKind::EqualDry, 4.0, 3));
    let rig = folder.join("rig.toml");
    fs::write(
        &rig,
        "[right]\npolarity = \"flipped\"\n[limits]\ndry_drops_out_db = -12\n\
         [own]\nname = \"front fill\"\nending = \"left\"\n",
    )
    .unwrap();
    let output = sumproof(&["check", "--format", "json", "--rig", text(&rig), text(&foam)]);
    assert_eq!(output.status.code(), Some(0), "{}", complaints(&output));
    let document: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(document["rig"]["limits"]["dry_drops_out_db"], -12.0);
    let take = &document["takes"][0];
    assert_eq!(take["outcome"], "drops-out");
    let feeds = take["feeds"].as_array().unwrap();
    let wedge = feeds.iter().find(|feed| feed["id"] == "mono-wedge").unwrap();
    assert_eq!(wedge["outcome"], "drops-out");
    let own = feeds.last().unwrap();
    assert_eq!(
        (&own["id"], &own["name"]),
        (&Value::from("own"), &Value::from("front fill"))
    );
    // The wedge is measured through the flipped line: the equal dry is cancelled.
    assert!(
        take["loudness"]["change_lu"].as_f64().unwrap() < -6.0,
        "{}",
        take["loudness"]
    );
    fs::write(&rig, "[right]\npolarity = \"upside down\"\n").unwrap();
    let output = sumproof(&["check", "--rig", text(&rig), text(&foam)]);
    assert_eq!(output.status.code(), Some(21));
    assert_eq!(complaints(&output).lines().count(), 1);
}

#[test]
fn csv_has_a_line_per_preset_and_feed() {
    let folder = set("set-csv");
    let output = sumproof(&[
        "check",
        "--format",
        "csv",
        "--feed",
        "mono-wedge",
        "--feed",
        "left-line-only",
        text(&folder),
    ]);
    let table = printed(&output);
    let lines: Vec<Vec<&str>> = table
        .split_terminator("\r\n")
        .map(|line| line.split(',').collect())
        .collect();
    assert_eq!(lines.len(), 1 + 4 * 2, "{table}");
    let column = |name: &str| lines[0].iter().position(|&heading| heading == name).unwrap();
    assert!(lines.iter().all(|line| line.len() == lines[0].len()), "{table}");
    let foam = lines
        .iter()
        .find(|line| line[0] == "b foam" && line[column("feed")] == "mono-wedge")
        .unwrap();
    let dry: f64 = foam[column("dry_db")].parse().unwrap();
    assert!(dry.abs() < 0.5, "{dry}");
    let mono = lines
        .iter()
        .find(|line| line[0] == "d mono" && line[column("feed")] == "mono-wedge")
        .unwrap();
    assert_eq!(mono[column("wet_db")], "none found");
}

#[test]
fn passes_of_a_folder_find_each_other_by_name() {
    let folder = folder("set-passes");
    for (name, seed) in [("Gravel", 1), ("Foam", 2)] {
        let part = render(&PresetSpec {
            seconds: 4.0,
            seed,
            ..PresetSpec::new(PresetKind::HalfCorrelatedReverb)
        });
        write(&folder, &format!("{name}-dry.wav"), 48_000, &part.dry);
        write(&folder, &format!("{name}-wet.wav"), 48_000, &part.wet);
        if name == "Foam" {
            write(&folder, "Foam.wav", 48_000, &part.full());
        }
    }
    write(
        &folder,
        "Alone-dry.wav",
        48_000,
        &preset(PresetKind::DryOnly, 4.0, 3),
    );
    write(
        &folder,
        "Single.wav",
        48_000,
        &preset(PresetKind::EqualDry, 4.0, 3),
    );
    let output = sumproof(&[
        "check",
        "--format",
        "json",
        "--dry",
        "*-dry",
        "--wet",
        "*-wet",
        text(&folder),
    ]);
    assert_eq!(output.status.code(), Some(20));
    let said = complaints(&output);
    assert!(
        said.lines()
            .any(|line| line.contains("Alone-dry.wav") && line.contains("no wet or full one")),
        "{said}"
    );
    let document: Value = serde_json::from_slice(&output.stdout).unwrap();
    let takes: Vec<(&str, &str, bool)> = document["takes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|take| {
            (
                take["name"].as_str().unwrap(),
                take["split"]["method"].as_str().unwrap(),
                take["loudness"].is_object(),
            )
        })
        .collect();
    assert_eq!(
        takes,
        [
            ("Foam", "two-pass", true),
            ("Gravel", "two-pass", false),
            ("Single", "estimated", true)
        ]
    );
}

#[test]
fn pictures_are_png_files_of_the_presets() {
    let folder = set("set-pictures");
    let pictures = folder.join("pictures");
    let output = sumproof(&["check", "--pictures", text(&pictures), text(&folder)]);
    assert_eq!(output.status.code(), Some(0), "{}", complaints(&output));
    let mut names: Vec<String> = fs::read_dir(&pictures)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    assert_eq!(names, ["a flipped.png", "b foam.png", "d mono.png", "late.png"]);
    let png = fs::read(pictures.join("late.png")).unwrap();
    assert_eq!(&png[..8], b"\x89PNG\r\n\x1a\n");
    assert_eq!(&png[16..24], [0, 0, 5, 160, 0, 0, 2, 232], "1440 by 744 pixels");
}

#[test]
fn two_bounces_are_compared() {
    let folder = folder("set-compare");
    let before = write(
        &folder,
        "before.wav",
        48_000,
        &preset(PresetKind::FlippedChannel, 4.0, 3),
    );
    let mut sound = preset(PresetKind::FlippedChannel, 4.0, 3);
    sound.right.iter_mut().for_each(|sample| *sample = -*sample);
    let after = write(&folder, "after.wav", 48_000, &sound);
    let output = sumproof(&["compare", text(&before), text(&after)]);
    assert_eq!(output.status.code(), Some(0), "{}", complaints(&output));
    let table = printed(&output).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        table.contains("mono wedge (drops out → holds)")
            && table.contains("mono wedge, one line flipped (holds → drops out)"),
        "{table}"
    );
    let same = printed(&sumproof(&["compare", text(&before), text(&before)]));
    assert!(same.contains("Nothing changed"), "{same}");
    let json = sumproof(&["compare", "--format", "json", text(&before), text(&after)]);
    assert_eq!(names(&json.stdout), ["before", "after"]);
    let missing = sumproof(&["compare", text(&before), text(&folder.join("none.wav"))]);
    assert_eq!(
        (missing.status.code(), complaints(&missing).lines().count()),
        (Some(10), 1)
    );
}

#[test]
fn shells_can_complete_it() {
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let script = printed(&sumproof(&["completions", shell]));
        assert!(
            script.contains("sumproof") && script.contains("fail-on"),
            "{shell}: {script}"
        );
    }
}
