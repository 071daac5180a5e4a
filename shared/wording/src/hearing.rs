//! What the player hears now, what is recorded, and what a bounce would contain.

use sumproof_core::session::take::Pass;

use crate::Name;
use crate::numbers::duration;

/// The line check's signal is playing.
pub const TEST: &str = "The test signal goes out. Any key stops it.";
/// Nothing passes.
pub const HELD: &str = "Nothing passes: the line check holds your sound back.";
/// A loaded state switched the audition on, and the player has not confirmed it.
pub const LOADED: &str =
    "Stereo passes: the project was saved with the audition on. Click a feed to hear it.";
/// The host bounces or records, or hasn't been seen to play in real time.
pub const HELD_BACK: &str =
    "Stereo passes: the audition waits until the host plays in real time and doesn't record.";
/// Bypassed by the host.
pub const BYPASSED: &str = "Bypassed: stereo passes, nothing is measured.";
/// The normal case.
pub const STEREO: &str = "You are hearing stereo, untouched. Click a feed or press its key to hear what arrives there; F5 shows the worst from afar.";

/// The recording in progress: its pass, its future name if known, and its length so far, seconds.
///
/// ```
/// use sumproof_core::session::take::Pass;
/// use sumproof_wording::hearing::recording;
///
/// assert_eq!(recording(Pass::Full, Some("crunch"), 3.0), "Recording \u{2018}crunch\u{2019}, 3.0 s");
/// assert_eq!(recording(Pass::Wet, None, 3.0), "Recording the wet pass, 3.0 s");
/// ```
#[must_use]
pub fn recording(pass: Pass, name: Option<&str>, seconds: f64) -> String {
    let what = match (pass, name) {
        (Pass::Full, Some(name)) => format!("\u{2018}{name}\u{2019}"),
        (Pass::Full, None) => String::from("a take"),
        (half, _) => format!("the {} pass", half.name()),
    };
    format!("Recording {what}, {}", duration(seconds))
}

/// What a bounce would contain while a feed is auditioned. A real-time bounce in a host that reports neither bouncing
/// nor recording can't be distinguished from playing.
///
/// ```
/// use sumproof_wording::hearing::in_a_bounce;
///
/// assert_eq!(in_a_bounce(true, false), "a bounce would print it");
/// ```
#[must_use]
pub fn in_a_bounce(allowed: bool, matched: bool) -> String {
    let bounce = if allowed {
        "a bounce would print it"
    } else {
        "a bounce gets stereo, unless it runs in real time unannounced"
    };
    if matched {
        format!("at the loudness of stereo \u{b7} {bounce}")
    } else {
        bounce.into()
    }
}
