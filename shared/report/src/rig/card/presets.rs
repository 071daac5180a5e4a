//! The outcomes of a set's presets, as needed for the card.

use serde::Deserialize;
use sumproof_core::routing::feed::{FeedId, Side};
use sumproof_core::score::board::Row;
use sumproof_core::score::outcome::Outcome;
use sumproof_core::score::rig::Rig;
use sumproof_core::score::verdict::Verdict;
use sumproof_core::session::take::{Pass, Take};
use sumproof_wording::Name;
use sumproof_wording::scores::how_many;

use crate::formats::written::{self, TakesError};

/// A preset and its outcomes.
#[derive(Clone, Debug, PartialEq)]
pub struct Preset {
    /// Its name.
    pub name: String,
    /// The outcome in each feed, where there is a reading.
    pub outcomes: Vec<(FeedId, Outcome)>,
    /// Feeds whose outcome is only the likelier of two.
    pub likely: Vec<FeedId>,
}

impl Preset {
    /// A take scored for a rig; `None` for a dry or wet pass, which is no preset, or without a reading.
    #[must_use]
    pub fn of_take(take: &Take, rig: &Rig) -> Option<Self> {
        if take.pass != Pass::Full {
            return None;
        }
        let read = |row: &Row| row.outcome.map(|outcome| (row.id, outcome));
        let rows = take.rows(rig, 0.0);
        let outcomes: Vec<_> = rows.iter().filter_map(read).collect();
        let is_likely = |row: &&Row| matches!(row.verdict, Some(Verdict::Likely { .. }));
        (!outcomes.is_empty()).then(|| Self {
            name: take.name.clone(),
            outcomes,
            likely: rows.iter().filter(is_likely).map(|row| row.id).collect(),
        })
    }

    /// Its outcome in a feed.
    #[must_use]
    pub fn outcome(&self, feed: FeedId) -> Option<Outcome> {
        self.outcomes
            .iter()
            .find(|(id, _)| *id == feed)
            .map(|(_, outcome)| *outcome)
    }
}

/// The fields read of a take in the JSON of `check`: other fields may change without affecting the card.
#[derive(Deserialize)]
struct Entry {
    name: String,
    #[serde(default)]
    pass: Pass,
    #[serde(default)]
    feeds: Vec<Feed>,
    #[serde(default)]
    stored: Option<Take>,
}

#[derive(Deserialize)]
struct Feed {
    id: String,
    outcome: Option<Outcome>,
    #[serde(default)]
    outcome_is: Option<String>,
}

/// The presets in the JSON of `check`. Those stored with their takes are scored again for this rig; for the others the
/// outcomes in the file are used, which are for the rig they were made with.
///
/// # Errors
/// The text isn't such a JSON, is of a newer version, or holds no preset.
pub fn presets_of_json(text: &str, rig: &Rig) -> Result<Vec<Preset>, TakesError> {
    let entries: Vec<Entry> = written::takes(text)?;
    let presets: Vec<Preset> = entries
        .iter()
        .filter_map(|entry| match &entry.stored {
            Some(take) => Preset::of_take(take, rig).map(|preset| Preset {
                name: entry.name.clone(),
                ..preset
            }),
            None if entry.pass == Pass::Full => {
                let known = |feed: &Feed| Some((FeedId::from_id(&feed.id)?, feed.outcome?));
                let outcomes: Vec<_> = entry.feeds.iter().filter_map(known).collect();
                let likely = entry
                    .feeds
                    .iter()
                    .filter(|feed| feed.outcome_is.as_deref() == Some("likely"))
                    .filter_map(|feed| FeedId::from_id(&feed.id))
                    .collect();
                (!outcomes.is_empty()).then(|| Preset {
                    name: entry.name.clone(),
                    outcomes,
                    likely,
                })
            }
            None => None,
        })
        .collect();
    if presets.is_empty() {
        return Err(TakesError::Empty);
    }
    Ok(presets)
}

/// Feeds without a fault: a preset that doesn't hold in one of them needs watching.
const FAULTLESS: [FeedId; 4] = [
    FeedId::MonoWedge,
    FeedId::LeftLineOnly,
    FeedId::RightLineOnly,
    FeedId::MonoSubs,
];
/// Faults that are counted over the whole set.
const FAULTS: [FeedId; 4] = [
    FeedId::WedgeLineFlipped,
    FeedId::BalancedJackDifference,
    FeedId::WedgeLineLate,
    FeedId::WedgeLinePadded,
];

/// Longest name of a preset on the card, characters.
const LONGEST_NAME: usize = 40;

/// A preset at risk, with its worst outcome and where.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AtRisk {
    /// The worst outcome; `None` for one that the player named himself.
    pub outcome: Option<Outcome>,
    /// Its line on the card.
    pub text: String,
}

/// The presets that don't hold in a feed without a fault, the worst first, each with its feeds.
pub fn at_risk(presets: &[Preset]) -> Vec<AtRisk> {
    let mut found: Vec<(Outcome, usize, AtRisk)> = presets
        .iter()
        .filter_map(|preset| {
            let bad: Vec<(FeedId, Outcome)> = FAULTLESS
                .into_iter()
                .filter_map(|feed| Some((feed, preset.outcome(feed)?)))
                .filter(|(_, outcome)| *outcome != Outcome::Holds)
                .collect();
            let worst = bad.iter().map(|(_, outcome)| *outcome).max()?;
            let places: Vec<FeedId> = bad
                .iter()
                .filter(|(_, outcome)| *outcome == worst)
                .map(|(feed, _)| *feed)
                .collect();
            // If all of them are only likely, the word gets a question mark; else those of them that are.
            let all_likely = places.iter().all(|place| preset.likely.contains(place));
            let marked: &[FeedId] = if all_likely { &[] } else { &preset.likely };
            Some((
                worst,
                bad.len(),
                AtRisk {
                    outcome: Some(worst),
                    text: format!(
                        "{} {}{}: {}",
                        short(&preset.name),
                        worst.name(),
                        if all_likely { "?" } else { "" },
                        listed(&places, marked)
                    ),
                },
            ))
        })
        .collect();
    found.sort_by_key(|(worst, bad, _)| core::cmp::Reverse((*worst, *bad)));
    found.into_iter().map(|(_, _, risk)| risk).collect()
}

/// The feeds, in short form; those in `marked` with a question mark.
fn listed(places: &[FeedId], marked: &[FeedId]) -> String {
    let lines = [FeedId::LeftLineOnly, FeedId::RightLineOnly];
    let is_both = lines.iter().all(|line| places.contains(line))
        && marked.contains(&lines[0]) == marked.contains(&lines[1]);
    let said: Vec<String> = places
        .iter()
        .filter(|place| !(is_both && **place == FeedId::RightLineOnly))
        .map(|place| {
            let name = match place {
                FeedId::MonoWedge => "mono wedge",
                FeedId::LeftLineOnly if is_both => "either line alone",
                FeedId::LeftLineOnly => "left line alone",
                FeedId::RightLineOnly => "right line alone",
                _ => "mono subs",
            };
            let mark = if marked.contains(place) { "?" } else { "" };
            format!("{name}{mark}")
        })
        .collect();
    said.join(", ")
}

/// A name cut so that there is room for the rest of the line; files may have any name.
fn short(name: &str) -> String {
    let name = crate::rig::file::one_line(name);
    if name.chars().count() <= LONGEST_NAME {
        name
    } else {
        name.chars().take(LONGEST_NAME - 1).chain(['…']).collect()
    }
}

/// How many presets each fault affects, and that likely ones are counted in; empty when no fault affects any.
pub fn fault_counts(presets: &[Preset]) -> String {
    let mut said: Vec<String> = FAULTS
        .into_iter()
        .filter_map(|feed| {
            let read = presets.iter().filter_map(|preset| preset.outcome(feed));
            let all = read.clone().count();
            let out = read
                .clone()
                .filter(|&outcome| outcome == Outcome::DropsOut)
                .count();
            let thin = read.filter(|&outcome| outcome == Outcome::Thins).count();
            let name = match feed {
                FeedId::WedgeLineFlipped => "one line flipped",
                FeedId::BalancedJackDifference => "a stereo plug in a mono input",
                FeedId::WedgeLineLate => "one line 1 ms late",
                _ => "one line 20 dB down",
            };
            let of_all = |count, outcome| how_many(count, outcome).replacen(' ', &format!(" of {all} "), 1);
            let thins = how_many(thin, Outcome::Thins);
            match (out, thin) {
                (0, 0) => None,
                (0, thin) => Some(format!("{name}: {}", of_all(thin, Outcome::Thins))),
                (out, 0) => Some(format!("{name}: {}", of_all(out, Outcome::DropsOut))),
                (out, _) => Some(format!("{name}: {}, {thins}", of_all(out, Outcome::DropsOut))),
            }
        })
        .collect();
    let likely = |preset: &Preset| {
        FAULTS.into_iter().any(|feed| {
            preset.likely.contains(&feed)
                && preset
                    .outcome(feed)
                    .is_some_and(|outcome| outcome != Outcome::Holds)
        })
    };
    if !said.is_empty() && presets.iter().any(likely) {
        said.push("probable ones are counted in".into());
    }
    said.join("; ")
}

/// The line that does less harm on its own, and how many presets hold on the left and on the right; `None` without
/// presets.
pub fn better_line(presets: &[Preset]) -> Option<(Side, [usize; 2])> {
    if presets.is_empty() {
        return None;
    }
    let held = [FeedId::LeftLineOnly, FeedId::RightLineOnly].map(|feed| {
        presets
            .iter()
            .filter(|preset| preset.outcome(feed) == Some(Outcome::Holds))
            .count()
    });
    let side = if held[1] > held[0] {
        Side::Right
    } else {
        Side::Left
    };
    Some((side, held))
}
