//! The sound that the figures describe.

use sumproof_core::session::span::{Over, PhraseNow};

use crate::numbers::duration;

/// A length in whole seconds, or in minutes and seconds from a minute on.
fn whole(seconds: f64) -> String {
    let seconds = seconds.max(1.0).round();
    if seconds < 60.0 {
        format!("{seconds:.0} s")
    } else {
        duration(seconds)
    }
}

/// The sound that the figures describe: `your last phrase, 8 s`. Empty before anything was played.
///
/// ```
/// use sumproof_core::session::span::{Over, PhraseNow};
/// use sumproof_wording::phrase::of_what;
///
/// let phrase = PhraseNow {
///     playing: false,
///     seconds: 8.2,
///     is_cut: false,
///     number: 1,
/// };
/// assert_eq!(of_what(&phrase, Over::Phrase), "your last phrase, 8 s");
/// assert_eq!(of_what(&phrase, Over::Seconds(3.0)), "the last 3 s of your last phrase");
/// let phrase = PhraseNow { playing: true, ..phrase };
/// assert_eq!(of_what(&phrase, Over::Phrase), "this phrase");
/// ```
#[must_use]
pub fn of_what(phrase: &PhraseNow, over: Over) -> String {
    match (over, phrase.playing) {
        _ if phrase.seconds <= 0.0 => String::new(),
        // No running length while it is played.
        (Over::Phrase, true) if phrase.is_cut => String::from("the last half minute"),
        (Over::Phrase, true) => String::from("this phrase"),
        (Over::Phrase, false) if phrase.is_cut => {
            format!("the last {} of your last phrase", whole(phrase.seconds))
        }
        (Over::Phrase, false) => format!("your last phrase, {}", whole(phrase.seconds)),
        (Over::Seconds(over_s), true) => format!("the last {}", whole(over_s)),
        (Over::Seconds(over_s), false) => format!("the last {} of your last phrase", whole(over_s)),
    }
}
