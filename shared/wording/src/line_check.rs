//! A line check's findings, and the instructions before one.

use sumproof_core::line_check::{
    Answer, Arrival, Findings, Mode, Notice, PairFinding, Reception, Trust, Unknown,
};
use sumproof_core::routing::feed::Side;
use sumproof_core::routing::line::Polarity;

use crate::Name;
use crate::numbers::milliseconds;

/// Least delay, level difference and high-pass corner that are named.
const LATE_S: f64 = 0.000_15;
const UNEVEN_DB: f64 = 1.5;
const THIN_HZ: f64 = 40.0;

/// One sentence for the engineer. It asks for a change only if all parts of the signal agree on the fault.
#[must_use]
pub fn sentence(finding: &Findings) -> String {
    let arrivals = [finding.lines[0].arrival, finding.lines[1].arrival];
    let trust = finding.feeding.heard.trust();
    match arrivals {
        [Arrival::Yes, Arrival::No { .. }] => gone(Side::Right, trust),
        [Arrival::No { .. }, Arrival::Yes] => gone(Side::Left, trust),
        [Arrival::Yes, Arrival::Yes] => both(finding),
        [Arrival::Yes, _] => unsure(Side::Right),
        _ => unsure(Side::Left),
    }
}

fn gone(side: Side, trust: Option<Trust>) -> String {
    let other = match side {
        Side::Left => "right",
        Side::Right => "left",
    };
    let arrives = if trust == Some(Trust::Sure) {
        "arrives"
    } else {
        "seems to arrive"
    };
    format!(
        "Only my {other} line {arrives} here: is my {} line plugged in and open, and does this feed take it at all?",
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

/// Why there is no finding yet, and what to do about it.
fn not_yet(why: Unknown) -> &'static str {
    match why {
        Unknown::Moved => {
            "I can't tell yet what my lines do here, because the phone was moved: may I send the test once more, with the phone \
             laid down?"
        }
        Unknown::Cut => {
            "I can't tell yet what my lines do here, because the recording isn't whole: may I send the test once more?"
        }
        Unknown::DifferentWays => {
            "My lines arrive here by different ways, so I can't tell what they do to each other: may I send the test once more \
             with everything but this one loudspeaker muted, or record it at the desk?"
        }
        Unknown::Changing => {
            "I can't tell yet what my lines do here, because something changes my sound: may I send the test once more with all \
             effects off?"
        }
        Unknown::NothingPulled => {
            "I can't tell yet what my lines do here, because all passes sound alike: may I send the test once more and pull the \
             plugs in the pauses?"
        }
        Unknown::Noise | Unknown::Contradiction | Unknown::Clock | Unknown::Gain | Unknown::OneLine => {
            "Both my lines arrive here, but whether one is flipped can't be told: please don't sum them before I have sent the \
             test once more, closer to the loudspeaker or straight from the desk."
        }
    }
}

fn both(finding: &Findings) -> String {
    let (Some(pair), Answer::Known(heard)) = (finding.pair.as_ref(), finding.feeding.heard) else {
        return match finding.feeding.heard {
            Answer::Unknown(why) => not_yet(why).into(),
            Answer::Known(_) => not_yet(Unknown::Noise).into(),
        };
    };
    let disturbed = [(Notice::Moved, Unknown::Moved), (Notice::Cut, Unknown::Cut)]
        .into_iter()
        .find(|(notice, _)| finding.notices.contains(notice));
    if let Some((_, why)) = disturbed {
        return not_yet(why).into();
    }
    let sure = heard.trust == Trust::Sure;
    let mut faults = faults(pair);
    match heard.value {
        Reception::Difference if sure => {
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
        Reception::Difference => {
            "My two lines may cancel each other in this feed: may I send the test once more, closer to the \
                                  loudspeaker or straight from the desk, before anything is changed?"
                .into()
        }
        Reception::Apart if pair.polarity.value() == Some(Polarity::Flipped) => {
            let (is, ask) = if sure && pair.polarity.trust() == Some(Trust::Sure) {
                ("is", "please set that right before anything sums them.")
            } else {
                (
                    "may be",
                    "may I send the test once more before anything sums them?",
                )
            };
            faults.insert(0, format!("one of my two lines {is} flipped against the other"));
            format!("{}: {ask}", begin(&faults))
        }
        _ if !faults.is_empty() => format!("{}: can you even that out at the desk?", begin(&faults)),
        value => well(finding, pair, value),
    }
}

/// For no fault found: whether every possible fault would have been found.
fn well(finding: &Findings, pair: &PairFinding, value: Reception) -> String {
    let how = if value == Reception::Apart {
        "alike and apart"
    } else {
        "alike and are summed"
    };
    let mono = if finding.notices.contains(&Notice::PerhapsMono) {
        ", if the player keeps left and right apart"
    } else {
        ""
    };
    match finding.pair_trust() {
        Some(Trust::Sure) => format!("Both my lines arrive {how}: all is well here{mono}."),
        Some(Trust::Likely) => format!("Both my lines seem to arrive {how}: all may be well here{mono}."),
        None => {
            let open: Vec<&str> = [
                ("the delay", pair.delay_s.trust()),
                ("the level", pair.level_db.trust()),
                ("the low end", pair.corners_hz.trust()),
            ]
            .into_iter()
            .filter(|(_, trust)| trust.is_none())
            .map(|(name, _)| name)
            .collect();
            format!(
                "Neither of my lines {} flipped here, but {} between them can't be told: may I send the test once more, \
                 closer to the loudspeaker or straight from the desk?",
                if pair.polarity.trust() == Some(Trust::Sure) {
                    "is"
                } else {
                    "seems"
                },
                open.join(" and ")
            )
        }
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
    let mut faults = Vec::new();
    let is = |trust| if trust == Trust::Sure { "is" } else { "may be" };
    if let Some(level) = pair
        .level_db
        .known()
        .filter(|level| level.value.abs() >= UNEVEN_DB.max(level.within))
    {
        let soft = if level.value < 0.0 { "right" } else { "left" };
        faults.push(format!(
            "my {soft} line {} {:.1} dB softer than the other",
            is(level.trust),
            level.value.abs()
        ));
    }
    if let Some(delay) = pair
        .delay_s
        .known()
        .filter(|delay| delay.value.abs() >= LATE_S.max(delay.within))
    {
        let late = if delay.value > 0.0 { "right" } else { "left" };
        faults.push(format!(
            "my {late} line {} {} late",
            is(delay.trust),
            milliseconds(delay.value.abs())
        ));
    }
    if let Some(corners) = pair.corners_hz.known() {
        let [left, right] = corners.value;
        let thin = if right > left {
            (right, "right")
        } else {
            (left, "left")
        };
        if thin.0 >= THIN_HZ && thin.0 > 2.0 * left.min(right) {
            faults.push(format!(
                "my {} line {} thin below {:.0} Hz",
                thin.1,
                is(corners.trust),
                thin.0
            ));
        }
    }
    faults
}

const CAUTION: &str = "Caution: this is loud in monitors and in-ears that are turned up. Faders down, ears out, then bring it up slowly: it begins \
    with a soft steady tone of four seconds for that.";
const CLEAN: &str = "Use an empty, clean preset: no amplifier model, no effects. An amplifier model distorts a sweep, effects blur it.";
const PLUGS: &str = "One source feeds both lines: first leave both plugged; in the first pause unplug the right line; in the second \
    plug it again and unplug the left one. Phantom power off and the channel muted before a plug is moved.";

/// Instructions before a phone plays the signal or waits for it, and records.
#[must_use]
pub fn advice_to_phone(mode: Mode) -> Vec<&'static str> {
    let way = match mode {
        Mode::Stereo => "Left and right of the signal must go out on your left and right line.",
        Mode::Mono { .. } => PLUGS,
    };
    vec![
        CAUTION,
        CLEAN,
        way,
        "Lay the phone down where the sound arrives, at the wedge or on a table before the house, and don't move it or anything else \
         until it is done.",
    ]
}

/// Instructions before the signal is played.
#[must_use]
pub fn advice(mode: Mode) -> Vec<&'static str> {
    let mut advice = vec![CAUTION, CLEAN];
    match mode {
        Mode::Stereo => {
            advice
                .push("Play the file so that its left and right channel go out on your left and right line.");
        }
        Mode::Mono { .. } => advice.push(PLUGS),
    }
    advice.push(
        "Record what arrives (the desk's output, or a phone at the wedge) from before the start until after the end. Lay the phone \
         down, and don't move anything meanwhile.",
    );
    advice
}
