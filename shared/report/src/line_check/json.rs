//! The finding for programs.

use serde::Serialize;
use sumproof_core::line_check::{Arrival, Curve, Estimate, Findings, Mode};
use sumproof_core::routing::line::Polarity;
use sumproof_wording::line_check::{confidence, sentence};

use super::{SIDES, heard_id, notice};

/// Number of the form. It grows when a field changes its meaning or goes.
pub const SCHEMA: u32 = 1;

#[derive(Serialize)]
struct Document<'a> {
    schema: u32,
    kind: &'static str,
    file: &'a str,
    mode: &'static str,
    seconds: f64,
    rate_hz: f64,
    channels: usize,
    start_s: f64,
    drift_ppm: Option<f64>,
    lines: Vec<Line>,
    pair: Option<Pair>,
    receives: Option<Word>,
    feeds: Vec<&'static str>,
    faulty_line: Option<&'static str>,
    noise_db: f64,
    distortion_db: f64,
    notices: Vec<&'static str>,
    sentence: String,
    pictures: Pictures<'a>,
}

#[derive(Serialize)]
struct Line {
    line: &'static str,
    arrives: &'static str,
    seen_down_to_db: Option<f64>,
    clearness_db: Option<f64>,
    absolute_polarity: Option<Word>,
}

#[derive(Serialize)]
struct Word {
    value: &'static str,
    confidence: f64,
    word: &'static str,
}

#[derive(Serialize)]
struct Number<T> {
    value: T,
    confidence: f64,
    word: &'static str,
    sigma: f64,
}

#[derive(Serialize)]
struct Pair {
    polarity: Option<Word>,
    right_late_s: Option<Number<f64>>,
    right_over_left_db: Option<Number<f64>>,
    high_pass_hz: Option<Number<[f64; 2]>>,
}

#[derive(Serialize)]
struct Pictures<'a> {
    impulse_ms: [&'a Curve; 2],
    response_hz_db: [&'a Curve; 2],
    difference_hz_db: &'a Curve,
    difference_hz_degrees: &'a Curve,
}

fn word(reading: &Estimate<Polarity>) -> Word {
    Word {
        value: match reading.value {
            Polarity::Normal => "normal",
            Polarity::Flipped => "flipped",
        },
        confidence: reading.confidence,
        word: confidence(reading.confidence),
    }
}

fn number<T: Copy>(reading: &Estimate<T>) -> Number<T> {
    Number {
        value: reading.value,
        confidence: reading.confidence,
        word: confidence(reading.confidence),
        sigma: reading.sigma,
    }
}

/// The finding as JSON: described in SCHEMA.md.
#[must_use]
pub fn json(finding: &Findings, file: &str) -> String {
    let lines = SIDES
        .into_iter()
        .zip(&finding.lines)
        .map(|(side, line)| {
            let (arrives, seen) = match line.arrival {
                Arrival::Yes => ("yes", None),
                Arrival::No { below_db } => ("no", Some(below_db)),
                Arrival::Unknown { below_db } => ("unknown", Some(below_db)),
            };
            Line {
                line: side.id(),
                arrives,
                seen_down_to_db: seen,
                clearness_db: line.clearness_db,
                absolute_polarity: line.absolute.as_ref().map(word),
            }
        })
        .collect();
    let document = Document {
        schema: SCHEMA,
        kind: "line-check",
        file,
        mode: match finding.mode {
            Mode::Stereo => "stereo",
            Mode::Mono { .. } => "mono",
        },
        seconds: finding.seconds,
        rate_hz: finding.rate_hz,
        channels: finding.channels,
        start_s: finding.start_s,
        drift_ppm: finding.drift_ppm,
        lines,
        pair: finding.pair.as_ref().map(|pair| Pair {
            polarity: pair.polarity.as_ref().map(word),
            right_late_s: pair.delay_s.as_ref().map(number),
            right_over_left_db: pair.level_db.as_ref().map(number),
            high_pass_hz: pair.corners_hz.as_ref().map(number),
        }),
        receives: finding.feeding.heard.map(|heard| Word {
            value: heard_id(heard.value),
            confidence: heard.confidence,
            word: confidence(heard.confidence),
        }),
        feeds: finding.feeding.feeds.iter().map(|feed| feed.id()).collect(),
        faulty_line: finding.feeding.faulty.map(|side| side.id()),
        noise_db: finding.noise_db,
        distortion_db: finding.distortion_db,
        notices: finding.notices.iter().map(|&found| notice(found).0).collect(),
        sentence: sentence(finding),
        pictures: Pictures {
            impulse_ms: [&finding.pictures.impulses[0], &finding.pictures.impulses[1]],
            response_hz_db: [&finding.pictures.responses[0], &finding.pictures.responses[1]],
            difference_hz_db: &finding.pictures.difference_db,
            difference_hz_degrees: &finding.pictures.difference_degrees,
        },
    };
    // Plain data without maps of odd keys: there is nothing in it that can't be written.
    serde_json::to_string_pretty(&document).unwrap_or_default()
}
