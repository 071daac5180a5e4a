//! The figures of a feed: as cells of a table, and as sentences.
//!
//! Tables are also printed on a terminal, so they use the hyphen-minus; a page or a picture replaces it by the
//! typographic minus.

use sumproof_core::score::board::Row;
use sumproof_core::score::outcome::Outcome;
use sumproof_core::score::scorer::FeedScore;
use sumproof_core::score::verdict::Verdict;
use sumproof_core::split::interval::Interval;

use crate::Name;
use crate::numbers::{self, decibels, hertz, signed};

/// For too little sound.
pub const NO_READING: &str = "no reading";
/// For a power that vanished.
pub const GONE: &str = "gone";
/// For a part that isn't in the sound.
pub const NOT_FOUND: &str = "none found";
/// Where only the wet is left.
pub const ONLY_WET: &str = "only wet";
/// Where no gain helps.
pub const NOTHING_ARRIVES: &str = "nothing arrives";

/// The outcome of `count` presets: `1 holds`, `2 hold`.
#[must_use]
pub fn how_many(count: usize, outcome: Outcome) -> String {
    let word = match (count, outcome) {
        (1, _) => outcome.name(),
        (_, Outcome::Holds) => "hold",
        (_, Outcome::Thins) => "thin",
        (_, Outcome::DropsOut) => "drop out",
    };
    format!("{count} {word}")
}

/// A signed number for a table, without a sign if it rounds to zero.
///
/// # Errors
/// The word for a number that isn't finite.
pub fn number(value: f64, decimals: usize) -> Result<String, &'static str> {
    if value.is_nan() {
        Err(NO_READING)
    } else if value == f64::NEG_INFINITY {
        Err(GONE)
    } else if value == f64::INFINITY {
        Err(ONLY_WET)
    } else {
        Ok(signed(value, decimals).replace(numbers::MINUS, "-"))
    }
}

/// The same, number or word.
#[must_use]
pub fn figure(value: f64, decimals: usize) -> String {
    number(value, decimals).unwrap_or_else(str::to_string)
}

/// A level change, dB with one decimal: `-3.0`, `+0.4`, `0.0`, or a word.
#[must_use]
pub fn change(db: Option<f64>) -> String {
    db.map_or_else(|| NOT_FOUND.into(), |db| figure(db, 1))
}

/// Appends the unit to a figure, but not to a word.
#[must_use]
pub fn in_db(figure: &str) -> String {
    if figure.ends_with(|c: char| c.is_ascii_digit()) {
        format!("{figure} dB")
    } else {
        figure.into()
    }
}

/// The change of the dry, as a range where its interval is too wide for a figure; at the floor of the estimate only a
/// bound is true.
#[must_use]
pub fn dry(score: &FeedScore) -> String {
    match (score.dry_db, score.dry) {
        (Some(db), Some(dry)) if dry.width() > NARROW_DB && !(score.dry_at_floor && dry.high <= db) => {
            between(&dry)
        }
        (Some(db), _) if score.dry_at_floor => at_least_down(db),
        (other, _) => change(other),
    }
}

/// A part that is down by at least this, dB (negative).
#[must_use]
pub fn at_least_down(db: f64) -> String {
    format!("at least {:.0} dB down", -db)
}

/// Widest interval that is printed as a single figure, dB.
const NARROW_DB: f64 = 6.0;

/// The change of the wet; as a range where its interval is too wide for a figure.
#[must_use]
pub fn wet(score: &FeedScore) -> String {
    open_wet(score).unwrap_or_else(|| change(score.wet_db))
}

/// The range of the wet's change, if it is too wide for a figure.
#[must_use]
pub fn open_wet(score: &FeedScore) -> Option<String> {
    score
        .wet
        .filter(|wet| wet.width() > NARROW_DB)
        .map(|wet| between(&wet))
}

/// The range of the balance shift, if it is too wide for a figure.
#[must_use]
pub fn open_balance(score: &FeedScore) -> Option<String> {
    score
        .balance
        .filter(|shift| shift.width() > NARROW_DB)
        .map(|shift| between(&shift))
}

/// Both ends of an interval; an inaudibly low end counts as open.
fn between(interval: &Interval) -> String {
    let open = interval.low < -40.0;
    match (open, interval.high.is_finite()) {
        (false, true) => format!("{} to {}", whole(interval.low), whole(interval.high)),
        (true, true) => format!("below {}", whole(interval.high)),
        (false, false) => format!("above {}", whole(interval.low)),
        (true, false) => "unknown".into(),
    }
}

/// A whole number with its sign; without one if it rounds to zero.
fn whole(value: f64) -> String {
    if value.round() == 0.0 {
        "0".into()
    } else {
        format!("{value:+.0}")
    }
}

/// For a wet that is there but whose interval is too wide for a figure.
#[must_use]
pub fn unknown_wet(score: &FeedScore) -> Option<&'static str> {
    (score.wet.is_some() && score.wet_db.is_none()).then_some("can't be told")
}

/// The balance shift; a bound where the dry is only a bound.
#[must_use]
pub fn balance(score: &FeedScore) -> String {
    if let Some(between) = open_balance(score) {
        return between;
    }
    match score.balance_shift_db {
        Some(db) if db == f64::NEG_INFINITY => "only dry".into(),
        Some(db) if score.dry_at_floor && db.is_finite() => format!("at least {db:+.1}"),
        None if score.dry_db.is_some() && score.wet_db.is_some() => "both gone".into(),
        None => "-".into(),
        other => change(other),
    }
}

/// The gain to make up, dB.
#[must_use]
pub fn makeup(score: &FeedScore) -> String {
    if score.makeup_db == f64::INFINITY {
        return NOTHING_ARRIVES.into();
    }
    change(Some(score.makeup_db))
}

/// A feed's name; for a feed with a fault, with the line on which it is worse.
#[must_use]
pub fn label(row: &Row, name: &str) -> String {
    match row.worse {
        Some(side) => name.replace("one line", &format!("{} line", side.name())),
        None => name.into(),
    }
}

/// A feed as a sentence, for screen readers and tooltips.
///
/// ```
/// use sumproof_core::routing::feed::FeedId;
/// use sumproof_core::score::board::Row;
///
/// let row = Row::empty(FeedId::MonoWedge);
/// assert_eq!(sumproof_wording::scores::spoken(&row, "mono wedge"), "mono wedge: no reading");
/// ```
#[must_use]
pub fn spoken(row: &Row, name: &str) -> String {
    let worse = row.worse.map_or_else(String::new, |side| {
        format!(" (worse where it is the {} line)", side.name())
    });
    let Some(score) = row.score else {
        return format!("{name}: {NO_READING}");
    };
    let outcome = match row.verdict {
        Some(Verdict::Likely { word, other }) => {
            format!("probably {}, or it {}", word.name(), other.name())
        }
        _ => word(row),
    };
    let mut said = format!(
        "{name}{worse}: {outcome}, {}, level {} LU",
        changes(&score),
        decibels(score.level_lu),
    );
    if let Some(tone) = score.tone_db {
        said += &format!(", tone change {tone:.1} dB");
    }
    if let Some(dip) = score.dip {
        said += &format!(", deepest dip {} dB at {}", decibels(dip.depth_db), hertz(dip.hz));
    }
    if score.makeup_db.abs() >= 0.05 && score.makeup_db.is_finite() {
        said += &format!(", {} dB to make up at the desk", signed(score.makeup_db, 1));
    }
    said
}

/// A feed's effect on dry and wet, in one line: `dry 20 dB down or more, wet \u{2212}3.0 dB`.
#[must_use]
pub fn changes(score: &FeedScore) -> String {
    let change = |value: Option<f64>, at_floor: bool| match value {
        None => String::from("none"),
        Some(db) if at_floor => at_least_down(db),
        Some(db) if db == f64::NEG_INFINITY => String::from(GONE),
        Some(db) => format!("{} dB", signed(db, 1)),
    };
    format!(
        "dry {}, wet {}",
        change(score.dry_db, score.dry_at_floor),
        unknown_wet(score).map_or_else(|| change(score.wet_db, false), String::from)
    )
}

/// The tone change of a feed, dB rms; `None` where it can't be told.
#[must_use]
pub fn tone(score: &FeedScore) -> Option<String> {
    score.tone_db.map(|db| format!("{db:.1}"))
}

/// The change of the dry's partials against each other in a feed, dB rms; `None` where it can't be told.
#[must_use]
pub fn partials(score: &FeedScore) -> Option<String> {
    let partials = score.colour.partials_db?;
    Some(format!("{:.1}", partials.likely))
}

/// An explanation of a column of the board, by its heading.
#[must_use]
pub fn column(heading: &str) -> &'static str {
    match heading {
        "dry" => {
            "Change of your direct sound in that feed against stereo, dB, after the gain a fader can give back."
        }
        "wet" => {
            "Change of your effects in that feed against stereo, dB, after the gain a fader can give back."
        }
        "LU" => {
            "How much louder or quieter it arrives than stereo, K-weighted (ITU-R BS.1770), with nothing made up."
        }
        "tone" => "How uneven the feed makes the tone: rms over the third-octave bands, dB.",
        "deepest dip" => {
            "The deepest hole that the feed makes in the sound, against its own level, and where."
        }
        _ => "",
    }
}

/// The worst outcome of a feed in a phrase, to follow the present one.
#[must_use]
pub fn at_worst(worst: Outcome) -> String {
    format!(", at worst in this phrase: {}", worst.name())
}

/// Where the figures leave more than two outcomes open.
pub const CANNOT_TELL: &str = "can\u{2019}t tell";

/// The outcome of a feed in a word: without mark where the whole interval gives it, with a question mark where it is
/// the likelier of two.
#[must_use]
pub fn word(row: &Row) -> String {
    match (row.score, row.verdict, row.outcome) {
        (None, ..) => NO_READING.into(),
        (_, Some(Verdict::Likely { word, .. }), _) => format!("{}?", word.name()),
        (_, Some(Verdict::Plain(word)), _) | (_, None, Some(word)) => word.name().into(),
        (_, Some(Verdict::CannotTell), _) | (_, None, None) => CANNOT_TELL.into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_in_a_table_have_a_sign_or_are_a_word() {
        assert_eq!(figure(-3.01, 1), "-3.0");
        assert_eq!(figure(0.44, 1), "+0.4");
        assert_eq!(figure(-0.04, 1), "0.0");
        assert_eq!(figure(f64::NEG_INFINITY, 1), GONE);
        assert_eq!(figure(f64::INFINITY, 1), ONLY_WET);
        assert_eq!(figure(f64::NAN, 1), NO_READING);
        assert_eq!(change(None), NOT_FOUND);
        assert_eq!(in_db("-3.0"), "-3.0 dB");
        assert_eq!(in_db(GONE), GONE);
    }
}
