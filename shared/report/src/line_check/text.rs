//! The finding for people.

use std::fmt::Write;

use sumproof_core::line_check::{Estimate, Findings, sentence, word_of};
use sumproof_core::routing::line::Polarity;

use super::{SIDES, arrival, cannot_know, heard, notice};

/// Confidence below which a number is given as not known.
pub(super) const BELIEVED: f64 = 0.3;

pub(super) fn polarity(polarity: Polarity) -> &'static str {
    match polarity {
        Polarity::Normal => "as sent",
        Polarity::Flipped => "flipped",
    }
}

pub(super) fn delay(reading: &Estimate<f64>) -> String {
    let side = if reading.value >= 0.0 { "right" } else { "left" };
    let seconds = reading.value.abs();
    if seconds < 0.000_005 {
        "none (below 5 µs)".into()
    } else {
        format!(
            "the {side} line is {:.0} µs ({:.3} ms) late",
            1e6 * seconds,
            1e3 * seconds
        )
    }
}

pub(super) fn level(reading: &Estimate<f64>) -> String {
    let side = if reading.value <= 0.0 { "right" } else { "left" };
    if reading.value.abs() < 0.05 {
        "equal (within 0.05 dB)".into()
    } else {
        format!(
            "the {side} line is {:.2} dB softer (± {:.2})",
            reading.value.abs(),
            (2.0 * reading.sigma).max(0.01)
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

/// Everything, a line each.
#[must_use]
pub fn text(finding: &Findings, name: &str) -> String {
    let mut out = String::new();
    // Writing into a string can't fail.
    let _ = write(&mut out, finding, name);
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
                word_of(absolute.confidence)
            );
        }
        row(&format!("{} line", side.name()), text);
    }
    if let Some(pair) = &finding.pair {
        let unknown = || "can't be told".to_owned();
        row(
            "polarity",
            pair.polarity.map_or_else(unknown, |found| {
                let words = match found.value {
                    Polarity::Normal => "both lines arrive alike",
                    Polarity::Flipped => "one line arrives flipped against the other",
                };
                format!("{words} ({})", word_of(found.confidence))
            }),
        );
        let number = |found: Option<Estimate<f64>>, say: fn(&Estimate<f64>) -> String| {
            found
                .filter(|found| found.confidence >= BELIEVED)
                .map_or_else(unknown, |found| {
                    format!("{} ({})", say(&found), word_of(found.confidence))
                })
        };
        row("delay", number(pair.delay_s, delay));
        row("level", number(pair.level_db, level));
        row(
            "low end",
            pair.corners_hz.map_or_else(unknown, |found| {
                format!("{} ({})", corners(found.value), word_of(found.confidence))
            }),
        );
    }
    let confidence = finding
        .feeding
        .heard
        .map(|heard| format!(" ({})", word_of(heard.confidence)))
        .unwrap_or_default();
    row("this place", format!("{}{confidence}", heard(finding)));
    let feeds: Vec<&str> = finding.feeding.feeds.iter().map(|feed| feed.name()).collect();
    if !feeds.is_empty() {
        let side = finding
            .feeding
            .faulty
            .map(|side| format!(" (the {} line)", side.name()))
            .unwrap_or_default();
        row("feed", format!("{}{side}", feeds.join(", or ")));
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

fn distortion(db: f64) -> String {
    if db <= -60.0 {
        "none to speak of (below 0.1 %)".into()
    } else {
        format!("{:.1} % ({db:.0} dB)", 100.0 * 10f64.powf(db / 20.0))
    }
}

/// Label and text of everything but the sentence for the engineer: what was found, what else is to be said of it, and what
/// can't be known.
#[must_use]
pub fn lines(finding: &Findings) -> Vec<(String, String)> {
    let mut lines = rows(finding);
    let notes = finding.notices.iter().map(|&found| ("note", notice(found).1));
    let unknown = cannot_know(finding).into_iter().map(|text| ("unknown", text));
    lines.extend(
        notes
            .chain(unknown)
            .map(|(label, text)| (label.to_owned(), text.to_owned())),
    );
    lines
}

fn write(out: &mut String, finding: &Findings, name: &str) -> std::fmt::Result {
    writeln!(out, "{}", crate::names::line(name))?;
    for (label, text) in lines(finding) {
        writeln!(out, "  {label:<11}{text}")?;
    }
    writeln!(out, "  Tell the engineer: {}", sentence(finding))
}
