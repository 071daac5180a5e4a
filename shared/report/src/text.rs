//! Figures and names as people read them.

use sumproof_core::alignment::delay::ChannelDelay;
use sumproof_core::routing::line::Polarity;
use sumproof_core::score::board::Row;
use sumproof_core::score::outcome::Outcome;
use sumproof_core::score::scorer::FeedScore;
use sumproof_core::split::interval::Interval;
use sumproof_core::split::{Method, Split};
use sumproof_wording::Name;

/// Said where there is too little sound.
pub const NO_READING: &str = "no reading";
/// Said of a power that vanished.
pub const GONE: &str = "gone";
/// Said of a part that isn't in the sound.
pub const NOT_FOUND: &str = "none found";
/// Said where only the wet is left.
pub const ONLY_WET: &str = "only wet";
/// Said where no gain helps.
pub const NOTHING_ARRIVES: &str = "nothing arrives";

/// A level change, dB with one decimal: `-3.0`, `+0.4`, `0.0`, or a word.
pub fn change(db: Option<f64>) -> String {
    match db {
        None => NOT_FOUND.into(),
        Some(db) => signed(db, 1).unwrap_or_else(|word| word.into()),
    }
}

/// A signed number, with no sign on what rounds to zero; the word of a number that isn't finite.
pub fn signed(value: f64, decimals: usize) -> Result<String, &'static str> {
    if value.is_nan() {
        return Err(NO_READING);
    }
    if value == f64::NEG_INFINITY {
        return Err(GONE);
    }
    if value == f64::INFINITY {
        return Err(ONLY_WET);
    }
    let half = 0.5 * 10f64.powi(-(decimals as i32));
    if value.abs() < half {
        return Ok(format!("{:.decimals$}", 0.0));
    }
    Ok(format!("{value:+.decimals$}"))
}

/// The change of the dry; at the floor of the estimate only a bound is true.
pub fn dry(score: &FeedScore) -> String {
    match score.dry_db {
        Some(db) if score.dry_at_floor => format!("at least {:.0} dB down", -db),
        other => change(other),
    }
}

/// A figure is printed by itself when its ends are no further apart, dB.
const NARROW_DB: f64 = 6.0;

/// The change of the wet; between its ends where it isn't known well enough for a figure.
pub fn wet(score: &FeedScore) -> String {
    open_wet(score).unwrap_or_else(|| change(score.wet_db))
}

/// Between what the wet's change lies, where that is too much for a figure.
pub fn open_wet(score: &FeedScore) -> Option<String> {
    score
        .wet
        .filter(|wet| wet.width() > NARROW_DB)
        .map(|wet| between(&wet))
}

/// Between what the balance shift lies, where that is too much for a figure.
pub fn open_balance(score: &FeedScore) -> Option<String> {
    score
        .balance
        .filter(|shift| shift.width() > NARROW_DB)
        .map(|shift| between(&shift))
}

/// Both ends of a figure; what is further down than anybody hears counts as open.
fn between(interval: &Interval) -> String {
    let open = interval.low < -40.0;
    match (open, interval.high.is_finite()) {
        (false, true) => format!("{:.0} to {:+.0}", interval.low, interval.high),
        (true, true) => format!("below {:+.0}", interval.high),
        (false, false) => format!("above {:+.0}", interval.low),
        (true, false) => "unknown".into(),
    }
}

/// The balance shift; a bound where the dry is one.
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
pub fn makeup(score: &FeedScore) -> String {
    if score.makeup_db == f64::INFINITY {
        return NOTHING_ARRIVES.into();
    }
    change(Some(score.makeup_db))
}

/// The feed's name; where a line has a fault, with the one that was the worse to have it.
pub fn feed(row: &Row, name: &str) -> String {
    match row.worse {
        Some(side) => name.replace("one line", &format!("{} line", side.name())),
        None => name.into(),
    }
}

/// The stroke that stands before an outcome: unbroken, dashed, or cut in the middle.
pub fn stroke(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Holds => "────",
        Outcome::Thins => "─ ─ ",
        Outcome::DropsOut => "─  ─",
    }
}

/// Between what an estimate's wet over dry lies, in words; `None` where dry and wet were measured.
pub fn range(split: &Split) -> Option<String> {
    let [low, high] = split.wet_over_dry_range_db()?;
    Some(match (low.is_finite(), high.is_finite()) {
        (true, true) => format!("between {low:+.1} and {high:+.1} dB"),
        (true, false) => format!("{low:+.1} dB or more"),
        (false, true) => format!("{high:+.1} dB or less"),
        (false, false) => "how near can't be told".into(),
    })
}

/// How dry and wet were told apart, and what that can't do.
pub fn method(method: Method) -> &'static str {
    match method {
        Method::Estimated => {
            "estimated: what both channels share counts as dry (a mono reverb too), the rest as wet (double-tracked \
             parts too); of a dry that cancels it sees no more than 20 dB"
        }
        Method::TwoPass => "two-pass: from one take with the effects off and one with the dry off",
        Method::SideChain => {
            "side-chain: what follows the dry input within the split time counts as dry, the rest as wet"
        }
    }
}

/// The delay between the channels, or that there is none to name.
pub fn delay(found: Option<ChannelDelay>) -> String {
    let Some(delay) = found else {
        return "no single delay".into();
    };
    let flipped = delay.polarity == Polarity::Flipped;
    let milliseconds = delay.delay_s * 1000.0;
    // A hundredth of a millisecond is half a sample.
    let late = if milliseconds.abs() < 0.01 {
        "none".to_string()
    } else {
        let side = if milliseconds > 0.0 { "right" } else { "left" };
        format!("{side} channel {:.2} ms late", milliseconds.abs())
    };
    // An average can't tell an inverted channel from a strong wet whose channels work against each other, so neither is
    // claimed.
    let polarity = if flipped {
        "; what the channels share has opposite signs: an inverted channel, or a wet that works against itself"
    } else {
        ""
    };
    format!("{late}, confidence {:.2} of 1{polarity}", delay.confidence)
}

/// Level of the left over the right channel, in words.
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
