//! Notices, and reasons for unknown answers: ids for programs, and words.

use sumproof_core::line_check::{Findings, Mode, Notice, Unknown};

const START_MISSING: &str = "The recording began late: the marker at the start is missing.";
const END_MISSING: &str = "The recording ended early: the marker at the end is missing.";
const CLOCK_UNKNOWN: &str = "The clocks of player and recorder could not be compared, so no delay is told.";
const GAIN_MOVED: &str = "An automatic gain (or clipping) treated loud and soft parts differently; the level is taken from the parts in which both \
    lines sound at once.";
const GAIN_UNKNOWN: &str = "An automatic gain (or clipping) treated loud and soft parts differently, and no part in which both lines sound at \
    once is clear enough to set that right: the level is not known.";
const GAIN_UNHEARD: &str = "Noise hides whether an automatic gain treated loud and soft parts differently: the level is taken from the parts in \
    which both lines sound at once, as far as those tell it.";
const DISTORTED: &str = "A lot of distortion: turn down, or take the amplifier model out of the preset.";
const DIFFERENT_WAYS: &str = "The lines arrive by different ways, and the recording can't tell which these are: two loudspeakers (stand at the wedge, and \
    mute the other one), sound from elsewhere (mute the PA, or record the desk), or a reverb or chorus that is on (switch \
    effects off).";
const CHANGING: &str = "The parts of the signal don't add up to each other, though all of them come in time: a chorus or another moving effect is \
    on (switch effects off), the phone was held in the hand (lay it down), or the recorder suppresses noise (use one that \
    doesn't, or come closer).";
const UNSTEADY: &str = "The parts of the signal don't quite add up to each other: the phone was held in the hand (lay it down), an effect is on, or \
    the recorder codes coarsely or suppresses noise. What is told here is what all of them agree on.";
const SWAYED: &str = "The phone moved a little while it recorded, as it does in a hand: lay it down and repeat. What is told here is what all parts \
    agree on.";
const MOVED: &str = "The phone was moved while it recorded: lay it down and repeat.";
const CUT: &str = "Sounds come earlier or later than they should: a piece of the recording is missing or comes twice, or the phone was put \
    elsewhere in between. Lay it down, close other apps, and repeat.";
const CONTRADICTION: &str =
    "The parts of the signal contradict each other: come closer or record at the desk, and repeat.";
const NOTHING_PULLED: &str = "All three passes sound alike, as if no plug had been pulled: unplug the right line in the first pause; in the second plug it \
    again and unplug the left one. (Two equal lines sound so too where an automatic gain is on: switch it off.)";
const PERHAPS_MONO: &str = "Both lines are equal as far as this recording tells. A player that mixes left and right to one would sound the same: make \
    sure that it plays stereo (with one line unplugged, half of the signal must be gone).";
const FAINT: &str = "The signal is fainter than the noise: come closer, or turn it up, and repeat.";
const SEVERAL_SIGNALS: &str =
    "There is more than one test signal in this recording: the last whole one is read.";
const SWAPPED: &str =
    "The recording has your right line on its left channel and your left line on its right one.";
const LOW_END_ONLY: &str = "Only the low end arrives: a subwoofer.";

/// Stable id for programs, and the words.
pub(super) fn notice(finding: &Findings, notice: Notice) -> (&'static str, String) {
    let (name, words): (&str, &str) = match notice {
        Notice::OtherRate => return ("other-rate", other_rate(finding)),
        Notice::OtherLength | Notice::OtherMode => {
            let name = if notice == Notice::OtherMode {
                "other-mode"
            } else {
                "other-length"
            };
            return (name, other_settings(finding));
        }
        Notice::StartMissing => ("start-missing", START_MISSING),
        Notice::EndMissing => ("end-missing", END_MISSING),
        Notice::ClockUnknown => ("clock-unknown", CLOCK_UNKNOWN),
        Notice::GainMoved => ("gain-moved", GAIN_MOVED),
        Notice::GainUnknown => ("gain-unknown", GAIN_UNKNOWN),
        Notice::GainUnheard => ("gain-unheard", GAIN_UNHEARD),
        Notice::Distorted => ("distorted", DISTORTED),
        Notice::DifferentWays => ("different-ways", DIFFERENT_WAYS),
        Notice::Changing => ("changing", CHANGING),
        Notice::Unsteady => ("unsteady", UNSTEADY),
        Notice::Swayed => ("swayed", SWAYED),
        Notice::Moved => ("moved", MOVED),
        Notice::Cut => ("cut", CUT),
        Notice::Contradiction => ("contradiction", CONTRADICTION),
        Notice::NothingPulled => ("nothing-pulled", NOTHING_PULLED),
        Notice::PerhapsMono => ("perhaps-mono", PERHAPS_MONO),
        Notice::Faint => ("faint", FAINT),
        Notice::SeveralSignals => ("several-signals", SEVERAL_SIGNALS),
        Notice::Swapped => ("swapped", SWAPPED),
        Notice::LowEndOnly => ("low-end-only", LOW_END_ONLY),
    };
    (name, words.into())
}

fn other_rate(finding: &Findings) -> String {
    let said_hz = finding.rate_hz / finding.speed;
    let khz = |hz: f64| format!("{}", (hz / 10.0).round() / 100.0);
    format!(
        "The file says {} kHz, but the signal in it runs at {} kHz, and is read so. If it was the player that ran at a wrong speed, \
         every delay is {:.1} % {} than told.",
        khz(said_hz),
        khz(finding.rate_hz),
        100.0 * (finding.speed - 1.0).abs(),
        if finding.speed < 1.0 { "shorter" } else { "longer" }
    )
}

fn other_settings(finding: &Findings) -> String {
    let way = match finding.mode {
        Mode::Stereo => "left and right apart".to_owned(),
        Mode::Mono { pause_s } => format!("one mono source, with pauses of {pause_s:.1} s"),
    };
    format!(
        "It is another signal than was asked for, and is read as what it is: {way}, sweeps of {:.2} s.",
        finding.sweep_s
    )
}

/// Stable id for programs, and the words.
pub(super) fn unknown(why: Unknown) -> (&'static str, &'static str) {
    match why {
        Unknown::Noise => ("noise", "too little of it stands out of the noise"),
        Unknown::Contradiction => ("contradiction", "the parts of the signal contradict each other"),
        Unknown::Moved => ("moved", "the phone was moved"),
        Unknown::Cut => ("cut", "the recording isn't whole"),
        Unknown::DifferentWays => ("different-ways", "the lines arrive by different ways"),
        Unknown::Changing => ("changing", "the sound changed meanwhile"),
        Unknown::NothingPulled => ("nothing-pulled", "no plug was pulled"),
        Unknown::Clock => ("clock", "the clocks could not be compared"),
        Unknown::Gain => ("gain", "an automatic gain moved"),
        Unknown::OneLine => ("one-line", "only one line arrives"),
    }
}
