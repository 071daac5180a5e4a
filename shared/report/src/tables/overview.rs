//! The readable table of a set: a line per preset, and the spread of the set's levels.

use std::fmt::Write;

use sumproof_core::score::outcome::Outcome;
use sumproof_core::session::set::Spread;
use sumproof_wording::scores;

use crate::judge::judged::Judged;
use crate::judge::set::Loudness;
use crate::judge::steps::first_steps;
use crate::names;
use crate::tables::columns::stroke;
use crate::tables::form::{Form, Shape, dry_cell};
use crate::tables::table::computed_for;

const HEADINGS: [&str; 12] = [
    "",
    "outcome",
    "preset",
    "worst feed",
    "wedge dry",
    "wedge wet",
    "hold/thin/drop/untold",
    "correlation",
    "stereo LUFS",
    "wedge LUFS",
    "change LU",
    "peak dBTP",
];
const SHAPE: Shape = Shape {
    keys: 3,
    name: 2,
    words: 4,
};

/// The outcomes of the set, what to do first, a line per preset in the order given, and the spread of the set's levels.
#[must_use]
pub fn overview(presets: &[Judged<'_>], form: Form) -> String {
    let mut out = form.paragraph(&count_sentence(presets), 0);
    for step in first_steps(presets) {
        out += &form.paragraph(&step, 0);
    }
    if let Some(sentence) = spread_sentence(presets) {
        out += &form.paragraph(&sentence, 0);
    }
    if let Some(preset) = presets.first() {
        out.push('\n');
        out += &form.paragraph(&computed_for(preset.view), 0);
    }
    out.push('\n');
    let mut lines = vec![HEADINGS.map(String::from)];
    lines.extend(presets.iter().map(cells));
    out += &form.table(&lines, SHAPE);
    out.push('\n');
    out += &form.paragraph(deciding_sentence(presets), 0);
    if form.explain {
        for text in [
            "wedge dry, wet: change in the mono wedge (both lines added) from stereo, dB, the gain to make up taken out.",
            "hold/thin/drop/untold: how many of all feeds do, those with a fault on a line as well, and of how many it can't be told.",
            "LUFS: ITU-R BS.1770, gated; the wedge counts as played by both loudspeakers. change: what adding the lines does to that.",
            "peak: the higher of stereo and wedge. outcome: with a question mark it is the likelier of two.",
        ] {
            out += &form.hanging("", text, 2);
        }
    } else {
        out += &form.paragraph(
            "wedge dry, wet: change from stereo in the mono wedge, dB. hold/thin/drop/untold: of all feeds, faulty lines \
             as well. '?': probably. --explain: what each column is.",
            0,
        );
    }
    out
}

fn cells(preset: &Judged<'_>) -> [String; HEADINGS.len()] {
    let score = preset.wedge.score;
    let lufs = |of: fn(&Loudness) -> f64| level(preset.loudness.as_ref().map(of));
    [
        preset.outcome().map_or("", stroke).into(),
        preset.word(),
        names::line(&preset.take.name),
        names::line(preset.trouble().unwrap_or("-")),
        score.map_or("-".into(), |score| dry_cell(&score)),
        score.map_or("-".into(), |score| scores::wet(&score)),
        preset.counts(),
        preset
            .take
            .sums
            .correlation()
            .map_or("-".into(), |correlation| format!("{correlation:+.2}")),
        lufs(|loudness| loudness.stereo_lufs),
        lufs(|loudness| loudness.wedge_lufs),
        change(preset.loudness.as_ref()),
        lufs(|loudness| loudness.stereo_peak_dbtp.max(loudness.wedge_peak_dbtp)),
    ]
}

/// A level with two decimals; a dash where it was not measured.
pub(crate) fn level(figure: Option<f64>) -> String {
    match figure {
        None => "-".into(),
        // Rounded first, so that nothing reads -0.00.
        Some(figure) if figure.is_finite() => format!("{:.2}", (figure * 100.0).round() / 100.0 + 0.0),
        Some(_) => scores::NO_READING.into(),
    }
}

/// Change by summing, LU, two decimals.
pub(crate) fn change(loudness: Option<&Loudness>) -> String {
    match loudness.map(|loudness| loudness.wedge_lufs - loudness.stereo_lufs) {
        None => "-".into(),
        Some(change) => scores::figure(change, 2),
    }
}

/// Spread of a set's levels in stereo and in the mono wedge; `None` if fewer than two were measured.
pub(crate) fn spreads(presets: &[Judged<'_>]) -> Option<(Spread, Spread)> {
    let of = |figure: fn(&Loudness) -> f64| {
        let figures = presets
            .iter()
            .filter_map(move |preset| preset.loudness.as_ref().map(figure))
            .filter(|figure| figure.is_finite());
        (figures.clone().count() > 1)
            .then(|| Spread::of(figures))
            .flatten()
    };
    Some((
        of(|loudness| loudness.stereo_lufs)?,
        of(|loudness| loudness.wedge_lufs)?,
    ))
}

/// The sentences about a set's levels.
pub(crate) fn spread_sentence(presets: &[Judged<'_>]) -> Option<String> {
    let (stereo, wedge) = spreads(presets)?;
    let further = wedge.range() - stereo.range();
    let verdict = if further > 0.5 {
        format!("; summing pulls the set {further:.1} LU further apart")
    } else if further < -0.5 {
        format!("; summing brings the set {:.1} LU closer together", -further)
    } else {
        String::new()
    };
    Some(format!(
        "Levels spread over {:.1} LU in stereo ({:.1} to {:.1} LUFS) and over {:.1} LU in the mono wedge ({:.1} to \
         {:.1} LUFS){verdict}.",
        stereo.range(),
        stereo.lowest,
        stereo.highest,
        wedge.range(),
        wedge.lowest,
        wedge.highest
    ))
}

/// A sentence with the number of presets and their outcomes.
pub(crate) fn count_sentence(presets: &[Judged<'_>]) -> String {
    let mut counts = Vec::new();
    for outcome in [Outcome::Holds, Outcome::Thins, Outcome::DropsOut] {
        let of = |plain: bool| {
            let is = |preset: &&Judged<'_>| preset.outcome() == Some(outcome) && preset.is_plain() == plain;
            presets.iter().filter(is).count()
        };
        counts.push(scores::how_many(of(true), outcome));
        if of(false) > 0 {
            counts.push(scores::how_many(of(false), outcome).replacen(' ', " probably ", 1));
        }
    }
    let untold = presets.iter().filter(|preset| preset.is_untold()).count();
    let unread = presets.iter().filter(|preset| preset.worst().is_none()).count();
    let mut sentence = format!(
        "{} {}: {}",
        presets.len(),
        if presets.len() == 1 { "preset" } else { "presets" },
        counts.join(", ")
    );
    if untold > 0 {
        let _ = write!(sentence, ", {untold} can't be told");
    }
    if unread > 0 {
        let _ = write!(sentence, ", {unread} without a reading");
    }
    sentence + "."
}

/// The basis of a preset's outcome, as a sentence.
pub(crate) fn deciding_sentence(presets: &[Judged<'_>]) -> &'static str {
    if presets.first().is_some_and(|preset| preset.view.asked) {
        "A preset's outcome is its worst among the feeds asked for."
    } else {
        "A preset's outcome is its worst among the feeds in which nobody made a mistake (no flipped, late or dead line, no \
         wrong plug); the counts take those in too."
    }
}
