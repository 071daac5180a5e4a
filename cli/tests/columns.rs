//! The command's output to a pipe: never wider than 80 columns, sentences first, whatever the names are.
#![allow(clippy::unwrap_used, reason = "a test panics when something is missing")]

mod common;

use std::fs;
use std::path::{Path, PathBuf};

use common::{complaints, folder, preset, printed, sumproof, text, write};
use sumproof_report::names::width;
use sumproof_signals::PresetKind;

const LONG: &str = "07 A very long name for the second chorus of the last song, with shimmer";
const WIDE: &str = "北京的夜晚合唱效果器预设带有长混响和延迟效果和更多的东西在里面";

/// Two rounds of a set with long and wide names: the first preset got better, the second is another part, the third is
/// unchanged.
fn rounds(name: &str) -> [PathBuf; 2] {
    let folder = folder(name);
    let rounds = ["before", "after"].map(|round| folder.join(round));
    for round in &rounds {
        fs::create_dir(round).unwrap();
    }
    let put = |round: usize, name: &str, kind: PresetKind, seed: u64| {
        write(&rounds[round], name, 48_000, &preset(kind, 6.0, seed));
    };
    let (long, wide) = (format!("{LONG}.wav"), format!("{WIDE}.wav"));
    put(0, &long, PresetKind::FlippedChannel, 3);
    put(1, &long, PresetKind::EqualDry, 3);
    put(0, &wide, PresetKind::EqualDry, 3);
    put(1, &wide, PresetKind::EqualDry, 3);
    put(0, "gone.wav", PresetKind::EqualDry, 3);
    rounds
}

fn said(arguments: &[&str]) -> String {
    let output = sumproof(arguments);
    assert_eq!(output.status.code(), Some(0), "{}", complaints(&output));
    let text = printed(&output);
    for line in text.lines() {
        assert!(
            width(line) <= 80,
            "{arguments:?}: {} columns: {line}",
            width(line)
        );
    }
    text
}

fn words(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn nothing_is_wider_than_eighty_columns() {
    let [before, after] = rounds("columns-width");
    let file = |round: &Path, name: &str| round.join(format!("{name}.wav"));
    let (long, wide) = (file(&before, LONG), file(&before, WIDE));
    let flipped = file(&after, LONG);
    for arguments in [
        &["check", text(&before)][..],
        &["check", text(&before), "--explain"],
        &["check", text(&wide)],
        &["check", text(&long), "--explain"],
        &["check", text(&before), "--detail"],
        &["compare", text(&long), text(&flipped)],
        &["compare", text(&long), text(&flipped), "--explain"],
        &["compare", text(&before), text(&after)],
        &["lines"],
        &[
            "lines",
            "--left",
            "adapter-cable",
            "--right",
            "passive-direct-box",
        ],
    ] {
        said(arguments);
    }
}

#[test]
fn sentence_reasons_and_advice_stand_before_the_table() {
    let [before, _] = rounds("columns-order");
    let text = said(&["check", text(&before.join("gone.wav"))]);
    let at = |part: &str| {
        text.find(part)
            .unwrap_or_else(|| panic!("{part} is not in\n{text}"))
    };
    let order = [
        "The mono wedge holds",
        "Why:",
        "What now:",
        "Both lines: no fault set",
        "outcome  ",
    ];
    assert!(order.map(at).is_sorted(), "{text}");
    let explained = said(&["check", self::text(&before.join("gone.wav")), "--explain"]);
    assert!(
        explained.contains("balance: wet change minus dry change"),
        "{explained}"
    );
    assert!(
        !text.contains("balance: wet change") && text.contains("--explain"),
        "{text}"
    );
}

#[test]
fn a_round_of_changes_is_told_by_what_got_better_and_worse() {
    let [before, after] = rounds("columns-trend");
    let told = words(&said(&["compare", text(&before), text(&after)]));
    assert!(
        told.contains("Of 2 presets in both, 1 fare better, 0 worse, 1 as they did."),
        "{told}"
    );
    assert!(told.contains("Only in A: gone."), "{told}");
    let back = words(&said(&["compare", text(&after), text(&before)]));
    assert!(
        back.contains("0 fare better, 1 worse") && back.contains("Only in B: gone."),
        "{back}"
    );
    let page = said_page(&[&before, &after]);
    assert!(page.contains("Of 2 presets in both") && page.contains(WIDE) && !page.contains("http"));
    let mixed = sumproof(&["compare", text(&before), text(&before.join("gone.wav"))]);
    assert_eq!(
        (mixed.status.code(), complaints(&mixed).lines().count()),
        (Some(2), 1)
    );
}

fn said_page(rounds: &[&PathBuf; 2]) -> String {
    let output = sumproof(&["compare", text(rounds[0]), text(rounds[1]), "--format", "html"]);
    assert_eq!(output.status.code(), Some(0), "{}", complaints(&output));
    printed(&output)
}

#[test]
fn of_two_parts_nothing_is_judged() {
    let folder = folder("columns-parts");
    let sounds = [
        write(&folder, "a.wav", 48_000, &preset(PresetKind::EqualDry, 6.0, 3)),
        write(&folder, "b.wav", 48_000, &preset(PresetKind::EqualDry, 14.0, 3)),
        // The same part through another preset.
        write(
            &folder,
            "c.wav",
            48_000,
            &preset(PresetKind::FlippedChannel, 6.0, 3),
        ),
    ];
    let other = words(&said(&["compare", text(&sounds[0]), text(&sounds[1])]));
    assert!(other.contains("don't seem to be the same part"), "{other}");
    assert!(!other.contains("B is "), "{other}");
    let same = words(&said(&["compare", text(&sounds[0]), text(&sounds[2])]));
    assert!(same.contains("B is worse in: mono wedge"), "{same}");
}

/// The help fits too; every subcommand's lists its examples and its exit codes, or says where they are.
#[test]
fn help_fits_and_says_how_it_ends() {
    said(&["--help"]);
    said(&["-h"]);
    for subcommand in [
        &["check"][..],
        &["compare"],
        &["lines"],
        &["card"],
        &["linecheck", "make"],
        &["linecheck", "read"],
    ] {
        said(&[subcommand, &["-h"]].concat());
        let help = said(&[subcommand, &["--help"]].concat());
        assert!(help.contains("\nExamples:\n"), "{help}");
        assert!(help.contains("\nExit codes"), "{help}");
    }
    assert!(said(&["linecheck", "--help"]).contains("exit codes"));
}
