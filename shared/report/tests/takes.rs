//! Reports on takes whose true dry and wet are known.
#![allow(clippy::unwrap_used, reason = "a test panics when something is missing")]
#![allow(
    clippy::cast_possible_truncation,
    reason = "a test chooses the numbers it converts"
)]

use sumproof_core::routing::feed::FeedId;
use sumproof_core::score::rig::Rig;
use sumproof_core::session::monitor::Monitor;
use sumproof_core::session::take::{Pass, Take};
use sumproof_report::{Document, SCHEMA, TakeReport, json, report, table, verdict};
use sumproof_signals::tones;

const RATE_HZ: f64 = 48_000.0;

fn take(left: &[f64], right: &[f64]) -> Take {
    let single = |channel: &[f64]| channel.iter().map(|&x| x as f32).collect::<Vec<_>>();
    let mut monitor = Monitor::new(RATE_HZ);
    monitor.start_take();
    monitor.push(&single(left), &single(right));
    monitor
        .finish_take("Gravel".into(), Pass::Full)
        .expect("frames were pushed")
}

fn noise(seed: u64) -> Vec<f64> {
    tones::pink_noise(96_000, RATE_HZ, 0.1, seed)
}

fn add(a: &[f64], b: &[f64]) -> Vec<f64> {
    a.iter().zip(b).map(|(a, b)| a + b).collect()
}

fn scaled(signal: &[f64], gain: f64) -> Vec<f64> {
    signal.iter().map(|x| gain * x).collect()
}

/// Equal dry, unrelated wet 6 dB below it.
fn preset() -> Take {
    let dry = noise(1);
    take(
        &add(&dry, &scaled(&noise(2), 0.5)),
        &add(&dry, &scaled(&noise(3), 0.5)),
    )
}

#[test]
fn an_ordinary_preset_in_words() {
    let (take, rig) = (preset(), Rig::default());
    let text = table(&take, &rig);
    let row = |name: &str| {
        text.lines()
            .find(|line| line.contains(name) && (line.starts_with('─')))
            .unwrap_or_else(|| panic!("no '{name}' in\n{text}"))
    };
    assert!(row("mono wedge ").contains("holds"));
    assert!(row("stereo house").contains("────  holds"));
    assert!(row("line flipped").starts_with("─  ─  drops out"));
    assert!(row("line late 1 ms").starts_with("─ ─   thins"));
    // Lines may break anywhere.
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        flat.contains("estimated: what both channels share counts as dry"),
        "{text}"
    );
    assert!(
        flat.contains("correlation +0.8") && flat.contains("it alone decides nothing"),
        "{text}"
    );
    assert!(
        flat.contains("change from stereo (mean power of both channels)"),
        "{text}"
    );
    assert!(!text.contains("your own feed"), "nobody has described one");
    assert!(!text.to_lowercase().contains("safe"));
    let sentence = verdict(&take, &rig);
    assert_eq!(sentence.lines().count(), 1);
    assert!(flat.contains(&sentence), "{text}");
    assert!(
        sentence.starts_with("The mono wedge holds: the dry untouched"),
        "{sentence}"
    );
    assert!(
        sentence.contains("Drops out in: mono wedge, left line flipped (dry "),
        "{sentence}"
    );
}

#[test]
fn what_vanished_is_a_word_and_null() {
    let dry = noise(1);
    let rig = Rig::default();
    let nothing_but_dry = take(&dry, &dry);
    let text = table(&nothing_but_dry, &rig);
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("one line flipped gone"), "{text}");
    assert!(text.contains("no wet found") || text.contains("wet -"), "{text}");
    // The estimate can't tell 'gone' from 20 dB down, and says so.
    assert!(text.contains("at least 20 dB down"), "{text}");
    let report_of = report(&nothing_but_dry, &rig);
    let flipped = report_of
        .feeds
        .iter()
        .find(|feed| feed.id == FeedId::WedgeLineFlipped)
        .unwrap();
    assert_eq!((flipped.dry_db, flipped.dry_at_floor), (Some(-20.0), true));
    assert_eq!(flipped.words["dry_db"], "at least 20 dB down");
    assert_eq!(report_of.broadband.flipped_sum_difference_db, None);
    assert_eq!(report_of.broadband.words["flipped_sum_difference_db"], "gone");

    let unplugged = Rig {
        lines: sumproof_core::routing::feed::Lines {
            left: sumproof_core::routing::line::Line {
                unplugged: true,
                ..sumproof_core::routing::line::Line::STRAIGHT
            },
            ..Default::default()
        },
        ..rig
    };
    let dead = report(&preset(), &unplugged);
    let left = dead
        .feeds
        .iter()
        .find(|feed| feed.id == FeedId::LeftLineOnly)
        .unwrap();
    assert_eq!((left.dry_db, left.makeup_db), (None, None));
    assert_eq!(left.words["dry_db"], "gone");
    assert_eq!(left.words["makeup_db"], "nothing arrives");
    assert!(table(&preset(), &unplugged).contains("nothing arrives"));

    let one = take(&dry, &vec![0.0; dry.len()]);
    assert_eq!(
        report(&one, &rig).broadband.words["level_difference_db"],
        "right silent"
    );
    assert!(table(&one, &rig).contains("the right channel is silent"));
}

#[test]
fn silence_is_no_reading_and_never_a_verdict() {
    let rig = Rig::default();
    let silent = take(&vec![0.0; 48_000], &vec![0.0; 48_000]);
    let text = table(&silent, &rig);
    for outcome in ["────", "─ ─", "─  ─"] {
        assert!(!text.contains(outcome), "{text}");
    }
    assert!(verdict(&silent, &rig).starts_with("No reading"));
    let report = report(&silent, &rig);
    assert!(
        report
            .feeds
            .iter()
            .all(|feed| feed.outcome.is_none() && feed.words["total_db"] == "no reading")
    );
    assert_eq!(report.split.words["wet_over_dry_db"], "no reading");
    assert!(report.bands.iter().all(|band| band.correlation.is_none()));
}

#[test]
fn rumble_that_decides_is_said() {
    // Equal tone with stronger opposite rumble at 12 Hz: the full band loses what is inaudible.
    let tone = noise(1);
    let rumble = tones::sine(96_000, RATE_HZ, 12.0, 0.6, 0.0);
    let take = take(&add(&tone, &rumble), &add(&tone, &scaled(&rumble, -1.0)));
    let rig = Rig::default();
    assert!(table(&take, &rig).contains("Above 40 Hz the total of 'mono wedge' is"));
    let report = report(&take, &rig);
    let feed = |id| report.feeds.iter().find(|feed| feed.id == id).unwrap();
    let wedge = feed(FeedId::MonoWedge);
    assert!(wedge.total_above_40_hz_db.unwrap() > wedge.total_db.unwrap() + 3.0);
    assert_eq!(feed(FeedId::StereoHouse).total_above_40_hz_db, None);
    assert!(!table(&preset(), &rig).contains("Above 40 Hz the total of 'mono wedge'"));
}

/// All field names in a JSON value.
fn keys(value: &serde_json::Value, into: &mut std::collections::BTreeSet<String>) {
    match value {
        serde_json::Value::Object(map) => {
            for (key, value) in map {
                into.insert(key.clone());
                if key != "words" && key != "rig" {
                    keys(value, into);
                }
            }
        }
        serde_json::Value::Array(values) => values.iter().for_each(|value| keys(value, into)),
        _ => {}
    }
}

#[test]
fn the_json_comes_back_and_its_fields_are_documented() {
    let rig = Rig::default();
    let takes = [preset(), take(&vec![0.0; 48_000], &vec![0.0; 48_000])];
    let text = json(&takes, &rig);
    let document: Document = serde_json::from_str(&text).unwrap();
    assert_eq!(document.schema, SCHEMA);
    assert_eq!(document.takes.len(), 2);
    assert_eq!(document.rig, rig);
    // The stored form rounds its powers; a take that has been through it stays unchanged.
    let again = |take: &TakeReport| TakeReport {
        stored: None,
        ..take.clone()
    };
    assert_eq!(again(&document.takes[0]), again(&report(&takes[0], &rig)));
    let stored = document.takes[0].stored.clone().unwrap();
    assert_eq!(report(&stored, &rig).stored, Some(stored));
    let page = include_str!("../SCHEMA.md");
    let mut fields = Default::default();
    let mut described: serde_json::Value = serde_json::from_str(&text).unwrap();
    for take in described["takes"].as_array_mut().unwrap() {
        take["stored"] = serde_json::Value::Null;
    }
    keys(&described, &mut fields);
    for field in fields {
        assert!(
            page.contains(&format!("`{field}`")),
            "{field} is not in SCHEMA.md"
        );
    }
    // Bands that the analysis can't resolve are marked: at 48 kHz those below 80 Hz.
    let resolved: Vec<f64> = document.takes[0]
        .bands
        .iter()
        .filter(|band| band.resolved)
        .map(|band| band.nominal_hz)
        .collect();
    assert_eq!((resolved[0], resolved.len()), (80.0, 25));
}
