//! The trend of a set as one self-contained HTML page.

use sumproof_wording::rigs;
use sumproof_wording::scores;

use crate::formats::html::{minus, outcome_html, page};
use crate::formats::picture::{escape, typeset};
use crate::judge::judged::Judged;
use crate::judge::set::View;
use crate::judge::trend::{Change, Pair, Trend};
use crate::tables::trend::sentences;

/// The page of what got better and worse from A to B.
#[must_use]
pub fn trend_page(trend: &Trend<'_>, view: &View) -> String {
    let mut body = String::from("<h1>What changed from A to B</h1>\n");
    for sentence in sentences(trend) {
        body += &format!("<p>{}</p>\n", typeset(&sentence));
    }
    body += &format!("<p class=\"note\">{}</p>\n", typeset(&rigs::lines(&view.rig)));
    if !trend.pairs.is_empty() {
        body += "<div class=\"list\"><table><thead><tr>";
        for (name, class) in COLUMNS {
            body += &format!("<th scope=\"col\" class=\"{class}\">{name}</th>");
        }
        body += "</tr></thead>\n<tbody>\n";
        for pair in &trend.pairs {
            body += &row(pair);
        }
        body += "</tbody></table></div>\n";
    }
    body += &format!(
        "<footer class=\"note\"><p>A and B: the worst feed in which nobody made a mistake. Dry and wet: change from stereo in the mono \
         wedge, what a fader can give back taken out. {} They are common practice, no source.</p></footer>\n",
        typeset(&rigs::limits(&view.rig.limits))
    );
    page("What changed", &body)
}

const COLUMNS: [(&str, &str); 8] = [
    ("", ""),
    ("preset", ""),
    ("A", ""),
    ("B", ""),
    ("dry A, dB", "figure dry-head"),
    ("dry B, dB", "figure dry-head"),
    ("wet A, dB", "figure wet-head"),
    ("wet B, dB", "figure wet-head"),
];

fn row(pair: &Pair<'_>) -> String {
    let change = match pair.change() {
        Change::Worse => "worse",
        Change::Better => "better",
        Change::Same => "as it was",
        Change::Untold => "not compared",
    };
    let figure = |judged: &Judged<'_>, of: fn(&sumproof_core::score::scorer::FeedScore) -> String| {
        judged.wedge.score.map_or("–".into(), |score| minus(&of(&score)))
    };
    let (a, b) = (&pair.before, &pair.after);
    let mut out = format!(
        "<tr><td>{change}</td><th scope=\"row\">{}</th><td class=\"outcome\" data-label=\"A\">{}</td><td class=\"outcome\" \
         data-label=\"B\">{}</td>",
        escape(&b.take.name),
        outcome_html(a.outcome(), &a.word()),
        outcome_html(b.outcome(), &b.word())
    );
    for (label, text) in [
        ("dry A, dB", figure(a, scores::dry)),
        ("dry B, dB", figure(b, scores::dry)),
        ("wet A, dB", figure(a, scores::wet)),
        ("wet B, dB", figure(b, scores::wet)),
    ] {
        out += &format!("<td class=\"figure\" data-label=\"{label}\">{text}</td>");
    }
    out + "</tr>\n"
}
