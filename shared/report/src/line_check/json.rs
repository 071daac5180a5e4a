//! The findings for programs.

use serde::Serialize;
use sumproof_core::line_check::{Answer, Arrival, Curve, Estimate, Findings, LineFinding, Mode};
use sumproof_core::routing::feed::Side;
use sumproof_core::routing::line::Polarity;
use sumproof_wording::line_check::sentence;

use super::{SIDES, heard_id, notice, unknown};

/// Version of the form. It increases when a field changes its meaning or is removed.
pub const SCHEMA: u32 = 2;

#[derive(Serialize)]
struct Document<'a> {
    schema: u32,
    kind: &'static str,
    file: &'a str,
    mode: &'static str,
    sweep_s: f64,
    speed: f64,
    seconds: f64,
    rate_hz: f64,
    channels: usize,
    start_s: f64,
    drift_ppm: Option<f64>,
    lines: Vec<Line>,
    pair: Option<Pair>,
    receives: Told<&'static str>,
    own_feed_trust: Option<&'static str>,
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
    absolute_polarity: Option<Told<&'static str>>,
}

/// An answer: a value and its trust, or why there is none.
#[derive(Serialize)]
struct Told<T> {
    value: Option<T>,
    trust: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    within: Option<f64>,
    why: Option<&'static str>,
}

#[derive(Serialize)]
struct Pair {
    polarity: Told<&'static str>,
    right_late_s: Told<f64>,
    right_over_left_db: Told<f64>,
    high_pass_hz: Told<[f64; 2]>,
}

#[derive(Serialize)]
struct Pictures<'a> {
    impulse_ms: [&'a Curve; 2],
    response_hz_db: [&'a Curve; 2],
    difference_hz_db: &'a Curve,
    difference_hz_degrees: &'a Curve,
}

fn polarity(value: Polarity) -> &'static str {
    match value {
        Polarity::Normal => "normal",
        Polarity::Flipped => "flipped",
    }
}

fn estimate<T: Copy, U>(found: &Estimate<T>, value: impl Fn(T) -> U) -> Told<U> {
    Told {
        value: Some(value(found.value)),
        trust: Some(found.trust.word()),
        within: (found.within > 0.0).then_some(found.within),
        why: None,
    }
}

fn told<T: Copy, U>(answer: &Answer<T>, value: impl Fn(T) -> U) -> Told<U> {
    match answer {
        Answer::Known(found) => estimate(found, value),
        Answer::Unknown(why) => Told {
            value: None,
            trust: None,
            within: None,
            why: Some(unknown(*why).0),
        },
    }
}

fn lines(finding: &Findings) -> Vec<Line> {
    let line = |(side, line): (Side, &LineFinding)| {
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
            absolute_polarity: line.absolute.as_ref().map(|found| estimate(found, polarity)),
        }
    };
    SIDES.into_iter().zip(&finding.lines).map(line).collect()
}

/// The findings as JSON, described in SCHEMA.md.
#[must_use]
pub fn json(finding: &Findings, file: &str) -> String {
    let document = Document {
        schema: SCHEMA,
        kind: "line-check",
        file,
        mode: match finding.mode {
            Mode::Stereo => "stereo",
            Mode::Mono { .. } => "mono",
        },
        sweep_s: finding.sweep_s,
        speed: finding.speed,
        seconds: finding.seconds,
        rate_hz: finding.rate_hz,
        channels: finding.channels,
        start_s: finding.start_s,
        drift_ppm: finding.drift_ppm,
        lines: lines(finding),
        pair: finding.pair.as_ref().map(|pair| Pair {
            polarity: told(&pair.polarity, polarity),
            right_late_s: told(&pair.delay_s, |value| value),
            right_over_left_db: told(&pair.level_db, |value| value),
            high_pass_hz: told(&pair.corners_hz, |value| value),
        }),
        receives: told(&finding.feeding.heard, heard_id),
        own_feed_trust: finding
            .own_feed()
            .and(finding.feed_trust())
            .map(|trust| trust.word()),
        feeds: finding.feeding.feeds.iter().map(|feed| feed.id()).collect(),
        faulty_line: finding.feeding.faulty.map(|side| side.id()),
        noise_db: finding.noise_db,
        distortion_db: finding.distortion_db,
        notices: finding
            .notices
            .iter()
            .map(|&found| notice(finding, found).0)
            .collect(),
        sentence: sentence(finding),
        pictures: Pictures {
            impulse_ms: [&finding.pictures.impulses[0], &finding.pictures.impulses[1]],
            response_hz_db: [&finding.pictures.responses[0], &finding.pictures.responses[1]],
            difference_hz_db: &finding.pictures.difference_db,
            difference_hz_degrees: &finding.pictures.difference_degrees,
        },
    };
    // Plain data without maps: serialising it can't fail.
    serde_json::to_string_pretty(&document).unwrap_or_default()
}
