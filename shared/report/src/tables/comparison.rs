//! Two bounces of one preset beside each other, in text.

use std::fmt::Write;

use sumproof_core::dsp::db;
use sumproof_core::score::outcome::Outcome;
use sumproof_core::spectrum::bands::BandMap;
use sumproof_wording::Name;
use sumproof_wording::numbers::hertz;
use sumproof_wording::scores;

use crate::judge::judged::{FeedRow, Judged};
use crate::judge::set::Loudness;
use crate::names;
use crate::tables::columns::columns;

/// A change of level or of a band below this is not worth a word, dB.
const WORTH_DB: f64 = 0.5;
/// Bands this far below the loudest are left out, dB.
const QUIET_BAND_DB: f64 = -40.0;
/// How many bands are named.
const BANDS: usize = 3;

const HEADINGS: [&str; 9] = [
    "",
    "feed",
    "A",
    "B",
    "dry dB A",
    "dry dB B",
    "wet dB A",
    "wet dB B",
    "tone dB A / B",
];

/// What changed from A to B: a sentence, the whole sound, every feed, and the bands that changed most. Both must have been
/// judged through the same view.
#[must_use]
pub fn comparison(a: &Judged<'_>, b: &Judged<'_>) -> String {
    let mut out = String::new();
    // Writing into a string can't fail.
    let _ = write(&mut out, a, b);
    out
}

fn write(out: &mut String, a: &Judged<'_>, b: &Judged<'_>) -> std::fmt::Result {
    let pairs: Vec<(&FeedRow, &FeedRow)> = a.rows.iter().zip(&b.rows).collect();
    writeln!(out, "A: {}", names::line(a.file.unwrap_or(&a.take.name)))?;
    writeln!(out, "B: {}", names::line(b.file.unwrap_or(&b.take.name)))?;
    writeln!(out, "{}", sentence(&pairs))?;
    writeln!(out)?;
    let (sums_a, sums_b) = (&a.take.sums, &b.take.sums);
    let mut rows = vec![["", "A", "B", "change"].map(String::from)];
    let mut row = |name: &str, unit: &str, a: Option<f64>, b: Option<f64>, decimals: usize| {
        rows.push([
            if unit.is_empty() {
                name.into()
            } else {
                format!("{name}, {unit}")
            },
            figure(a, decimals),
            figure(b, decimals),
            a.zip(b)
                .map_or("-".into(), |(a, b)| figure(Some(b - a), decimals)),
        ]);
    };
    let of = |judged: &Judged<'_>, figure: fn(&Loudness) -> f64| judged.loudness.as_ref().map(figure);
    row("length", "s", Some(a.take.seconds()), Some(b.take.seconds()), 2);
    row("correlation", "", sums_a.correlation(), sums_b.correlation(), 3);
    row(
        "sum difference",
        "dB",
        sums_a.sum_difference_db(),
        sums_b.sum_difference_db(),
        2,
    );
    row(
        "wet over dry in stereo",
        "dB",
        a.take.split.wet_over_dry_db(),
        b.take.split.wet_over_dry_db(),
        1,
    );
    row(
        "right channel late",
        "ms",
        a.take.delay.map(|delay| delay.delay_s * 1000.0),
        b.take.delay.map(|delay| delay.delay_s * 1000.0),
        2,
    );
    for (name, unit, get) in [
        (
            "loudness in stereo",
            "LUFS",
            (|l| l.stereo_lufs) as fn(&Loudness) -> f64,
        ),
        ("loudness of the wedge", "LUFS", |l| l.wedge_lufs),
        ("true peak in stereo", "dBTP", |l| l.stereo_peak_dbtp),
        ("true peak of the wedge", "dBTP", |l| l.wedge_peak_dbtp),
    ] {
        row(name, unit, of(a, get), of(b, get), 2);
    }
    out.push_str(&columns(&rows, 1));
    writeln!(out)?;
    let mut rows = vec![HEADINGS.map(String::from)];
    rows.extend(pairs.iter().map(|(a, b)| cells(a, b)));
    out.push_str(&columns(&rows, 4));
    if let Some(bands) = bands(a, b) {
        writeln!(out)?;
        writeln!(out, "{bands}")?;
    }
    writeln!(out)?;
    writeln!(
        out,
        "< worse, > better. dry, wet: change from stereo, the gain to make up taken out. Where a fault is on one line, either \
         was tried and the worse is shown."
    )
}

fn figure(value: Option<f64>, decimals: usize) -> String {
    value.map_or("-".into(), |value| scores::figure(value, decimals))
}

fn outcome(feed: &FeedRow) -> String {
    scores::word(&feed.row)
}

fn cells(a: &FeedRow, b: &FeedRow) -> [String; HEADINGS.len()] {
    let dry = |feed: &FeedRow| feed.row.score.map_or("-".into(), |score| scores::dry(&score));
    let wet = |feed: &FeedRow| feed.row.score.map_or("-".into(), |score| scores::wet(&score));
    let tone = |feed: &FeedRow| {
        feed.row
            .score
            .and_then(|score| score.tone_db)
            .map_or("-".into(), |db| format!("{db:.1}"))
    };
    let direction = match (a.row.outcome, b.row.outcome) {
        (Some(a), Some(b)) if b > a => "<",
        (Some(a), Some(b)) if b < a => ">",
        _ => "",
    };
    [
        direction.into(),
        b.name.clone(),
        outcome(a),
        outcome(b),
        dry(a),
        dry(b),
        wet(a),
        wet(b),
        format!("{} / {}", tone(a), tone(b)),
    ]
}

fn sentence(pairs: &[(&FeedRow, &FeedRow)]) -> String {
    let list = |wanted: fn(Outcome, Outcome) -> bool| -> Vec<String> {
        pairs
            .iter()
            .filter_map(|(a, b)| {
                let (before, after) = (a.row.outcome?, b.row.outcome?);
                wanted(before, after).then(|| format!("{} ({} → {})", b.name, before.name(), after.name()))
            })
            .collect()
    };
    let (worse, better) = (
        list(|before, after| after > before),
        list(|before, after| after < before),
    );
    match (worse.is_empty(), better.is_empty()) {
        (true, true) => "No feed fares otherwise in B than in A.".into(),
        (true, false) => format!("B is better in: {}.", better.join("; ")),
        (false, true) => format!("B is worse in: {}.", worse.join("; ")),
        (false, false) => format!(
            "B is worse in: {}. Better in: {}.",
            worse.join("; "),
            better.join("; ")
        ),
    }
}

/// The 1/3-octave bands that changed most once both are as loud as each other; `None` when none is worth a word.
fn bands(a: &Judged<'_>, b: &Judged<'_>) -> Option<String> {
    let levels = |judged: &Judged<'_>| -> Vec<(f64, f64)> {
        let grid = judged.take.grid();
        let map = BandMap::thirds(&grid);
        let total = &judged.take.split.total;
        map.bands()
            .iter()
            .enumerate()
            .filter(|(_, band)| !band.partial)
            .map(|(index, band)| {
                let reading = total.band(&grid, &map, index);
                let whole = total.mean_power();
                (
                    band.nominal_hz,
                    db::from_power((reading.left + reading.right) / 2.0 / whole),
                )
            })
            .collect()
    };
    let (a, b) = (levels(a), levels(b));
    let loudest = a
        .iter()
        .chain(&b)
        .map(|band| band.1)
        .fold(f64::NEG_INFINITY, f64::max);
    let mut changes: Vec<(f64, f64)> = a
        .iter()
        .filter_map(|&(hz, before)| {
            let after = b.iter().find(|band| band.0 == hz)?.1;
            let heard = before.max(after) > loudest + QUIET_BAND_DB;
            (heard && (after - before).is_finite() && (after - before).abs() >= WORTH_DB)
                .then_some((hz, after - before))
        })
        .collect();
    changes.sort_by(|a, b| b.1.abs().total_cmp(&a.1.abs()));
    changes.truncate(BANDS);
    let list: Vec<String> = changes
        .iter()
        .map(|(hz, change)| format!("{} {change:+.1} dB", hertz(*hz)))
        .collect();
    (!list.is_empty()).then(|| format!("Tone in stereo, level apart: {}.", list.join(", ")))
}
