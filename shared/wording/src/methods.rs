//! How dry and wet were told apart, and how reliably.

use sumproof_core::session::reading::{AskFor, Reading};
use sumproof_core::split::kind::PresetKind;
use sumproof_core::split::{Method, Split};

/// A method's way of telling dry and wet apart, and its limits.
///
/// ```
/// use sumproof_core::split::Method;
///
/// assert!(sumproof_wording::methods::limits(Method::TwoPass).starts_with("two-pass: "));
/// ```
#[must_use]
pub fn limits(method: Method) -> &'static str {
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

/// The range of an estimate's wet over dry; `None` where dry and wet were measured.
#[must_use]
pub fn range(split: &Split) -> Option<String> {
    let [low, high] = split.wet_over_dry_range_db()?;
    Some(match (low.is_finite(), high.is_finite()) {
        (true, true) => format!("between {low:+.1} and {high:+.1} dB"),
        (true, false) => format!("{low:+.1} dB or more"),
        (false, true) => format!("{high:+.1} dB or less"),
        (false, false) => "how near can't be told".into(),
    })
}

/// How dry and wet were told apart, how reliable that is, and their ratio: a sentence.
#[must_use]
pub fn told_apart(reading: &Reading) -> String {
    let how = match reading.method {
        Method::Estimated => match reading.wet_over_dry_db.and(reading.wet_over_dry_range_db) {
            Some(range) if range.iter().any(|db| db.is_finite()) => {
                format!("estimated: {} is possible", span(range))
            }
            Some(_) => String::from("estimated; how near can\u{2019}t be told"),
            None => String::from("estimated"),
        },
        Method::TwoPass => String::from("from two passes, effects off and dry off"),
        Method::SideChain => String::from("from the dry signal on the side-chain"),
    };
    match reading.wet_over_dry_db {
        None => format!("Dry and wet: no reading ({how})."),
        Some(db) if db <= -40.0 => format!("No wet found ({how})."),
        Some(db) if db >= 40.0 => format!("No dry found ({how})."),
        Some(db) if db <= 0.0 => format!("In stereo the wet is {:.1} dB below the dry ({how}).", -db),
        Some(db) => format!("In stereo the wet is {db:.1} dB above the dry ({how})."),
    }
}

/// An explanation of a kind of preset for choosing it. A sentence.
#[must_use]
pub fn explained(kind: PresetKind) -> &'static str {
    match kind {
        PresetKind::NotSaid => "The sound alone tells: some words stay open.",
        PresetKind::Centre => {
            "One guitar, equally loud left and right; all that differs between the channels is effect."
        }
        PresetKind::OneSide => "One guitar, louder or only on one side.",
        PresetKind::TwoAmplifiers => "One performance through two amplifiers or cabinets, one to each side.",
        PresetKind::TwoTakes => "The part played twice, one to each side.",
        PresetKind::LateCopy => "One guitar, and a copy of it some milliseconds late on the other side.",
        PresetKind::NoDry => {
            "A tremolo, auto-pan, phaser or rotary takes all of it: there is no dry by itself."
        }
    }
}

/// What the player could do to get a plain verdict. A sentence.
///
/// ```
/// use sumproof_core::session::reading::AskFor;
///
/// assert!(sumproof_wording::methods::ask(AskFor::MutedEnd).contains("let it ring"));
/// ```
#[must_use]
pub fn ask(ask: AskFor) -> &'static str {
    match ask {
        AskFor::Kind => {
            "A word here is open until you say what the preset is: one dry, two amplifiers, two takes."
        }
        AskFor::MutedEnd => {
            "To know how the wet lies: stop the strings at the end of a phrase and let it ring for two seconds."
        }
        AskFor::DryPass => {
            "Nothing less than a pass with the effects off tells the rest: record a dry and a full pass."
        }
    }
}

/// A range of wet over dry, dB; an open end is left out.
fn span([least, most]: [f64; 2]) -> String {
    let place = |db: f64| {
        let whole = db.round();
        if whole < 0.0 {
            format!("{} dB below", -whole)
        } else if whole > 0.0 {
            format!("{whole} dB above")
        } else {
            String::from("as much")
        }
    };
    match (least.is_finite(), most.is_finite()) {
        (true, true) if least.round() < 0.0 && most.round() < 0.0 => {
            format!("{} to {} dB below", -least.round(), -most.round())
        }
        (true, true) if least.round() > 0.0 => format!("{} to {} dB above", least.round(), most.round()),
        (true, true) => format!("{} to {}", place(least), place(most)),
        (true, false) => format!("{} or more", place(least)),
        _ => format!("{} or less", place(most)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn estimated(db: f64, range: [f64; 2]) -> String {
        told_apart(&Reading {
            wet_over_dry_db: Some(db),
            wet_over_dry_range_db: Some(range),
            ..Reading::default()
        })
    }

    #[test]
    fn an_estimate_says_how_sure_it_is() {
        let said = estimated(-6.0, [-11.0, -1.2]);
        assert_eq!(
            said,
            "In stereo the wet is 6.0 dB below the dry (estimated: 11 to 1 dB below is possible)."
        );
        assert!(estimated(1.0, [-3.0, 4.0]).contains("3 dB below to 4 dB above"));
        assert!(estimated(9.0, [2.0, f64::INFINITY]).contains("2 dB above or more"));
        assert!(estimated(-9.0, [f64::NEG_INFINITY, -2.0]).contains("2 dB below or less"));
        let open = estimated(-6.0, [f64::NEG_INFINITY, f64::INFINITY]);
        assert!(open.contains("can\u{2019}t be told"), "{open}");
        assert!(told_apart(&Reading::default()).contains("no reading"));
    }
}
