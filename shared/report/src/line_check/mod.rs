//! What a line check found: as text, JSON, a page with pictures, and as a feed of the user's own.

mod json;
mod own;
mod page;
mod text;

pub use json::{SCHEMA, json};
pub use own::{NotKnown, save};
pub use page::html;
pub use text::{lines, text};

use sumproof_core::line_check::{Arrival, Findings, Notice, Reception};
use sumproof_core::routing::feed::Side;

const SIDES: [Side; 2] = [Side::Left, Side::Right];

/// What the place of recording does, in words.
fn heard(finding: &Findings) -> &'static str {
    match finding.feeding.heard.map(|heard| heard.value) {
        Some(Reception::Sum) => "adds both lines",
        Some(Reception::Difference) => {
            "gets one line minus the other: a line is flipped on its way into a sum, or a stereo plug sits in a balanced mono \
             input. The recording can't tell which"
        }
        Some(Reception::One(Side::Left)) => "gets the left line only",
        Some(Reception::One(Side::Right)) => "gets the right line only",
        Some(Reception::Apart) => "keeps the lines apart",
        None => "can't be told",
    }
}

/// Stable name for programs.
fn heard_id(heard: Reception) -> &'static str {
    match heard {
        Reception::Sum => "sum",
        Reception::Difference => "difference",
        Reception::One(Side::Left) => "left",
        Reception::One(Side::Right) => "right",
        Reception::Apart => "apart",
    }
}

fn arrival(arrival: Arrival) -> String {
    match arrival {
        Arrival::Yes => "arrives".into(),
        Arrival::No { below_db } => {
            format!("doesn't arrive (or is more than {below_db:.0} dB below the other)")
        }
        Arrival::Unknown { below_db } => {
            format!("not seen, but it would be only down to {below_db:.0} dB below the other: can't be told")
        }
    }
}

fn notice(notice: Notice) -> (&'static str, &'static str) {
    match notice {
        Notice::StartMissing => (
            "start-missing",
            "The recording began late: the marker at the start is missing.",
        ),
        Notice::EndMissing => (
            "end-missing",
            "The recording ended early: the marker at the end is missing.",
        ),
        Notice::ClockUnknown => (
            "clock-unknown",
            "The clocks of player and recorder could not be compared, so the delay is not trusted.",
        ),
        Notice::GainMoved => (
            "gain-moved",
            "An automatic gain (or clipping) treated loud and soft parts differently; the level is taken from the parts in which both \
             lines sound at once.",
        ),
        Notice::GainUnknown => (
            "gain-unknown",
            "An automatic gain (or clipping) treated loud and soft parts differently, and no part in which both lines sound at \
             once is clear enough to set that right: the level is not known.",
        ),
        Notice::GainUnheard => (
            "gain-unheard",
            "Noise hides whether an automatic gain treated loud and soft parts differently: the level is taken from the parts in \
             which both lines sound at once, as far as those tell it.",
        ),
        Notice::Distorted => (
            "distorted",
            "A lot of distortion: turn down, or take the amplifier model out of the preset.",
        ),
        Notice::DifferentWays => (
            "different-ways",
            "The lines sound different from each other beyond what a line does: two loudspeakers, or effects that are on.",
        ),
        Notice::Swapped => (
            "swapped",
            "The recording has your right line on its left channel and your left line on its right one.",
        ),
        Notice::LowEndOnly => ("low-end-only", "Only the low end arrives: a subwoofer."),
    }
}

/// What no recording can tell, where it matters here.
fn cannot_know(finding: &Findings) -> Vec<&'static str> {
    let mut lines = Vec::new();
    if finding.pair.is_some() && finding.lines.iter().all(|line| line.absolute.is_none()) {
        lines.push("Both lines flipped at once sound like none: that can't be told here.");
    }
    if matches!(
        finding.feeding.heard.map(|heard| heard.value),
        Some(Reception::One(_))
    ) {
        lines.push("A line that is unplugged and a feed that doesn't take it sound the same.");
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_notice_has_words_of_its_own_and_its_name_is_in_the_schema() {
        let all = [
            Notice::StartMissing,
            Notice::EndMissing,
            Notice::ClockUnknown,
            Notice::GainMoved,
            Notice::GainUnknown,
            Notice::GainUnheard,
            Notice::Distorted,
            Notice::DifferentWays,
            Notice::Swapped,
            Notice::LowEndOnly,
        ];
        let schema = include_str!("../../SCHEMA.md");
        for (index, &one) in all.iter().enumerate() {
            let (name, text) = notice(one);
            assert!(schema.contains(&format!("`{name}`")), "{name}");
            assert!(text.ends_with('.'), "{text}");
            assert!(
                all[..index]
                    .iter()
                    .all(|&other| notice(other).0 != name && notice(other).1 != text)
            );
        }
        assert!(notice(Notice::GainUnheard).1.contains("Noise hides"));
    }
}
