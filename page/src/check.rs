//! The line check: its signal, and the reading of a recording.

use std::path::Path;

use sumproof_core::line_check::{Generator, LONGEST_S, Plan, ReadFailure, SignalSettings, read};
use sumproof_recordings::{read_recording_from, shown};
use sumproof_report::line_check as report;
use sumproof_wording::line_check as wording;

use crate::ask::{Answer, File};
use crate::given::{Given, Pieces};
use crate::session::refusal;

/// Share of the work done once a recording has been decoded; `worker.js` has the same number.
const DECODED: f64 = 0.2;

/// The signal's default settings.
fn settings(mono: bool) -> SignalSettings {
    if mono {
        SignalSettings::mono()
    } else {
        SignalSettings::default()
    }
}

/// The signal, at the level of `sumproof linecheck make`.
pub(crate) fn signal(rate_hz: f64, mono: bool) -> Answer {
    let plan = match Plan::new(settings(mono)) {
        Ok(plan) if (8_000.0..=192_000.0).contains(&rate_hz) => plan,
        Ok(_) => return Answer::refused(format!("no signal is made for {rate_hz} Hz")),
        Err(error) => return Answer::refused(error.to_string()),
    };
    let parts = plan.parts();
    let settings = *plan.settings();
    let mut generator = Generator::new(plan, rate_hz);
    #[allow(
        clippy::cast_possible_truncation,
        reason = "a few minutes at a rate that was checked above"
    )]
    let frames = generator.frames() as usize;
    let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
    generator.fill(&mut left, &mut right);
    Answer {
        parts: parts.iter().map(|part| (part.start_s, part.name)).collect(),
        advice: wording::advice_to_phone(settings.mode),
        level_dbfs: Some(settings.level_dbfs),
        bytes: left
            .iter()
            .chain(&right)
            .flat_map(|sample| sample.to_le_bytes())
            .collect(),
        ..Answer::default()
    }
}

/// The same findings as the command's for this file.
pub(crate) fn read_file(file: &File, pieces: &Pieces, mono: bool, progress: &mut dyn FnMut(f64)) -> Answer {
    let plan = match Plan::new(settings(mono)) {
        Ok(plan) => plan,
        Err(error) => return Answer::refused(error.to_string()),
    };
    let recording = match read_recording_from(&Given::new(file, pieces), LONGEST_S) {
        Ok(recording) => recording,
        Err(error) => return refusal(&error),
    };
    progress(DECODED);
    let channels: Vec<&[f32]> = recording.channels.iter().map(Vec::as_slice).collect();
    let finding = match read(&channels, recording.rate_hz, &plan) {
        Ok(finding) => finding,
        Err(failure) => {
            return Answer::refused(format!("{}: {}", shown(file.name.as_ref()), not_read(&failure)));
        }
    };
    let path = Path::new(&file.name);
    let name = shown(Path::new(path.file_name().unwrap_or(path.as_os_str())));
    Answer {
        sentence: Some(wording::sentence(&finding)),
        place: Some(report::place(&finding)),
        notes: report::notes(&finding),
        html: Some(report::html(&finding, &name)),
        json: Some(report::json(&finding, &name)),
        rig: report::save("", &finding, "as measured").ok(),
        ..Answer::default()
    }
}

/// Why there is no finding, and what to do. Where the command names its options, the page names its own choice.
fn not_read(failure: &ReadFailure) -> String {
    match failure {
        ReadFailure::NotFound => format!(
            "the test signal isn't in it; check that it is the right recording, and {AS_CHOSEN}, or record closer and louder"
        ),
        ReadFailure::Faint => format!(
            "the test signal, or a part of it, is in it, but too faint to say anything; record closer, louder, or with less noise, or \
             check that it {AS_CHOSEN}"
        ),
        ReadFailure::Shape
        | ReadFailure::NotNumbers
        | ReadFailure::Silence
        | ReadFailure::TooShort { .. }
        | ReadFailure::TooLong { .. }
        | ReadFailure::Partial { .. } => failure.to_string(),
    }
}

/// The only setting of the signal on this page.
const AS_CHOSEN: &str = "was sent as chosen here (stereo, or for one mono source)";

/// Stores a finding as a feed in a rig file.
pub(crate) fn save(measured: &str, existing: &str, name: &str) -> Answer {
    match report::save_again(existing, measured, name) {
        Ok(rig) => Answer {
            rig: Some(rig),
            ..Answer::default()
        },
        Err(reason) => Answer::refused(reason.to_string()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_failure_speaks_of_what_the_page_does_not_have() {
        let all = [
            ReadFailure::Shape,
            ReadFailure::NotNumbers,
            ReadFailure::Silence,
            ReadFailure::TooShort {
                seconds: 3.0,
                needed_s: 20.0,
            },
            ReadFailure::TooLong { seconds: 4000.0 },
            ReadFailure::NotFound,
            ReadFailure::Partial {
                there: vec!["first marker"],
                missing: vec!["both lines"],
            },
            ReadFailure::Faint,
        ];
        for failure in all {
            let line = not_read(&failure);
            // Options, commands, and settings that only the command has.
            for foreign in ["--", "`", "sumproof", "settings", "option"] {
                assert!(!line.contains(foreign), "{line}");
            }
            let advises = matches!(failure, ReadFailure::NotFound | ReadFailure::Faint);
            assert_eq!(line.contains(AS_CHOSEN), advises, "{line}");
            assert!(!line.contains('\n') && !line.ends_with('.'), "{line}");
        }
    }
}
