//! One sentence from the numbers.

use sumproof_core::routing::feed::FeedId;
use sumproof_core::score::outcome::Outcome;
use sumproof_core::score::rig::Rig;
use sumproof_core::session::take::Take;
use sumproof_wording::Name;

use crate::judge::judged::{FeedRow, Judged};
use crate::judge::set::View;
use crate::text;

/// One line: what the mono wedge does, what drops out, what thins, each with the figure that decided. Says nothing from
/// the correlation, which can't tell a padded or dead line from a good one.
#[must_use]
pub fn verdict(take: &Take, rig: &Rig) -> String {
    Judged::of_take(take, &View::from(rig)).verdict
}

/// The same for rows already there.
pub(crate) fn of_rows(rows: &[FeedRow]) -> String {
    let judged: Vec<&FeedRow> = rows.iter().filter(|feed| feed.row.outcome.is_some()).collect();
    if judged.is_empty() {
        return "No reading: there is too little sound to judge (below -80 dBFS).".into();
    }
    let mut clauses = Vec::new();
    if let Some(wedge) = judged.iter().find(|feed| feed.row.id == FeedId::MonoWedge) {
        clauses.push(wedge_clause(wedge));
    }
    for (outcome, word) in [(Outcome::DropsOut, "Drops out"), (Outcome::Thins, "Thins")] {
        let mut named: Vec<String> = judged
            .iter()
            .filter(|feed| feed.row.outcome == Some(outcome) && feed.row.id != FeedId::MonoWedge)
            .map(|feed| with_reason(feed))
            .collect();
        if !named.is_empty() {
            // Names hold commas of their own.
            let last = named.pop().unwrap_or_default();
            let list = if named.is_empty() {
                last
            } else {
                format!("{}; {last}", named.join("; "))
            };
            clauses.push(format!("{word} in: {list}"));
        }
    }
    let held = judged
        .iter()
        .filter(|feed| feed.row.outcome == Some(Outcome::Holds))
        .count();
    if held == judged.len() {
        clauses.push(format!("Holds in all {held} feeds"));
    } else {
        clauses.push(format!("Holds in {held} of {} feeds", judged.len()));
    }
    format!("{}.", clauses.join(". "))
}

fn wedge_clause(feed: &FeedRow) -> String {
    let row = &feed.row;
    let word = row.outcome.map_or(text::NO_READING, Name::name);
    match row.score {
        Some(score) => format!(
            "The mono wedge {word}: dry {}, wet {}",
            in_db(&text::dry(&score)),
            in_db(&text::wet(&score))
        ),
        None => format!("The mono wedge: {word}"),
    }
}

/// Figures get their unit, words don't.
fn in_db(figure: &str) -> String {
    if figure.ends_with(|c: char| c.is_ascii_digit()) {
        format!("{figure} dB")
    } else {
        figure.into()
    }
}

/// The feed with the figure that keeps it from holding.
fn with_reason(feed: &FeedRow) -> String {
    let row = &feed.row;
    let name = feed.label.clone();
    let Some(score) = row.score else { return name };
    let reason = if score.makeup_db == f64::INFINITY {
        text::NOTHING_ARRIVES.to_string()
    } else if row.outcome == Some(Outcome::DropsOut) {
        match score.dry_db {
            Some(_) => format!("dry {}", in_db(&text::dry(&score))),
            None => format!(
                "no dry found, all of it {}",
                in_db(&text::change(Some(score.total_db)))
            ),
        }
    } else {
        format!(
            "dry {}, tone {}",
            in_db(&text::dry(&score)),
            score
                .tone_db
                .map_or(text::NO_READING.into(), |db| format!("{db:.1} dB rms"))
        )
    };
    format!("{name} ({reason})")
}
