//! A set of presets: what to do first, and their loudness beside one another.

use sumproof_core::explain::advice::Action;
use sumproof_core::session::set::Spread;

use crate::numbers::signed;

/// Most presets that are named in one sentence.
pub const NAMED: usize = 3;

/// The loudness of a take, in stereo and in the mono wedge, LUFS.
///
/// ```
/// let said = sumproof_wording::sets::loudness(-18.24, Some(-19.0));
/// assert_eq!(said, "\u{2212}18.2 LUFS in stereo, \u{2212}19.0 in the wedge");
/// ```
#[must_use]
pub fn loudness(stereo_lufs: f64, wedge_lufs: Option<f64>) -> String {
    let wedge = wedge_lufs.map_or_else(String::new, |lufs| format!(", {} in the wedge", signed(lufs, 1)));
    format!("{} LUFS in stereo{wedge}", signed(stereo_lufs, 1))
}

/// The median loudness of a set and its spread, in stereo and in the mono wedge, LUFS.
///
/// ```
/// use sumproof_core::session::set::Spread;
///
/// let spread = |lowest, median, highest| Spread { lowest, median, highest };
/// let said = sumproof_wording::sets::middle(&spread(-20.0, -18.2, -16.0), &spread(-22.0, -19.0, -17.0));
/// assert!(said.ends_with("spread 4.0 and 5.0 LU"), "{said}");
/// ```
#[must_use]
pub fn middle(stereo: &Spread, wedge: &Spread) -> String {
    format!(
        "middle of the set: {}; spread {:.1} and {:.1} LU",
        loudness(stereo.median, Some(wedge.median)),
        stereo.range(),
        wedge.range()
    )
}

/// The loudness against the first take's, in stereo and in the mono wedge, LU.
///
/// ```
/// assert_eq!(
///     sumproof_wording::sets::against_the_first(1.5, Some(-0.4)),
///     "against the first: +1.5 LU, \u{2212}0.4 in the wedge"
/// );
/// ```
#[must_use]
pub fn against_the_first(stereo_lu: f64, wedge_lu: Option<f64>) -> String {
    let wedge = wedge_lu.map_or_else(String::new, |lu| format!(", {} in the wedge", signed(lu, 1)));
    format!("against the first: {} LU{wedge}", signed(stereo_lu, 1))
}

/// A change of a preset, without its figures: `flip one channel`. `None` for an action that isn't one.
///
/// ```
/// use sumproof_core::explain::advice::Action;
///
/// assert_eq!(sumproof_wording::sets::change(&Action::FlipChannel), Some("flip one channel"));
/// assert_eq!(sumproof_wording::sets::change(&Action::FlipLineBack), None);
/// ```
#[must_use]
pub fn change(action: &Action) -> Option<&'static str> {
    match action {
        Action::FlipChannel => Some("flip one channel"),
        Action::RemoveDelay { .. } => Some("line the channels up"),
        Action::WetLevel { change_db } if *change_db >= 0.0 => Some("add wet"),
        Action::WetLevel { .. } => Some("take away wet"),
        Action::FlipAndRemoveDelay { .. } => Some("flip one channel and line them up"),
        Action::MonoEffect { .. } => Some("return the effect in mono"),
        Action::OneLine { .. }
        | Action::EitherLine
        | Action::FlipLineBack
        | Action::CheckPolarity
        | Action::SendAlike => None,
    }
}

/// The presets to begin with: `names` holds name, outcome and feed of each, the worst first; `more` are left, and for
/// `untold` presets the outcome can't be told.
#[must_use]
pub fn begin_with(names: &[(String, String, String)], more: usize, untold: usize) -> String {
    if names.is_empty() && untold > 0 {
        return format!(
            "No preset is known to thin or drop out where nobody made a mistake, but of {untold} it can't be told: say what they \
             are, let a muted end ring, or record a dry pass."
        );
    }
    if names.is_empty() {
        return "Nothing to do first: no preset thins or drops out where nobody made a mistake.".into();
    }
    let list: Vec<String> = names
        .iter()
        .map(|(name, outcome, feed)| format!("{name} ({outcome}: {feed})"))
        .collect();
    let rest = if more > 0 {
        format!(", then {more} more")
    } else {
        String::new()
    };
    format!("Begin with {}{rest}.", list.join(", "))
}

/// The change that helps most of the `of` presets that don't hold; `names` of those it helps, the worst first.
#[must_use]
pub fn helps_most(change: &str, names: &[String], of: usize) -> String {
    let presets = if of == 1 {
        "the one that doesn't hold".into()
    } else {
        format!("{} of the {of} that don't hold", names.len())
    };
    let named = &names[..names.len().min(NAMED)];
    let more = match names.len() - named.len() {
        0 => String::new(),
        more => format!(", and {more} more"),
    };
    format!(
        "What helps most: {change}, in {presets} ({}{more}).",
        named.join(", ")
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_worst_are_named_and_the_others_counted() {
        let one = ["Foam", "drops out", "mono wedge"].map(String::from);
        let names = [(one[0].clone(), one[1].clone(), one[2].clone())];
        assert_eq!(
            begin_with(&names, 0, 0),
            "Begin with Foam (drops out: mono wedge)."
        );
        assert!(begin_with(&[], 0, 2).contains("of 2 it can't be told"));
        assert!(begin_with(&names, 2, 0).ends_with(", then 2 more."));
        assert!(begin_with(&[], 0, 0).starts_with("Nothing to do first"));
        let names = ["A", "B", "C", "D"].map(String::from);
        assert_eq!(
            helps_most("add wet", &names[..2], 3),
            "What helps most: add wet, in 2 of the 3 that don't hold (A, B)."
        );
        assert!(helps_most("add wet", &names, 5).ends_with("(A, B, C, and 1 more)."));
    }
}
