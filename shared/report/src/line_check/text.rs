//! The findings for people.

use sumproof_core::line_check::{Answer, Estimate, Findings};
use sumproof_core::routing::line::Polarity;
use sumproof_wording::Name;
use sumproof_wording::line_check::sentence;

use crate::tables::form::Form;

use super::{SIDES, arrival, cannot_know, heard, notice, unknown};

/// Width of the labels, columns.
const LABEL: usize = 13;

pub(super) fn polarity(polarity: Polarity) -> &'static str {
    match polarity {
        Polarity::Normal => "as sent",
        Polarity::Flipped => "flipped",
    }
}

pub(super) fn delay(reading: &Estimate<f64>) -> String {
    let side = if reading.value >= 0.0 { "right" } else { "left" };
    let seconds = reading.value.abs();
    let within = 1e6 * reading.within;
    if seconds <= reading.within {
        format!("none (within {within:.0} µs)")
    } else {
        format!(
            "the {side} line is {:.3} ms late (± {within:.0} µs)",
            1e3 * seconds
        )
    }
}

pub(super) fn level(reading: &Estimate<f64>) -> String {
    let side = if reading.value <= 0.0 { "right" } else { "left" };
    if reading.value.abs() <= reading.within {
        format!("equal (within {:.2} dB)", reading.within)
    } else {
        format!(
            "the {side} line is {:.2} dB softer (± {:.2})",
            reading.value.abs(),
            reading.within
        )
    }
}

pub(super) fn corners(corners: [f64; 2]) -> String {
    match corners {
        [left, right] if left < 1.0 && right < 1.0 => "no difference".into(),
        [left, right] if right < 1.0 => format!("the left line has a high-pass at {left:.0} Hz"),
        [left, right] if left < 1.0 => format!("the right line has a high-pass at {right:.0} Hz"),
        [left, right] => format!("high-passes at {left:.0} Hz (left) and {right:.0} Hz (right)"),
    }
}

/// An answer with its trust, or why there is none.
fn told<T: Copy>(answer: Answer<T>, say: impl Fn(&Estimate<T>) -> String) -> String {
    match answer {
        Answer::Known(estimate) => format!("{} ({})", say(&estimate), estimate.trust.word()),
        Answer::Unknown(why) => format!("can't be told: {}", unknown(why).1),
    }
}

/// All findings, the sentence for the engineer first.
#[must_use]
pub fn text(finding: &Findings, name: &str, form: Form) -> String {
    let mut out = form.paragraph(&format!("Tell the engineer: {}", sentence(finding)), 0);
    out += &form.paragraph(name, 0);
    for (label, text) in lines(finding) {
        out += &form.hanging(&format!("  {label:<width$}", width = LABEL - 2), &text, LABEL);
    }
    out
}

/// Label and text of every finding.
pub(super) fn rows(finding: &Findings) -> Vec<(String, String)> {
    let mut rows = Vec::new();
    let mut row = |label: &str, text: String| rows.push((label.to_owned(), text));
    for (side, line) in SIDES.into_iter().zip(&finding.lines) {
        let mut text = arrival(line.arrival);
        if let Some(clear) = line.clearness_db {
            text += &format!(", {clear:.0} dB out of the noise");
        }
        if let Some(absolute) = &line.absolute {
            text += &format!(
                "; polarity from file to recording {} ({})",
                polarity(absolute.value),
                absolute.trust.word()
            );
        }
        row(&format!("{} line", side.name()), text);
    }
    if let Some(pair) = &finding.pair {
        row(
            "polarity",
            told(pair.polarity, |found| {
                match found.value {
                    Polarity::Normal => "both lines arrive alike",
                    Polarity::Flipped => "one line arrives flipped against the other",
                }
                .into()
            }),
        );
        row("delay", told(pair.delay_s, delay));
        row("level", told(pair.level_db, level));
        row("low end", told(pair.corners_hz, |found| corners(found.value)));
    }
    row("this place", place(finding));
    if let Some(feed) = feed(finding) {
        row("feed", feed);
    }
    row("noise", format!("{:.0} dB against a sweep", finding.noise_db));
    row("distortion", distortion(finding.distortion_db));
    row(
        "clocks",
        finding.drift_ppm.map_or_else(
            || "not compared".into(),
            |ppm| format!("the recorder's runs {ppm:+.1} ppm against the player's"),
        ),
    );
    rows
}

/// What the place of recording receives of the lines, with its trust, or why it can't be told.
#[must_use]
pub fn place(finding: &Findings) -> String {
    told(finding.feeding.heard, |found| heard(found.value).into())
}

/// Notices: what disturbed the recording, and what no recording can tell.
#[must_use]
pub fn notes(finding: &Findings) -> Vec<String> {
    let notices = finding.notices.iter().map(|&found| notice(finding, found).1);
    notices
        .chain(cannot_know(finding).into_iter().map(str::to_owned))
        .collect()
}

/// The built-in feeds that it may be, each with the measured value where its name contains a figure.
fn feed(finding: &Findings) -> Option<String> {
    use sumproof_core::routing::feed::FeedId;
    let pair = finding.pair.as_ref();
    let delay_ms = pair.and_then(|pair| pair.delay_s.value()).map(|s| 1e3 * s.abs());
    let level_db = pair.and_then(|pair| pair.level_db.value()).map(f64::abs);
    let names: Vec<String> = finding
        .feeding
        .feeds
        .iter()
        .map(|feed| match (feed, delay_ms, level_db) {
            (FeedId::WedgeLineLate, Some(ms), _) => format!("mono wedge, one line late {ms:.1} ms"),
            (FeedId::WedgeLinePadded, _, Some(db)) => format!("mono wedge, one line padded {db:.0} dB"),
            (feed, ..) => feed.name().to_owned(),
        })
        .collect();
    let side = finding
        .feeding
        .faulty
        .map(|side| format!(" (the {} line)", side.name()))
        .unwrap_or_default();
    (!names.is_empty()).then(|| format!("{}{side}", names.join(", or ")))
}

fn distortion(db: f64) -> String {
    if db <= -60.0 {
        "none to speak of (below 0.1 %)".into()
    } else {
        format!("{:.1} % ({db:.0} dB)", 100.0 * 10f64.powf(db / 20.0))
    }
}

/// Label and text of everything but the sentence for the engineer: notices, findings, and what can't be known.
#[must_use]
pub fn lines(finding: &Findings) -> Vec<(String, String)> {
    let notes = finding
        .notices
        .iter()
        .map(|&found| ("note".to_owned(), notice(finding, found).1));
    let mut lines: Vec<(String, String)> = notes.collect();
    lines.extend(rows(finding));
    let unknown = cannot_know(finding).into_iter();
    lines.extend(unknown.map(|text| ("unknown".to_owned(), text.to_owned())));
    lines
}
