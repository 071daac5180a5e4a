//! The readable table of a set: a line per preset, and how far the set's levels spread.

use std::fmt::Write;

use sumproof_core::score::outcome::Outcome;
use sumproof_wording::Name;
use sumproof_wording::scores;

use crate::judge::judged::Judged;
use crate::judge::set::{Loudness, Spread};
use crate::names;
use crate::tables::columns::{columns, stroke};

const HEADINGS: [&str; 12] = [
    "",
    "outcome",
    "preset",
    "worst feed",
    "of all feeds",
    "wedge dry dB",
    "wedge wet dB",
    "correlation",
    "stereo LUFS",
    "wedge LUFS",
    "change LU",
    "peak dBTP",
];
/// Columns from here on hold figures and are set flush right.
const FIRST_FIGURE: usize = 5;

/// A line per preset, in the order given, and below how far the set's levels spread.
#[must_use]
pub fn overview(presets: &[Judged<'_>]) -> String {
    let mut lines = vec![HEADINGS.map(String::from)];
    lines.extend(presets.iter().map(cells));
    let mut out = columns(&lines, FIRST_FIGURE);
    // Writing into a string can't fail.
    let _ = write_summary(&mut out, presets);
    out
}

fn cells(preset: &Judged<'_>) -> [String; HEADINGS.len()] {
    let outcome = preset.outcome();
    let score = preset.wedge.score;
    let lufs = |of: fn(&Loudness) -> f64| level(preset.loudness.as_ref().map(of));
    [
        outcome.map_or("", stroke).into(),
        outcome.map_or(scores::NO_READING, Name::name).into(),
        names::line(&preset.take.name),
        preset.trouble().unwrap_or("-").into(),
        counts(preset),
        score.map_or("-".into(), |score| scores::dry(&score)),
        score.map_or("-".into(), |score| scores::wet(&score)),
        preset
            .take
            .sums
            .correlation()
            .map_or("-".into(), |correlation| format!("{correlation:+.3}")),
        lufs(|loudness| loudness.stereo_lufs),
        lufs(|loudness| loudness.wedge_lufs),
        change(preset.loudness.as_ref()),
        lufs(|loudness| loudness.stereo_peak_dbtp.max(loudness.wedge_peak_dbtp)),
    ]
}

/// How many feeds hold, thin and drop out: `8 hold, 2 thin, 1 drops out`.
fn counts(preset: &Judged<'_>) -> String {
    let words = [
        (Outcome::Holds, "holds", "hold"),
        (Outcome::Thins, "thins", "thin"),
        (Outcome::DropsOut, "drops out", "drop out"),
    ];
    words
        .into_iter()
        .filter_map(|(outcome, one, many)| match preset.count(outcome) {
            0 => None,
            1 => Some(format!("1 {one}")),
            count => Some(format!("{count} {many}")),
        })
        .collect::<Vec<_>>()
        .join(", ")
}

/// A level, two decimals; a dash where nobody measured it.
pub(crate) fn level(figure: Option<f64>) -> String {
    match figure {
        None => "-".into(),
        // Rounded first, so that nothing reads -0.00.
        Some(figure) if figure.is_finite() => format!("{:.2}", (figure * 100.0).round() / 100.0 + 0.0),
        Some(_) => scores::NO_READING.into(),
    }
}

/// What summing changes, LU, two decimals.
pub(crate) fn change(loudness: Option<&Loudness>) -> String {
    match loudness.map(|loudness| loudness.wedge_lufs - loudness.stereo_lufs) {
        None => "-".into(),
        Some(change) => scores::figure(change, 2),
    }
}

/// How far a set's levels spread in stereo and in the mono wedge; `None` of fewer than two that were measured.
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

/// How many presets there are and how they fare, as a sentence.
pub(crate) fn count_sentence(presets: &[Judged<'_>]) -> String {
    let count = |outcome| {
        presets
            .iter()
            .filter(|preset| preset.outcome() == Some(outcome))
            .count()
    };
    let unread = presets.iter().filter(|preset| preset.outcome().is_none()).count();
    let mut sentence = format!(
        "{} {}: {} hold, {} thin, {} drop out",
        presets.len(),
        if presets.len() == 1 { "preset" } else { "presets" },
        count(Outcome::Holds),
        count(Outcome::Thins),
        count(Outcome::DropsOut)
    );
    if unread > 0 {
        let _ = write!(sentence, ", {unread} without a reading");
    }
    sentence + "."
}

/// What the outcome of a preset is taken from.
pub(crate) fn deciding_sentence(presets: &[Judged<'_>]) -> &'static str {
    if presets.first().is_some_and(|preset| preset.view.asked) {
        "A preset's outcome is its worst among the feeds asked for."
    } else {
        "A preset's outcome is its worst among the feeds in which nobody made a mistake (no flipped, late or dead line, no \
         wrong plug); the counts take those in too."
    }
}

fn write_summary(out: &mut String, presets: &[Judged<'_>]) -> std::fmt::Result {
    writeln!(out)?;
    writeln!(out, "{}", count_sentence(presets))?;
    if let Some(sentence) = spread_sentence(presets) {
        writeln!(out, "{sentence}")?;
    }
    writeln!(out, "{}", deciding_sentence(presets))?;
    writeln!(
        out,
        "wedge: both lines added; dry and wet are changes from stereo, the gain to make up taken out. LUFS: ITU-R BS.1770, \
         gated; the wedge counts as played by both loudspeakers. peak: the higher of stereo and wedge."
    )
}
