//! The result of a part's passes, and what to do if there is none.

use sumproof_core::split::two_pass::{DryInFull, PairCheck, TwoPassError};

use crate::Name;
use crate::numbers;

/// The passes are being processed.
pub const LAYING: &str = "Laying your passes over one another\u{2026}";
/// The processing failed.
pub const NOT_LAID: &str = "The two passes could not be laid over one another: record them again.";
/// Appended to [`dont_make_up`] for a full pass recorded after the pair.
pub const PERHAPS_ANOTHER: &str = " If it is another sound than theirs, nothing is wrong.";
/// The take of both passes can't be stored.
pub const NO_ROOM: &str = "No room for the take of both passes: delete one and record again.";

/// For a take made of a dry and a wet pass; `check` is the check against a full one.
///
/// ```
/// assert!(sumproof_wording::passes::told_apart("lead", Ok(None)).contains("to check them"));
/// ```
#[must_use]
pub fn told_apart(take: &str, check: Result<Option<&PairCheck>, TooLong>) -> String {
    let take = format!("\u{2018}{take}\u{2019}");
    match check {
        Err(TooLong) => {
            format!("{take}: told apart by your two passes, which were too long to check against each other.")
        }
        Ok(None) => {
            format!(
                "{take}: told apart by your two passes. Record a full pass of the same part to check them."
            )
        }
        Ok(Some(check)) => format!("{take}: told apart by your passes; {}.", pair_check(check)),
    }
}

/// For a take made of a dry and a full pass.
#[must_use]
pub fn told_by_difference(take: &str, found: &DryInFull) -> String {
    format!(
        "\u{2018}{take}\u{2019}: {}. A wet pass would check it.",
        dry_in_full(found)
    )
}

/// The passes were too long to be kept whole, so a full one can't check them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TooLong;

fn both(dry: &str, wet: &str) -> String {
    format!("\u{2018}{dry}\u{2019} and \u{2018}{wet}\u{2019}")
}

/// For a dry and a wet pass that give no split.
#[must_use]
pub fn give_no_split(dry: &str, wet: &str, error: TwoPassError) -> String {
    format!("{} give no split: {}", both(dry, wet), no_split(error))
}

/// For a dry and a wet pass that don't add up to the full one.
#[must_use]
pub fn dont_make_up(dry: &str, wet: &str, full: &str, check: Option<&PairCheck>) -> String {
    format!(
        "{} don\u{2019}t make up \u{2018}{full}\u{2019}: {}.",
        both(dry, wet),
        check.map(pair_check).unwrap_or_default()
    )
}

/// The bands (lower and upper edges, Hz) in which dry and wet pass don't add up to the full one, and what to do. A
/// sentence.
#[must_use]
pub fn failing_bands(bands: &[[f32; 2]]) -> String {
    let mut runs: Vec<[f32; 2]> = Vec::new();
    for &[lower, upper] in bands {
        match runs.last_mut() {
            // Neighbours share an edge, except for rounding.
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

/// Why two passes give no split, and what to do. A fragment of a sentence.
#[must_use]
pub fn no_split(error: TwoPassError) -> String {
    match error {
        TwoPassError::Rates => "the passes have different sample rates: record them at one rate".into(),
        TwoPassError::Empty(pass) => format!("the {} pass is empty: record it again", pass.name()),
        TwoPassError::Silent(pass) => format!(
            "the {} pass is silent: check what was bypassed and record it again",
            pass.name()
        ),
        TwoPassError::NotInFull => {
            "the dry pass can\u{2019}t be found in the full one: loop the part, so that both are the same \
             performance, or add a wet pass where an effect changes the dry itself"
                .into()
        }
    }
}

/// Level and offset of a dry pass in a full one, without a wet pass. A fragment of a sentence.
///
/// ```
/// use sumproof_core::split::two_pass::DryInFull;
///
/// let found = DryInFull { gain_db: 0.0, gain_error_db: 0.1, flipped: false, offset_s: 0.0 };
/// assert!(sumproof_wording::passes::dry_in_full(&found).ends_with("at the same level"));
/// ```
#[must_use]
pub fn dry_in_full(found: &DryInFull) -> String {
    let mut text =
        String::from("the wet is what the dry pass leaves of the full one, in which the dry lies ");
    if found.gain_db == 0.0 {
        text += "at the same level";
    } else {
        let way = if found.gain_db > 0.0 { "louder" } else { "softer" };
        text += &format!(
            "{:.1} dB {way} (\u{b1} {:.1} dB)",
            found.gain_db.abs(),
            found.gain_error_db.max(0.1)
        );
    }
    if found.flipped {
        text += ", its polarity inverted";
    }
    text
}

/// The check of a dry and a wet pass against a full one; failing bands are named by their nominal frequencies. A
/// fragment of a sentence.
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

    #[test]
    fn neighbouring_bands_are_one_range() {
        let said = failing_bands(&[[89.0, 112.0], [112.2, 141.0], [355.0, 447.0]]);
        assert!(
            said.contains(": 89 Hz to 141 Hz, 355 Hz to 447 Hz. Loop the part"),
            "{said}"
        );
    }
}
