//! What a line check found, and what to say before one.

use sumproof_core::line_check::{Arrival, Estimate, Findings, Mode, Notice, PairFinding, Reception};
use sumproof_core::routing::feed::Side;
use sumproof_core::routing::line::Polarity;

use crate::Name;
use crate::numbers::milliseconds;

/// A confidence in a word.
///
/// ```
/// assert_eq!(sumproof_wording::line_check::confidence(0.95), "sure");
/// ```
#[must_use]
pub fn confidence(confidence: f64) -> &'static str {
    if confidence >= 0.9 {
        "sure"
    } else if confidence >= 0.6 {
        "likely"
    } else {
        "a guess"
    }
}

/// What matters of a difference, to say it aloud.
const LATE_S: f64 = 0.000_15;
const UNEVEN_DB: f64 = 1.5;
const THIN_HZ: f64 = 40.0;

/// One sentence for the engineer.
#[must_use]
pub fn sentence(finding: &Findings) -> String {
    let arrivals = [finding.lines[0].arrival, finding.lines[1].arrival];
    match arrivals {
        [Arrival::Yes, Arrival::No { .. }] => gone(Side::Right),
        [Arrival::No { .. }, Arrival::Yes] => gone(Side::Left),
        [Arrival::Yes, Arrival::Yes] => both(finding),
        [Arrival::Yes, _] => unsure(Side::Right),
        _ => unsure(Side::Left),
    }
}

fn gone(side: Side) -> String {
    format!(
        "Only my {} line arrives here: is my {} line plugged in and open, and does this feed take it at all?",
        match side {
            Side::Left => "right",
            Side::Right => "left",
        },
        side.name()
    )
}

fn unsure(side: Side) -> String {
    format!(
        "I can't tell whether my {} line arrives here: may I send the test once more, closer to the loudspeaker or straight \
         from the desk?",
        side.name()
    )
}

fn both(finding: &Findings) -> String {
    let Some(pair) = finding.pair.as_ref() else {
        return "Both my lines arrive here, but I can't tell what they do to each other.".into();
    };
    if finding.notices.contains(&Notice::DifferentWays) && finding.feeding.heard.is_none() {
        return "Both my lines arrive here by different ways, as from two loudspeakers: I need a recording of one feed to say \
                more."
            .into();
    }
    let Some(heard) = finding.feeding.heard else {
        return "Both my lines arrive here, but whether one is flipped can't be told: please don't sum them before we have \
                checked."
            .into();
    };
    let mut faults = faults(pair);
    match heard.value {
        Reception::Difference => {
            let rest = if faults.is_empty() {
                String::new()
            } else {
                format!(" Besides, {}.", faults.join(", and "))
            };
            format!(
                "My two lines cancel each other in this feed: please flip the polarity of one of them, or, if they come in on \
                 one stereo plug, give me two inputs.{rest}"
            )
        }
        Reception::Apart if pair.polarity.is_some_and(|p| p.value == Polarity::Flipped) => {
            faults.insert(0, "one of my two lines is flipped against the other".into());
            format!(
                "{}: please set that right before anything sums them.",
                begin(&faults)
            )
        }
        _ if faults.is_empty() => match heard.value {
            Reception::Apart => "Both my lines arrive alike and apart: all is well here.".into(),
            _ => "Both my lines arrive alike and are summed: all is well here.".into(),
        },
        _ => format!("{}: can you even that out at the desk?", begin(&faults)),
    }
}

fn begin(faults: &[String]) -> String {
    let text = faults.join(", and ");
    let mut letters = text.chars();
    letters
        .next()
        .map(|first| first.to_uppercase().collect::<String>() + letters.as_str())
        .unwrap_or_default()
}

fn faults(pair: &PairFinding) -> Vec<String> {
    let trusted = |reading: Option<Estimate<f64>>| reading.filter(|reading| reading.confidence >= 0.3);
    let mut faults = Vec::new();
    if let Some(level) = trusted(pair.level_db).filter(|level| level.value.abs() >= UNEVEN_DB) {
        let soft = if level.value < 0.0 { "right" } else { "left" };
        faults.push(format!(
            "my {soft} line is {:.1} dB softer than the other",
            level.value.abs()
        ));
    }
    if let Some(delay) = trusted(pair.delay_s).filter(|delay| delay.value.abs() >= LATE_S) {
        let late = if delay.value > 0.0 { "right" } else { "left" };
        faults.push(format!(
            "my {late} line is {} late",
            milliseconds(delay.value.abs())
        ));
    }
    if let Some(corners) = pair.corners_hz {
        let [left, right] = corners.value;
        let thin = if right > left {
            (right, "right")
        } else {
            (left, "left")
        };
        if thin.0 >= THIN_HZ && thin.0 > 2.0 * left.min(right) {
            faults.push(format!("my {} line is thin below {:.0} Hz", thin.1, thin.0));
        }
    }
    faults
}

/// What to say before the signal is played.
#[must_use]
pub fn advice(mode: Mode) -> Vec<&'static str> {
    let mut advice = vec![
        "Caution: this is loud in monitors and in-ears that are turned up. Faders down, ears out, then bring it up slowly.",
        "Use an empty, clean preset: no amplifier model, no effects. An amplifier model distorts a sweep, effects blur it.",
    ];
    match mode {
        Mode::Stereo => {
            advice
                .push("Play the file so that its left and right channel go out on your left and right line.");
        }
        Mode::Mono { .. } => {
            advice.push(
                "One source feeds both lines: first leave both plugged; in the first pause unplug the right line; in the second \
                 plug it again and unplug the left one. Phantom power off and the channel muted before a plug is moved.",
            );
        }
    }
    advice.push(
        "Record what arrives (the desk's output, or a phone at the wedge) from before the start until after the end, and don't \
         move anything meanwhile.",
    );
    advice
}
