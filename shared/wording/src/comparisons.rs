//! Two bounces of one preset, or two rounds of a set, beside each other.

use sumproof_core::session::part::Unlike;

/// For a comparison without any difference.
pub const NOTHING_CHANGED: &str =
    "Nothing changed: every figure of B is that of A, to the last digit that is shown.";

/// Why two bounces can't be compared: a sentence or two.
///
/// ```
/// use sumproof_core::session::part::Unlike;
///
/// let said = sumproof_wording::comparisons::not_the_same_part(&[Unlike::Length { a_s: 8.0, b_s: 12.5 }]);
/// assert!(said.contains("8.0 s against 12.5 s"));
/// ```
#[must_use]
pub fn not_the_same_part(unlike: &[Unlike]) -> String {
    let reasons: Vec<String> = unlike
        .iter()
        .map(|one| match *one {
            Unlike::Length { a_s, b_s } => format!("their lengths differ ({a_s:.1} s against {b_s:.1} s)"),
            Unlike::Onsets => "their notes begin at other times".into(),
            Unlike::Notes => "other notes sound in them".into(),
        })
        .collect();
    format!(
        "These don't seem to be the same part: {}. What differs between them is then what was played and not the preset, so nothing is \
         judged. Bounce the same part through both.",
        reasons.join("; ")
    )
}

/// Two rounds of a set: the presets' names, and for those that changed the outcomes before and after.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Trend {
    /// Presets with a worse outcome: name, before, after.
    pub worse: Vec<(String, String, String)>,
    /// Presets with a better outcome: name, before, after.
    pub better: Vec<(String, String, String)>,
    /// Number of presets with the same outcome.
    pub same: usize,
    /// Presets that can't be compared because the part differs.
    pub untold: Vec<String>,
    /// Presets in the first round only.
    pub gone: Vec<String>,
    /// Presets in the second round only.
    pub new: Vec<String>,
}

/// How a set has changed after a round of changes: sentences, the counts first.
#[must_use]
pub fn trend(trend: &Trend) -> Vec<String> {
    let Trend { worse, better, .. } = trend;
    let both = worse.len() + better.len() + trend.same + trend.untold.len();
    let mut said = vec![if both == 0 {
        "No preset is in both: their files have no names in common.".into()
    } else if worse.is_empty() && better.is_empty() && trend.untold.is_empty() {
        format!("Nothing changed for the better or worse in the {both} presets that are in both.")
    } else {
        format!(
            "Of {both} presets in both, {} fare better, {} worse, {} as they did.",
            better.len(),
            worse.len(),
            trend.same
        )
    }];
    let list = |changed: &[(String, String, String)]| -> String {
        let each = changed.iter().map(|(name, before, after)| {
            if before == after {
                format!("{name} (in some feeds)")
            } else {
                format!("{name} ({before} → {after})")
            }
        });
        each.collect::<Vec<_>>().join(", ")
    };
    if !worse.is_empty() {
        said.push(format!("Worse: {}.", list(worse)));
    }
    if !better.is_empty() {
        said.push(format!("Better: {}.", list(better)));
    }
    for (what, names) in [
        (
            "Not compared, because they don't seem to be the same part, or can't be told",
            &trend.untold,
        ),
        ("Only in A", &trend.gone),
        ("Only in B", &trend.new),
    ] {
        if !names.is_empty() {
            said.push(format!("{what}: {}.", names.join(", ")));
        }
    }
    said
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_round_of_changes_is_told_in_counts_and_names() {
        let changed = |name: &str| (name.to_owned(), "thins".to_owned(), "holds".to_owned());
        let told = trend(&Trend {
            better: vec![changed("Foam")],
            same: 2,
            gone: vec!["Ash".into()],
            ..Trend::default()
        });
        assert_eq!(
            told,
            [
                "Of 3 presets in both, 1 fare better, 0 worse, 2 as they did.",
                "Better: Foam (thins → holds).",
                "Only in A: Ash."
            ]
        );
        let same = trend(&Trend {
            same: 4,
            ..Trend::default()
        });
        assert!(same[0].starts_with("Nothing changed"));
    }
}
