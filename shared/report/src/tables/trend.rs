//! Two rounds of a set side by side, as text.

use sumproof_wording::{comparisons, scores};

use crate::judge::judged::Judged;
use crate::judge::trend::{Change, Pair, Trend};
use crate::names;
use crate::tables::form::{Form, Shape, dry_cell};
use crate::tables::table::computed_for;

const HEADINGS: [&str; 8] = [
    "",
    "preset",
    "A",
    "B",
    "wedge dry A",
    "wedge dry B",
    "wedge wet A",
    "wedge wet B",
];
const SHAPE: Shape = Shape {
    keys: 2,
    name: 1,
    words: 4,
};

/// What got better and worse from A to B: sentences, then a line per preset that is in both.
#[must_use]
pub fn trend(trend: &Trend<'_>, form: Form) -> String {
    let mut out = String::new();
    for sentence in sentences(trend) {
        out += &form.paragraph(&sentence, 0);
    }
    if let Some(pair) = trend.pairs.first() {
        out.push('\n');
        out += &form.paragraph(&computed_for(pair.after.view), 0);
        out.push('\n');
        let mut rows = vec![HEADINGS.map(String::from)];
        rows.extend(trend.pairs.iter().map(cells));
        out += &form.table(&rows, SHAPE);
        out.push('\n');
        out += &form.paragraph(
            "< worse, > better, ? not compared. A and B: the worst feed in which nobody made a mistake.",
            0,
        );
    }
    out
}

/// How many presets got better and worse, which ones, and which couldn't be compared.
pub(crate) fn sentences(trend: &Trend<'_>) -> Vec<String> {
    let named = |change: Change| -> Vec<String> {
        trend
            .pairs
            .iter()
            .filter(|pair| pair.change() == change)
            .map(|pair| names::line(&pair.after.take.name))
            .collect()
    };
    let changed = |change: Change| -> Vec<(String, String, String)> {
        trend
            .pairs
            .iter()
            .filter(|pair| pair.change() == change)
            .map(|pair| {
                (
                    names::line(&pair.after.take.name),
                    pair.before.word(),
                    pair.after.word(),
                )
            })
            .collect()
    };
    let lines = |names: &[String]| names.iter().map(|name| names::line(name)).collect();
    comparisons::trend(&comparisons::Trend {
        worse: changed(Change::Worse),
        better: changed(Change::Better),
        same: trend.count(Change::Same),
        untold: named(Change::Untold),
        gone: lines(&trend.gone),
        new: lines(&trend.new),
    })
}

/// The sign for a preset's change.
pub(crate) fn sign(change: Change) -> &'static str {
    match change {
        Change::Worse => "<",
        Change::Better => ">",
        Change::Same => "",
        Change::Untold => "?",
    }
}

fn cells(pair: &Pair<'_>) -> [String; HEADINGS.len()] {
    let dry = |judged: &Judged<'_>| judged.wedge.score.map_or("-".into(), |score| dry_cell(&score));
    let wet = |judged: &Judged<'_>| judged.wedge.score.map_or("-".into(), |score| scores::wet(&score));
    [
        sign(pair.change()).into(),
        names::line(&pair.after.take.name),
        pair.before.word(),
        pair.after.word(),
        dry(&pair.before),
        dry(&pair.after),
        wet(&pair.before),
        wet(&pair.after),
    ]
}
