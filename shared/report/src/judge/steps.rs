//! What to do first with a set.

use std::collections::BTreeMap;

use sumproof_core::score::outcome::Outcome;
use sumproof_wording::sets;

use crate::judge::judged::Judged;
use crate::names;

/// The presets to begin with, and the change that helps most of those that don't hold: a sentence each.
#[must_use]
pub(crate) fn first_steps(presets: &[Judged<'_>]) -> Vec<String> {
    let mut troubled: Vec<&Judged<'_>> = presets
        .iter()
        .filter(|preset| preset.outcome().is_some_and(|outcome| outcome != Outcome::Holds))
        .collect();
    troubled.sort_by(|a, b| a.worse_than(b));
    let named: Vec<(String, String, String)> = troubled
        .iter()
        .take(sets::NAMED)
        .map(|preset| {
            (
                names::line(&preset.take.name),
                preset.word(),
                names::line(preset.trouble().unwrap_or_default()),
            )
        })
        .collect();
    let untold = presets.iter().filter(|preset| preset.is_untold()).count();
    let mut steps = vec![sets::begin_with(&named, troubled.len() - named.len(), untold)];
    let mut helped: BTreeMap<&'static str, Vec<String>> = BTreeMap::new();
    for preset in &troubled {
        for change in preset
            .advice
            .iter()
            .filter_map(|advice| sets::change(&advice.action))
        {
            helped
                .entry(change)
                .or_default()
                .push(names::line(&preset.take.name));
        }
    }
    if let Some((change, of)) = helped.into_iter().max_by_key(|(_, names)| names.len()) {
        steps.push(sets::helps_most(change, &of, troubled.len()));
    }
    steps
}
