//! The findings of a line check: as text, JSON, a page with pictures, and as the user's own feed.

mod json;
mod notices;
mod own;
mod page;
mod text;

pub use json::{SCHEMA, json};
pub use own::{NotKnown, save, save_again};
pub use page::html;
pub use text::{lines, notes, place, text};

use notices::{notice, unknown};
use sumproof_core::line_check::{Arrival, Findings, Reception};
use sumproof_core::routing::feed::Side;

const SIDES: [Side; 2] = [Side::Left, Side::Right];

/// The reception at the place of recording, in words.
fn heard(heard: Reception) -> &'static str {
    match heard {
        Reception::Sum => "adds both lines",
        Reception::Difference => {
            "gets one line minus the other: a line is flipped on its way into a sum, or a stereo plug sits in a balanced mono \
             input. The recording can't tell which"
        }
        Reception::One(Side::Left) => "gets the left line only",
        Reception::One(Side::Right) => "gets the right line only",
        Reception::Apart => "keeps the lines apart",
    }
}

/// Stable id for programs.
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

/// What no recording can tell, where it is relevant here.
fn cannot_know(finding: &Findings) -> Vec<&'static str> {
    let mut lines = Vec::new();
    if finding.pair.is_some() && finding.lines.iter().all(|line| line.absolute.is_none()) {
        lines.push("Both lines flipped at once sound like none: that can't be told here.");
    }
    if matches!(finding.feeding.heard.value(), Some(Reception::One(_))) {
        lines.push("A line that is unplugged and a feed that doesn't take it sound the same.");
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use sumproof_core::line_check::{Answer, Feeding, LineFinding, Mode, Notice, Pictures, Unknown};

    /// Findings of nothing at all.
    fn nothing() -> Findings {
        let line = LineFinding {
            arrival: Arrival::Yes,
            clearness_db: None,
            absolute: None,
        };
        Findings {
            mode: Mode::Mono { pause_s: 8.0 },
            sweep_s: 2.0,
            speed: 44_100.0 / 48_000.0,
            seconds: 30.0,
            rate_hz: 44_100.0,
            channels: 1,
            start_s: 0.0,
            drift_ppm: None,
            lines: [line.clone(), line],
            pair: None,
            feeding: Feeding {
                heard: Answer::Unknown(Unknown::Noise),
                feeds: Vec::new(),
                faulty: None,
            },
            noise_db: -30.0,
            distortion_db: -60.0,
            notices: Vec::new(),
            pictures: Pictures::default(),
        }
    }

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
            Notice::Changing,
            Notice::Unsteady,
            Notice::Swayed,
            Notice::Moved,
            Notice::Cut,
            Notice::Contradiction,
            Notice::NothingPulled,
            Notice::PerhapsMono,
            Notice::Faint,
            Notice::OtherRate,
            Notice::OtherMode,
            Notice::SeveralSignals,
            Notice::Swapped,
            Notice::LowEndOnly,
        ];
        let schema = include_str!("../../SCHEMA.md");
        let finding = nothing();
        for (index, &one) in all.iter().enumerate() {
            let (name, text) = notice(&finding, one);
            assert!(schema.contains(&format!("`{name}`")), "{name}");
            assert!(text.ends_with(['.', ')']), "{text}");
            assert!(
                all[..index]
                    .iter()
                    .all(|&other| notice(&finding, other).0 != name && notice(&finding, other).1 != text)
            );
        }
        assert!(schema.contains("`other-length`"));
        let rate = notice(&finding, Notice::OtherRate).1;
        assert!(
            rate.contains("says 48 kHz") && rate.contains("runs at 44.1 kHz"),
            "{rate}"
        );
    }

    #[test]
    fn every_reason_is_in_the_schema() {
        let schema = include_str!("../../SCHEMA.md");
        for why in [
            Unknown::Noise,
            Unknown::Contradiction,
            Unknown::Moved,
            Unknown::Cut,
            Unknown::DifferentWays,
            Unknown::Changing,
            Unknown::NothingPulled,
            Unknown::Clock,
            Unknown::Gain,
            Unknown::OneLine,
        ] {
            assert!(schema.contains(&format!("`{}`", unknown(why).0)));
        }
    }

    #[test]
    fn the_text_begins_with_the_sentence_and_fits_eighty_columns() {
        let mut finding = nothing();
        finding.notices = vec![Notice::DifferentWays, Notice::OtherRate];
        let text = text(&finding, "a recording.wav", crate::Form::default());
        assert!(text.starts_with("Tell the engineer: "), "{text}");
        assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
        assert!(json(&finding, "x.wav").contains("\"why\": \"noise\""));
    }
}
