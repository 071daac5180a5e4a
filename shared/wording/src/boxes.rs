//! The boxes between board and desk: points for and against one.

use sumproof_core::dsp::db;
use sumproof_core::routing::boxes::{CREST_DB, Choice, DeskInput, LOW_E_HZ, Merit, Peaks, Trouble};

use crate::numbers::hertz;
use crate::scores::{figure, in_db};

/// A point against a box, as a clause to follow 'it'.
#[must_use]
pub fn trouble(trouble: Trouble) -> String {
    match trouble {
        Trouble::PhantomOnOutputs => {
            "lets phantom power, which is on, reach your outputs: have it switched off first".into()
        }
        Trouble::PhantomUnknown => {
            "lets phantom power reach your outputs: make sure it is off before you plug".into()
        }
        Trouble::PhantomMissing => "needs phantom power, and it is off".into(),
        Trouble::PhantomToAsk => {
            "needs phantom power: ask for it, and switch it on only after plugging".into()
        }
        Trouble::Hum => "does not isolate, and the supplies differ: hum".into(),
        Trouble::HumPossible => {
            "does not isolate: may hum where stage and desk are on different supplies".into()
        }
        Trouble::LinesDiffer => {
            "makes the two lines differ, which hurts what both carry wherever they are added".into()
        }
        Trouble::Flipped => "has one line flipped: what both carry cancels wherever they are added".into(),
        Trouble::Unplugged => "has a line unplugged".into(),
        Trouble::TooQuiet { level_dbu } => {
            format!("arrives at {level_dbu:+.0} dBu, too quiet for a line input: ask for a mic input")
        }
        Trouble::NeedsPad { peaks } => format!(
            "brings peaks of {:+.1} dBu to a mic input: pad in{}",
            peaks.dbu,
            taken(peaks)
        ),
        Trouble::Noise { over_noise_db } => {
            format!("hisses: loud playing is only {over_noise_db:.0} dB over the noise")
        }
        Trouble::LowEnd { corner_hz } => {
            let low_e = 1.0 / (1.0 + (corner_hz / LOW_E_HZ).powi(2));
            format!(
                "rolls the low end off at {corner_hz:.0} Hz: {:.1} dB off the low E",
                -db::from_power(low_e)
            )
        }
        Trouble::Late { delay_s } => format!("arrives {:.1} ms late", 1000.0 * delay_s),
        Trouble::Radio => "needs free radio channels and full batteries".into(),
    }
}

/// Whether an input needs its pad; with `None` the level is not known.
///
/// ```
/// use sumproof_core::routing::boxes::{DeskInput, Source};
/// use sumproof_wording::boxes::pad;
///
/// let peaks = Source::default().peaks();
/// assert_eq!(pad(DeskInput::Mic, Some(peaks)), "YES (peaks taken as 12 dB over rms)");
/// assert_eq!(pad(DeskInput::Mic, None), "watch the peaks; ask me");
/// ```
#[must_use]
pub fn pad(input: DeskInput, peaks: Option<Peaks>) -> String {
    match (input, peaks) {
        (DeskInput::Line, _) => "no: a line input".into(),
        (DeskInput::Mic, None) => "watch the peaks; ask me".into(),
        (DeskInput::Mic, Some(peaks)) => {
            format!("{}{}", if peaks.want_pad() { "YES" } else { "no" }, taken(peaks))
        }
    }
}

/// The assumption behind the peaks, if they were not stated.
fn taken(peaks: Peaks) -> String {
    if peaks.assumed {
        format!(" (peaks taken as {CREST_DB:.0} dB over rms)")
    } else {
        String::new()
    }
}

/// A point in favour of a box, as a clause to follow 'it'.
///
/// ```
/// use sumproof_core::routing::boxes::Merit;
/// use sumproof_wording::boxes;
///
/// assert_eq!(format!("It {}.", boxes::merit(Merit::FullLowEnd)), "It keeps the whole low end.");
/// ```
#[must_use]
pub fn merit(merit: Merit) -> &'static str {
    match merit {
        Merit::Isolates => "isolates: a ground difference stays out of the sound",
        Merit::BlocksPhantom => "keeps phantom power away from your outputs",
        Merit::NoSupply => "needs no power",
        Merit::Alike => "makes both lines alike, so that their sum is safe",
        Merit::FullLowEnd => "keeps the whole low end",
        Merit::LineLevel => "arrives at line level",
    }
}

/// The differences between the two lines, one sentence each.
#[must_use]
pub fn differences(choice: &Choice) -> Vec<String> {
    let pair = &choice.pair;
    let [left, right] = &choice.candidate.lines;
    match (left.unplugged, right.unplugged) {
        (true, true) => return vec!["Nothing arrives: both lines are unplugged.".into()],
        (true, false) => return vec!["Only the right line arrives; the left is unplugged.".into()],
        (false, true) => return vec!["Only the left line arrives; the right is unplugged.".into()],
        (false, false) => {}
    }
    let mut said = Vec::new();
    let louder = |db: f64| {
        if db > 0.0 {
            ("left", "right")
        } else {
            ("right", "left")
        }
    };
    if pair.level_difference_db.abs() > 0.05 {
        let (more, less) = louder(pair.level_difference_db);
        said.push(format!(
            "The {more} line is {:.1} dB louder than the {less}: the mix leans, and what the {less} line alone carries sinks.",
            pair.level_difference_db.abs()
        ));
    }
    if pair.one_flipped {
        said.push(
            "One line is flipped: where they are added, what both carry cancels and the effects are left."
                .into(),
        );
    }
    if let Some(hz) = pair.first_notch_hz {
        let (late, _) = louder(-pair.right_late_s);
        said.push(format!(
            "The {late} line is {:.1} ms late: where they are added, what both carry is hollow from {} up.",
            1000.0 * pair.right_late_s.abs(),
            hertz(hz)
        ));
    }
    if pair.low_e_phase_deg.abs() > 1.0 {
        said.push(format!(
            "At the low E ({LOW_E_HZ:.0} Hz) the lines are {:.0} degrees apart from their low-end roll-off.",
            pair.low_e_phase_deg.abs()
        ));
    }
    if said.is_empty() {
        return vec!["Nothing: what both carry adds up whole wherever the lines are added.".into()];
    }
    let at = |db: f64| in_db(&figure(db, 1));
    said.push(format!(
        "Where they are added, what both carry changes by {} at the low E and, the delay aside, {} in the middle.",
        at(pair.low_e_db),
        at(pair.middle_db)
    ));
    said
}
