//! The command's output at 80 columns, word for word: `UPDATE_GOLDEN=1` updates it.
#![allow(clippy::unwrap_used, reason = "a test panics when something is missing")]

mod common;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use common::{complaints, folder, preset, printed, write};
use sumproof_report::names::width;
use sumproof_signals::PresetKind;

/// Two rounds of bounces of a synthetic set: one preset is fixed, one is another part, one is unchanged.
fn bounces() -> PathBuf {
    let folder = folder("texts");
    for round in ["before", "after"] {
        fs::create_dir(folder.join(round)).unwrap();
    }
    for (name, before, after) in [
        ("01 verse, clean", PresetKind::EqualDry, PresetKind::EqualDry),
        (
            "02 chorus wide",
            PresetKind::DoubleTracked,
            PresetKind::DoubleTracked,
        ),
        (
            "03 lead, one side late",
            PresetKind::LateChannel12Ms,
            PresetKind::EqualDry,
        ),
        ("04 bridge", PresetKind::FlippedChannel, PresetKind::EqualDry),
    ] {
        let name = format!("{name}.wav");
        write(&folder.join("before"), &name, 48_000, &preset(before, 6.0, 3));
        write(&folder.join("after"), &name, 48_000, &preset(after, 6.0, 3));
    }
    folder
}

/// Whether two words are equal, or figures with equally many digits that differ by at most one in the last: processors
/// round in different orders.
fn is_same(one: &str, other: &str) -> bool {
    if one == other {
        return true;
    }
    let figure = |word: &str| -> Option<(i64, usize)> {
        let digits: String = word.chars().filter(char::is_ascii_digit).collect();
        let point = word
            .split_once('.')
            .map_or(0, |(_, after)| after.chars().filter(char::is_ascii_digit).count());
        let sign = if word.starts_with(['-', '−']) { -1 } else { 1 };
        Some((sign * digits.parse::<i64>().ok()?, point))
    };
    match (figure(one), figure(other)) {
        (Some((one, point)), Some((other, other_point))) => point == other_point && (one - other).abs() <= 1,
        _ => false,
    }
}

fn agree(one: &str, other: &str) -> bool {
    one.lines().count() == other.lines().count()
        && one.lines().zip(other.lines()).all(|(one, other)| {
            let (one, other): (Vec<_>, Vec<_>) = (
                one.split_whitespace().collect(),
                other.split_whitespace().collect(),
            );
            one.len() == other.len() && one.iter().zip(&other).all(|(one, other)| is_same(one, other))
        })
}

#[test]
fn texts_say_what_they_said() {
    let folder = bounces();
    let golden = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden");
    let renew = std::env::var_os("UPDATE_GOLDEN").is_some();
    let mut changed = Vec::new();
    for (name, arguments) in [
        ("first-run", &[][..]),
        ("check-set", &["check", "before"]),
        ("check-one", &["check", "before/02 chorus wide.wav"]),
        ("check-explained", &["check", "before/04 bridge.wav", "--explain"]),
        ("check-detail", &["check", "after/02 chorus wide.wav", "--detail"]),
        (
            "compare-one",
            &["compare", "before/04 bridge.wav", "after/04 bridge.wav"],
        ),
        ("compare-rounds", &["compare", "before", "after"]),
        (
            "compare-same",
            &[
                "compare",
                "before/01 verse, clean.wav",
                "after/01 verse, clean.wav",
            ],
        ),
        (
            "lines",
            &[
                "lines",
                "--left",
                "passive-direct-box",
                "--right",
                "adapter-cable",
            ],
        ),
        ("no-such-file", &["check", "before/05 outro.wav"]),
    ] {
        let output = Command::new(env!("CARGO_BIN_EXE_sumproof"))
            .args(arguments)
            .current_dir(&folder)
            .output()
            .unwrap();
        let text = printed(&output) + &complaints(&output);
        for line in text.lines() {
            assert!(width(line) <= 80, "{name}: {} columns: {line}", width(line));
        }
        let path = golden.join(format!("{name}.txt"));
        if renew {
            fs::create_dir_all(&golden).unwrap();
            fs::write(&path, &text).unwrap();
        } else if !fs::read_to_string(&path).is_ok_and(|kept| agree(&kept, &text)) {
            changed.push(format!("--- {name}\n{text}"));
        }
    }
    assert!(
        changed.is_empty(),
        "other words than in cli/tests/golden (UPDATE_GOLDEN=1 writes them anew):\n{}",
        changed.join("\n")
    );
}

#[test]
fn other_figures_are_not_the_same_text() {
    assert!(agree("holds −1.2 dB", "holds  −1.3 dB"));
    for other in [
        "holds −1.4 dB",
        "holds 1.2 dB",
        "thins −1.2 dB",
        "holds −1.25 dB",
        "holds −1.2 dB\nmore",
    ] {
        assert!(!agree("holds −1.2 dB", other), "{other}");
    }
}
