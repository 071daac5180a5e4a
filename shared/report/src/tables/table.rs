//! The readable text of one take: the verdict, why, what to change, then every feed.

use sumproof_core::score::rig::Rig;
use sumproof_core::session::take::Take;
use sumproof_wording::Name;
use sumproof_wording::channels;
use sumproof_wording::methods;
use sumproof_wording::numbers::hertz;
use sumproof_wording::rigs;
use sumproof_wording::scores;

use crate::judge::judged::{FeedRow, Judged};
use crate::judge::set::{Loudness, View};
use crate::names;
use crate::tables::columns::stroke;
use crate::tables::form::{Form, Shape, dry_cell};

const HEADINGS: [&str; 12] = [
    "",
    "outcome",
    "feed",
    "dry dB",
    "wet dB",
    "tone dB",
    "partials dB",
    "total dB",
    "balance dB",
    "make up dB",
    "level LU",
    "deepest dip",
];
const SHAPE: Shape = Shape {
    keys: 3,
    name: 2,
    words: 3,
};
/// Width of the names before the figures of the whole sound, columns.
const LABEL: usize = 18;

/// The text of a take for a rig, at the width for a pipe, with every column explained.
#[must_use]
pub fn table(take: &Take, rig: &Rig) -> String {
    let form = Form {
        explain: true,
        ..Form::default()
    };
    table_of(&Judged::of_take(take, &View::from(rig)), form)
}

/// The same for a preset that has been judged, with its loudness if that was measured: the verdict, why, what to do,
/// then the lines and limits, every feed, and the exact figures of the whole sound. Lines end in `\n`; the text is for a
/// fixed-pitch font.
#[must_use]
pub fn table_of(preset: &Judged<'_>, form: Form) -> String {
    let mut out = head(preset, form);
    out += &recommendations(preset, form);
    out += &form.paragraph(&computed_for(preset.view), 0);
    out.push('\n');
    let mut lines = vec![HEADINGS.map(String::from)];
    lines.extend(preset.rows.iter().map(cells));
    out += &form.table(&lines, SHAPE);
    out.push('\n');
    for (label, text) in figures(preset) {
        out += &form.hanging(&format!("{label:<LABEL$}"), &text, LABEL);
    }
    out.push('\n');
    out += &notes(preset, form);
    out
}

fn head(preset: &Judged<'_>, form: Form) -> String {
    let take = preset.take;
    let name = format!(
        "{}: {:.2} s at {} kHz, {} pass",
        names::line(&take.name),
        take.seconds(),
        take.rate_hz / 1000.0,
        take.pass.name()
    );
    format!(
        "{}{}\n",
        form.paragraph(&name, 0),
        form.paragraph(&preset.verdict, 0)
    )
}

fn recommendations(preset: &Judged<'_>, form: Form) -> String {
    let mut out = String::new();
    for (heading, sentences) in [("Why:", &preset.why), ("What now:", &preset.what_now)] {
        if sentences.is_empty() {
            continue;
        }
        out += &format!("{heading}\n");
        for sentence in sentences {
            out += &form.hanging("  ", sentence, 4);
        }
        out.push('\n');
    }
    out
}

/// The lines and limits used: a sentence or two.
pub(crate) fn computed_for(view: &View) -> String {
    format!("{} {}", rigs::lines(&view.rig), rigs::limits(&view.rig.limits))
}

/// The figures of the whole sound: a name and a text each.
fn figures(preset: &Judged<'_>) -> Vec<(&'static str, String)> {
    let take = preset.take;
    let sums = &take.sums;
    let figure = |value: Option<f64>, decimals: usize| {
        value.map_or(scores::NO_READING.to_string(), |value| {
            scores::figure(value, decimals)
        })
    };
    let in_db = |value: Option<f64>| scores::in_db(&figure(value, 2));
    let mut rows = vec![
        ("correlation", figure(sums.correlation(), 3)),
        (
            "sum difference",
            format!(
                "{}; with one line flipped {}",
                in_db(sums.sum_difference_db()),
                in_db(sums.flipped_difference_db())
            ),
        ),
        (
            "level difference",
            channels::level_difference(sums.level_difference_db()),
        ),
    ];
    rows.extend(preset.loudness.iter().flat_map(loudness));
    rows.push(("channel delay", channels::delay(take.delay)));
    if take.invalid_frames > 0 {
        let text = format!(
            "{} frames that were not numbers or above +60 dBFS",
            take.invalid_frames
        );
        rows.push(("left out", text));
    }
    rows.extend(channels::gaps(take.gaps).map(|text| ("gaps", text)));
    rows.push(("dry and wet", balance(preset)));
    rows.push(("", methods::limits(take.method()).into()));
    rows
}

fn loudness(loudness: &Loudness) -> [(&'static str, String); 2] {
    let with = |value: f64, text: String| {
        if value.is_finite() {
            text
        } else {
            scores::NO_READING.into()
        }
    };
    let lufs = |value: f64| with(value, format!("{value:.2} LUFS"));
    let peak = |value: f64| with(value, format!("{value:+.2} dBTP"));
    [
        (
            "loudness",
            format!(
                "stereo {}, mono wedge {}",
                lufs(loudness.stereo_lufs),
                lufs(loudness.wedge_lufs)
            ),
        ),
        (
            "true peak",
            format!(
                "stereo {}, mono wedge {}",
                peak(loudness.stereo_peak_dbtp),
                peak(loudness.wedge_peak_dbtp)
            ),
        ),
    ]
}

fn balance(preset: &Judged<'_>) -> String {
    let split = &preset.take.split;
    let heard = preset.wedge.score.is_some();
    match split.wet_over_dry_db().filter(|_| heard) {
        None => scores::NO_READING.to_string(),
        Some(db) if db == f64::INFINITY => "no dry found".into(),
        Some(db) if db == f64::NEG_INFINITY => "no wet found".into(),
        Some(db) => {
            let near = methods::range(split).map_or(String::new(), |range| format!(" ({range})"));
            format!("wet {db:+.1} dB against dry in stereo{near}")
        }
    }
}

fn cells(feed: &FeedRow) -> [String; HEADINGS.len()] {
    let row = &feed.row;
    let Some(score) = row.score else {
        let mut cells = <[String; HEADINGS.len()]>::default();
        cells[1] = scores::NO_READING.into();
        cells[2] = names::line(&feed.label);
        return cells;
    };
    [
        row.outcome.map_or("", stroke).into(),
        scores::word(row),
        names::line(&feed.label),
        dry_cell(&score),
        scores::wet(&score),
        scores::tone(&score).unwrap_or("-".into()),
        scores::partials(&score).unwrap_or("-".into()),
        scores::change(Some(score.total_db)),
        scores::balance(&score),
        scores::makeup(&score),
        scores::change(Some(score.level_lu)),
        score.dip.map_or("-".into(), |dip| {
            format!("{:.1} at {}", dip.depth_db, hertz(dip.hz))
        }),
    ]
}

/// The legend below a table without explanations.
pub(crate) const LEGEND: &str =
    "Changes from stereo, what a fader can give back taken out. --explain: what each column is.";

fn notes(preset: &Judged<'_>, form: Form) -> String {
    let mut out = String::new();
    for feed in &preset.rows {
        if let Some(limited) = feed.above_40_hz_db {
            let text = format!(
                "Above 40 Hz the total of '{}' is {}: what lies below decides the figure in the table.",
                names::line(&feed.label),
                scores::in_db(&scores::change(Some(limited)))
            );
            out += &form.paragraph(&text, 0);
        }
    }
    if !form.explain {
        return out + &form.paragraph(LEGEND, 0);
    }
    let sum = format!(
        "dry, wet, total: change from stereo (mean power of both channels), the gain to make up taken out. A sum is {}.",
        rigs::law(preset.view.rig.law)
    );
    for text in [
        sum.as_str(),
        "balance: wet change minus dry change; positive is wetter.",
        "make up: the gain that brings the level back.",
        "level: K-weighted (ITU-R BS.1770) against stereo, nothing made up; a mono feed counts as played by both loudspeakers.",
        "tone: rms over 1/3-octave bands of the dry's change, its mean taken out. partials: the same over steps of 6 Hz or less, from 75 Hz to \
         5 kHz. dip: against the feed's own total.",
        "outcome: with a question mark it is the likelier of two. Where a fault is on one line, either was tried: the one named is the worse.",
        "correlation: it alone decides nothing; a padded line correlates like a good one. sum difference: exact, average sum against the mean \
         power of both channels.",
    ] {
        out += &form.hanging("", text, 2);
    }
    out
}
