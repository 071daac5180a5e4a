//! Rig files, `--feed` and `--limit`, and files of takes: everything read as text.

use super::analyser::is_number;
use super::{Outcome, Target, json, one_line};
use crate::host::setup::workspace;
use crate::methods::heard;
use serde::Deserialize;
use serde::de::IgnoredAny;
use sumproof_cli::choose::view::view;
use sumproof_core::Complex;
use sumproof_core::routing::boxes::{Gig, Kind, Mains, Offered};
use sumproof_core::routing::feed::{Feed, FeedId};
use sumproof_core::routing::response::FeedResponse;
use sumproof_core::score::rig::Rig;
use sumproof_core::session::take::Take;
use sumproof_core::spectrum::cross_spectrum::CrossSpectrum;
use sumproof_core::spectrum::grid::Grid;
use sumproof_report::Shown;
use sumproof_report::formats::written;
use sumproof_report::rig::card::presets_of_json;
use sumproof_report::rig::file::{LIMITS, parse, to_toml};
use sumproof_report::rig::lines::{lines, lines_json, lines_table};
use sumproof_signals::{PresetKind, PresetSpec, Rng, render};

const WORDS: &[&str] = &[
    "[left]\n",
    "[right]\n",
    "[own]\n",
    "[own.left]\n",
    "[own.right]\n",
    "[source]\n",
    "[limits]\n",
    "[card]\n",
    "[[left]]\n",
    "sum = \"average\"\n",
    "\"minus-3-db\"",
    "\"unity\"",
    "box = ",
    "turns_ratio = ",
    "input = \"mic\"",
    "input = \"line\"",
    "load_ohm = ",
    "phantom_power = true",
    "polarity = \"flipped\"",
    "gain_db = -6",
    "delay_ms = 2",
    "high_pass_hz = 30",
    "unplugged = true",
    "name = \"front fill\"",
    "ending = \"sum\"",
    "ending = \"left\"",
    "ending = \"stereo\"",
    "ending = \"difference\"",
    "low_pass_hz = 100",
    "level_dbu = 4",
    "impedance_ohm = 100",
    "drive = \"symmetric\"",
    "player = ",
    "notes = [\"\"]",
    "at_risk = []",
    "one_line = \"left\"",
    "{",
    "}",
    "=",
    "'''",
    "\"\"\"",
    "\\u00e9",
    "\\n",
    "\r\n",
    "#",
    "1979-05-27",
    "0b1",
    "0x1",
    "+inf",
    "nan",
    "1_0",
    "left.gain_db = 1\n",
    "dry_holds_db=-6",
    "tone_db=2",
    "wetter_db",
    "mono-wedge",
    "own",
    "\u{202e}",
    "\u{1}",
];

/// A rig file.
pub const RIG: Target = Target {
    name: "rig",
    about: "a rig file (TOML), and all that is worked out from it",
    seeds: rig_seeds,
    words: WORDS,
    damage: Some(lines_moved),
    subject: || Box::new(|bytes: &[u8]| rig(&String::from_utf8_lossy(bytes))),
    longest: 1 << 16,
    few: 3000,
    fatal: false,
};

/// The arguments of `--feed` and `--limit`.
pub const FEED: Target = Target {
    name: "feed",
    about: "the texts of --feed, and behind a line break those of --limit",
    seeds: feed_seeds,
    words: WORDS,
    damage: None,
    subject: || Box::new(|bytes: &[u8]| feed(&String::from_utf8_lossy(bytes))),
    longest: 1 << 12,
    few: 6000,
    fatal: false,
};

/// A file of takes, as the rig card and the plugin read it.
pub const TAKES: Target = Target {
    name: "takes",
    about: "a file of takes (JSON), as the plugin and the rig card read it",
    seeds: takes_seeds,
    words: &[
        "\"schema\"",
        "\"takes\"",
        "\"feeds\"",
        "\"rows\"",
        "\"total\"",
        "\"cells\"",
        "\"name\"",
        "null",
    ],
    damage: Some(json::damage),
    subject: || Box::new(|bytes: &[u8]| takes(&String::from_utf8_lossy(bytes))),
    longest: 1 << 20,
    few: 600,
    fatal: false,
};

fn rig_seeds() -> Vec<Vec<u8>> {
    let mut all = vec![Vec::new()];
    for entry in std::fs::read_dir(workspace().join("examples"))
        .into_iter()
        .flatten()
        .flatten()
    {
        all.extend(std::fs::read(entry.path()));
    }
    let mut everything = String::from("sum = \"unity\"\n");
    for side in ["left", "right"] {
        everything += &format!(
            "[{side}]\nbox = \"{}\"\nturns_ratio = 12\ninput = \"mic\"\nload_ohm = 1500\nphantom_power = false\n\
             polarity = \"flipped\"\ngain_db = -3.5\ndelay_ms = 1.5\nhigh_pass_hz = 25\nunplugged = false\n",
            Kind::PassiveDirectBox.id()
        );
    }
    everything += "[source]\nlevel_dbu = 4\nimpedance_ohm = 100\ndrive = \"single-ended\"\n[limits]\ndry_holds_db = -5\n\
                   dry_drops_out_db = -12\ndrier_db = -6\nwetter_db = 3\ntone_db = 2\n[own]\nname = \"front fill\"\n\
                   ending = \"sum\"\nsum = \"average\"\nlow_pass_hz = 120\n[own.left]\ngain_db = -1\n[own.right]\n\
                   delay_ms = 2\n[card]\nplayer = \"a\"\nrig = \"b\"\nleft = \"c\"\nright = \"d\"\none_line = \"right\"\n\
                   notes = [\"e\", \"f\"]\nat_risk = [\"g\"]\n";
    all.push(everything.into_bytes());
    for kind in Kind::ALL {
        all.push(format!("[left]\nbox = \"{0}\"\n[right]\nbox = \"{0}\"\n", kind.id()).into_bytes());
    }
    all
}

fn feed_seeds() -> Vec<Vec<u8>> {
    let mut all: Vec<String> = FeedId::ALL.map(|id| id.id().to_owned()).to_vec();
    all.push(
        "{name = \"front fill\", ending = \"sum\", right = {delay_ms = 2, polarity = \"flipped\"}}".into(),
    );
    all.push(
        "{ending = \"difference\", low_pass_hz = 100, left = {gain_db = -20, high_pass_hz = 30}}".into(),
    );
    all.extend(LIMITS.map(|key| format!("mono-wedge\n{key}=-2.5")));
    all.into_iter().map(String::into_bytes).collect()
}

fn takes_seeds() -> Vec<Vec<u8>> {
    let take = heard(&render(&PresetSpec {
        seconds: 1.0,
        ..PresetSpec::new(PresetKind::HalfCorrelatedReverb)
    }));
    let stored = serde_json::to_string(&take).unwrap_or_default();
    vec![
        sumproof_report::json(std::slice::from_ref(&take), &Rig::default()).into_bytes(),
        format!("{{\"schema\":1,\"takes\":[{{\"name\":\"a\",\"stored\":{stored}}}]}}").into_bytes(),
    ]
}

/// Removes, doubles and swaps lines.
fn lines_moved(bytes: &mut Vec<u8>, rng: &mut Rng) {
    let text = String::from_utf8_lossy(bytes).into_owned();
    let mut lines: Vec<&str> = text.lines().collect();
    if lines.len() < 2 {
        return;
    }
    for _ in 0..=rng.below(3) {
        let (one, other) = (rng.below(lines.len()), rng.below(lines.len()));
        match rng.below(4) {
            0 if lines.len() > 1 => drop(lines.remove(one)),
            1 => lines.insert(other, lines[one]),
            2 => lines.swap(one, other),
            _ => lines.insert(other, WORDS[rng.below(WORDS.len())].trim_end()),
        }
    }
    *bytes = lines.join("\n").into_bytes();
}

fn rig(text: &str) -> Outcome {
    let file = match parse(text) {
        Ok(file) => file,
        Err(error) => {
            let said = error.to_string();
            one_line(&said)?;
            return Ok(without_values(&said));
        }
    };
    let rig = file.rig();
    if rig.clamped() != rig {
        return Err(format!("a value out of its range was taken: {rig:?}"));
    }
    match parse(&to_toml(&file)) {
        Ok(back) if back == file => {}
        other => return Err(format!("written and read again, {file:?} is {other:?}")),
    }
    is_finite(&rig.own)?;
    for mains in [Mains::Unknown, Mains::Same, Mains::Separate] {
        let gig = Gig {
            mains,
            offered: Offered::Either,
            phantom: Some(mains == Mains::Same),
        };
        let report = lines(&file, &gig, &Kind::ALL);
        let (table, json) = (
            lines_table(&report, sumproof_report::Form::default()),
            lines_json(&report),
        );
        if table.contains("NaN") || json.contains("NaN") {
            return Err(format!("no number in:\n{table}"));
        }
        serde_json::from_str::<IgnoredAny>(&json).map_err(|error| format!("{error} in {json}"))?;
    }
    Ok(format!("a rig: {:?} {:?}", file.left.kind, file.right.kind))
}

/// Checks that the feed's response is finite at all frequencies.
fn is_finite(feed: &Feed) -> Result<(), String> {
    let grid = Grid::twenty_fourth_octave(48_000.0);
    let response = FeedResponse::new(feed, &grid, 0.0);
    let mut sound = CrossSpectrum::silent(grid.len());
    sound.ll.fill(1.0);
    sound.rr.fill(0.5);
    sound.lr.fill(Complex::new(0.3, -0.4));
    let powers = response.of(&sound, &grid);
    let mut all = powers.feed.iter().chain(&powers.reference).chain(&powers.mono);
    if all.all(|power| power.is_finite() && *power >= -1e-12) && response.recoverable_gain().is_finite() {
        Ok(())
    } else {
        Err(format!("a feed whose power is no number: {feed:?}"))
    }
}

fn feed(text: &str) -> Outcome {
    let (feed, limit) = text.split_once('\n').unwrap_or((text, ""));
    let limits: Vec<String> = limit
        .split(';')
        .filter(|l| !l.is_empty())
        .map(str::to_owned)
        .collect();
    match view(None, &[feed.to_owned()], &limits) {
        Ok(view) => {
            if view.feeds.len() != 1 || view.rig.clamped() != view.rig {
                return Err(format!("taken for {view:?}"));
            }
            if let Shown::Described { feed, .. } = &view.feeds[0] {
                is_finite(feed)?;
            }
            Ok("a feed".to_owned())
        }
        Err(error) => {
            let said = error.to_string();
            one_line(&said)?;
            Ok(without_values(&said))
        }
    }
}

fn takes(text: &str) -> Outcome {
    let presets = presets_of_json(text, &Rig::default());
    if let Err(error) = &presets {
        one_line(&error.to_string())?;
    }
    let mut stored = 0;
    for report in written::takes::<serde_json::Value>(text).unwrap_or_default() {
        let Some(take) = report
            .get("stored")
            .and_then(|stored| Take::deserialize(stored).ok())
        else {
            continue;
        };
        stored += 1;
        let same = serde_json::to_string(&take)
            .ok()
            .and_then(|text| serde_json::from_str::<Take>(&text).ok());
        if same.as_ref() != Some(&take) {
            return Err(format!("stored and read again, {take:?} is {same:?}"));
        }
        for row in take.rows(&Rig::default(), 0.0) {
            if !row.score.as_ref().is_none_or(is_number) {
                return Err(format!("a score that is no number: {row:?}"));
            }
        }
    }
    Ok(match presets {
        Ok(presets) => format!("{} presets, {stored} stored", presets.len()),
        Err(error) => error.to_string(),
    })
}

/// The end of an error message, which says what to do; the text before it contains values.
fn without_values(text: &str) -> String {
    text.rsplit([';', ':']).next().unwrap_or(text).to_owned()
}
