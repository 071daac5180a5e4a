//! The relation of the two channels: delay, polarity, correlation, level.

use sumproof_core::alignment::delay::ChannelDelay;
use sumproof_core::routing::line::Polarity;
use sumproof_core::session::reading::Reading;

use crate::numbers::milliseconds;
use crate::scores::NO_READING;

/// Shortest delay that is named, seconds: below it channels count as on time.
const ON_TIME_S: f64 = 0.000_02;

/// The single delay between the channels with its polarity and confidence, or that there is none.
///
/// ```
/// assert!(sumproof_wording::channels::delay(None).starts_with("no single delay"));
/// ```
#[must_use]
pub fn delay(found: Option<ChannelDelay>) -> String {
    let Some(delay) = found else {
        return "no single delay; they are too different to tell, or one tone only".into();
    };
    let late = if delay.delay_s.abs() < ON_TIME_S {
        "no delay".into()
    } else {
        let side = if delay.delay_s > 0.0 { "right" } else { "left" };
        format!("the {side} channel {} late", milliseconds(delay.delay_s.abs()))
    };
    // An average can't distinguish an inverted channel from a strong wet whose channels work against each other, so
    // neither is claimed.
    let polarity = match delay.polarity {
        Polarity::Normal => "same polarity",
        Polarity::Flipped => "opposite signs: an inverted channel, or a wet that works against itself",
    };
    let sure = delay.confidence.clamp(0.0, 1.0) * 100.0;
    format!("{late}, {polarity} ({sure:.0}\u{a0}% sure)")
}

/// The gaps of a take; `None` without any.
///
/// ```
/// use sumproof_wording::channels::gaps;
/// assert_eq!(gaps(0), None);
/// assert_eq!(gaps(2).unwrap(), "interrupted 2 times: frames are missing there");
/// ```
#[must_use]
pub fn gaps(count: u64) -> Option<String> {
    match count {
        0 => None,
        1 => Some("interrupted once: frames are missing there".into()),
        _ => Some(format!("interrupted {count} times: frames are missing there")),
    }
}

/// The relation of a reading's channels, in a sentence.
#[must_use]
pub fn between(reading: &Reading) -> String {
    if reading.correlation.is_none() {
        return format!("Between the channels: {NO_READING}.");
    }
    format!("Between the channels: {}.", delay(reading.delay))
}

/// The level of the left channel over the right one, dB.
#[must_use]
pub fn level_difference(db: Option<f64>) -> String {
    match db {
        None => NO_READING.into(),
        Some(db) if db == f64::INFINITY => "the right channel is silent".into(),
        Some(db) if db == f64::NEG_INFINITY => "the left channel is silent".into(),
        Some(db) if db.abs() < 0.005 => "channels equally loud".into(),
        Some(db) => {
            let (louder, other) = if db > 0.0 {
                ("left", "right")
            } else {
                ("right", "left")
            };
            format!("{louder} channel {:.2} dB above {other}", db.abs())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_delay_is_said_with_its_side_its_polarity_and_how_sure_it_is() {
        let found = |delay_s, polarity| {
            delay(Some(ChannelDelay {
                delay_s,
                polarity,
                confidence: 0.93,
            }))
        };
        assert_eq!(
            found(0.012, Polarity::Normal),
            "the right channel 12.00 ms late, same polarity (93\u{a0}% sure)"
        );
        assert!(found(-0.001, Polarity::Normal).starts_with("the left channel 1.00 ms late"));
        let flipped = found(0.0, Polarity::Flipped);
        assert!(
            flipped.starts_with("no delay, opposite signs: an inverted channel, or a wet"),
            "{flipped}"
        );
    }

    #[test]
    fn a_level_difference_names_the_louder_channel() {
        assert_eq!(level_difference(Some(-6.0)), "right channel 6.00 dB above left");
        assert_eq!(
            level_difference(Some(f64::INFINITY)),
            "the right channel is silent"
        );
    }
}
