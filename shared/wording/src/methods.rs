//! How dry and wet were told apart, and whether that worked.

use sumproof_core::session::reading::Reading;
use sumproof_core::split::two_pass::{PairCheck, TwoPassError};
use sumproof_core::split::{Method, Split};

use crate::Name;
use crate::numbers;

/// How dry and wet are told apart by a method, and what it can't do.
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

/// Between what an estimate's wet over dry lies; `None` where dry and wet were measured.
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

/// How dry and wet were told apart, how sure that is, and how much there is of each: a sentence.
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

/// Where a full pass isn't made of the dry and the wet one, lower and upper edges of bands in Hz, and what to do. A sentence.
#[must_use]
pub fn failing_bands(bands: &[[f32; 2]]) -> String {
    let mut runs: Vec<[f32; 2]> = Vec::new();
    for &[lower, upper] in bands {
        match runs.last_mut() {
            // Neighbours share an edge, but for rounding.
            Some(run) if lower <= run[1] * 1.02 => run[1] = upper,
            _ => runs.push([lower, upper]),
        }
    }
    let runs: Vec<String> = runs
        .iter()
        .map(|run| run.map(|hz| numbers::hertz(f64::from(hz))).join(" to "))
        .collect();
    format!(
        "Where dry and wet don\u{2019}t make up the full pass: {}. Loop the part, so that each pass is the same, and record \
         them again.",
        runs.join(", ")
    )
}

/// Why two passes give no split, and what to do. Goes into a sentence.
#[must_use]
pub fn no_split(error: TwoPassError) -> String {
    match error {
        TwoPassError::Rates => "the passes have different sample rates: record them at one rate".into(),
        TwoPassError::Empty(pass) => format!("the {} pass is empty: record it again", pass.name()),
        TwoPassError::Silent(pass) => format!(
            "the {} pass is silent: check what was bypassed and record it again",
            pass.name()
        ),
    }
}

/// What a full pass says of a dry and a wet one; the bands that fail are named by their nominal frequencies. Goes into a
/// sentence.
#[must_use]
pub fn pair_check(check: &PairCheck) -> String {
    if check.holds() {
        return format!(
            "dry and wet make up the full pass to {:.0} dB",
            check.residual_db.max(-120.0)
        );
    }
    let mut runs: Vec<(f64, f64)> = Vec::new();
    let mut last = None;
    for (index, band) in check.bands.iter().enumerate().filter(|(_, band)| band.fails) {
        match (last, runs.last_mut()) {
            (Some(before), Some(run)) if before + 1 == index => run.1 = band.band.nominal_last_hz,
            _ => runs.push((band.band.nominal_hz, band.band.nominal_last_hz)),
        }
        last = Some(index);
    }
    let names: Vec<String> = runs
        .iter()
        .map(|&(lower, upper)| {
            if lower == upper {
                numbers::nominal_hertz(lower)
            } else {
                format!(
                    "{} to {}",
                    numbers::nominal_hertz(lower),
                    numbers::nominal_hertz(upper)
                )
            }
        })
        .collect();
    let place = if names.is_empty() {
        String::from("all over")
    } else {
        format!("at {}", names.join(", "))
    };
    format!(
        "the part was not repeated the same way ({place}; {:.0} dB is left over): loop it, and record the passes again",
        check.residual_db
    )
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

    #[test]
    fn neighbouring_bands_are_one_range() {
        let said = failing_bands(&[[89.0, 112.0], [112.2, 141.0], [355.0, 447.0]]);
        assert!(
            said.contains(": 89 Hz to 141 Hz, 355 Hz to 447 Hz. Loop the part"),
            "{said}"
        );
    }
}
