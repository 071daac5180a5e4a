//! Two bounces of one preset side by side, as text.

use sumproof_core::dsp::db;
use sumproof_core::score::outcome::Outcome;
use sumproof_core::session::part::Unlike;
use sumproof_core::spectrum::bands::BandMap;
use sumproof_wording::Name;
use sumproof_wording::comparisons;
use sumproof_wording::numbers::hertz;
use sumproof_wording::scores;

use crate::judge::judged::{FeedRow, Judged};
use crate::judge::set::Loudness;
use crate::names;
use crate::tables::form::{Form, Shape, dry_cell};
use crate::tables::table::computed_for;

/// Smallest change of level or of a band that is mentioned, dB.
const WORTH_DB: f64 = 0.5;
/// Level below the loudest band at which a band is left out, dB.
const QUIET_BAND_DB: f64 = -40.0;
/// Number of bands named.
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
const SHAPE: Shape = Shape {
    keys: 2,
    name: 1,
    words: 4,
};
/// Shape of the table of the whole sound.
const WHOLE: Shape = Shape {
    keys: 1,
    name: 0,
    words: 1,
};

/// What changed from A to B: a sentence, every feed, the whole sound, and the bands that changed most. Both must have
/// been judged through the same view. If they aren't the same part (`unlike` gives the reasons) no change is judged.
#[must_use]
pub fn comparison(a: &Judged<'_>, b: &Judged<'_>, unlike: &[Unlike], form: Form) -> String {
    let pairs: Vec<(&FeedRow, &FeedRow)> = a.rows.iter().zip(&b.rows).collect();
    let mut out = String::new();
    for (label, judged) in [("A: ", a), ("B: ", b)] {
        out += &form.hanging(label, &names::line(judged.file.unwrap_or(&judged.take.name)), 3);
    }
    if !unlike.is_empty() {
        out += &form.paragraph(&comparisons::not_the_same_part(unlike), 0);
        out.push('\n');
        return out + &form.table(&whole(a, b), WHOLE);
    }
    let feeds: Vec<[String; HEADINGS.len()]> = pairs.iter().map(|(a, b)| cells(a, b)).collect();
    let whole = whole(a, b);
    let bands = bands(a, b);
    let is_unchanged = feeds
        .iter()
        .all(|row| row[2] == row[3] && row[4] == row[5] && row[6] == row[7])
        && whole[1..].iter().all(|row| row[1] == row[2])
        && bands.is_none();
    if is_unchanged {
        out += &form.paragraph(comparisons::NOTHING_CHANGED, 0);
        return out + &form.paragraph(&computed_for(a.view), 0);
    }
    out += &form.paragraph(&sentence(&pairs), 0);
    if let Some(bands) = bands {
        out += &form.paragraph(&bands, 0);
    }
    out.push('\n');
    out += &form.paragraph(&computed_for(a.view), 0);
    out.push('\n');
    let mut rows = vec![HEADINGS.map(String::from)];
    rows.extend(feeds);
    out += &form.table(&rows, SHAPE);
    out.push('\n');
    out += &form.table(&whole, WHOLE);
    out.push('\n');
    out += &form.paragraph(
        "< worse, > better. Changes from stereo, what a fader can give back taken out.",
        0,
    );
    if form.explain {
        out += &form.paragraph(
            "Where a fault is on one line, either was tried and the worse is shown. Bands: with both as loud as each other.",
            0,
        );
    }
    out
}

/// The figures of the whole sound, the heading first: name, A, B, change.
fn whole(a: &Judged<'_>, b: &Judged<'_>) -> Vec<[String; 4]> {
    let (sums_a, sums_b) = (&a.take.sums, &b.take.sums);
    let (length_a, length_b) = (a.take.seconds(), b.take.seconds());
    let mut rows = vec![
        ["", "A", "B", "change"].map(String::from),
        [
            "length, s".into(),
            format!("{length_a:.2}"),
            format!("{length_b:.2}"),
            figure(Some(length_b - length_a), 2),
        ],
    ];
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
    row("correlation", "", sums_a.correlation(), sums_b.correlation(), 3);
    let (difference_a, difference_b) = (sums_a.sum_difference_db(), sums_b.sum_difference_db());
    row("sum difference", "dB", difference_a, difference_b, 2);
    // Without a dry or a wet there is no balance.
    let balance = |judged: &Judged<'_>| judged.take.split.wet_over_dry_db().filter(|db| db.is_finite());
    row("wet over dry in stereo", "dB", balance(a), balance(b), 1);
    let late = |judged: &Judged<'_>| judged.take.delay.map(|delay| delay.delay_s * 1000.0);
    row("right channel late", "ms", late(a), late(b), 2);
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
    rows
}

fn figure(value: Option<f64>, decimals: usize) -> String {
    value.map_or("-".into(), |value| scores::figure(value, decimals))
}

fn outcome(feed: &FeedRow) -> String {
    scores::word(&feed.row)
}

fn cells(a: &FeedRow, b: &FeedRow) -> [String; HEADINGS.len()] {
    let dry = |feed: &FeedRow| feed.row.score.map_or("-".into(), |score| dry_cell(&score));
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
        names::line(&b.name),
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

/// The 1/3-octave bands that changed most after matching the loudness of both; `None` when no change is large enough.
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
