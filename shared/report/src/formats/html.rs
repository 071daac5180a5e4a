//! The report: a set as one self-contained HTML page.

use std::fmt::Write;

use sumproof_core::score::outcome::Outcome;
use sumproof_wording::Name;
use sumproof_wording::channels;
use sumproof_wording::methods;
use sumproof_wording::numbers::hertz;
use sumproof_wording::rigs;
use sumproof_wording::scores;

use crate::formats::picture::{KEY, escape, picture, typeset};
use crate::judge::judged::{FeedRow, Judged};
use crate::judge::set::{Loudness, View};
use crate::judge::steps::first_steps;
use crate::tables::form::dry_cell;
use crate::tables::overview::{change, count_sentence, deciding_sentence, level, spread_sentence};

const STYLE: &str = include_str!("page.css");
const SCRIPT: &str = include_str!("page.js");

/// The page: a summary of the set, a table that can be sorted and filtered, and a sheet per preset with its picture, in
/// the order given.
#[must_use]
pub fn html(presets: &[Judged<'_>], view: &View) -> String {
    let mut body = String::with_capacity(64 * 1024 + presets.len() * 24 * 1024);
    // Writing into a string can't fail.
    let _ = write_body(&mut body, presets, view);
    page(&format!("What each feed gets: {} presets", presets.len()), &body)
}

/// An HTML page with this title and body, with the style sheet and the outcomes' strokes.
pub(crate) fn page(title: &str, body: &str) -> String {
    format!(
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" \
         content=\"width=device-width, initial-scale=1\">\n<meta name=\"generator\" content=\"Sumproof {}\">\n\
         <title>{}</title>\n<link rel=\"icon\" href=\"data:,\">\n<style>\n{STYLE}</style>\n</head>\n<body>\n{SYMBOLS}{body}</body>\n\
         </html>\n",
        env!("CARGO_PKG_VERSION"),
        escape(title)
    )
}

/// The outcomes' strokes.
const SYMBOLS: &str = "<svg width=\"0\" height=\"0\" style=\"position:absolute\" aria-hidden=\"true\">\
    <symbol id=\"holds\" viewBox=\"0 0 34 10\"><path d=\"M1 6H33\"/></symbol>\
    <symbol id=\"thins\" viewBox=\"0 0 34 10\"><path d=\"M1 6H33\" stroke-dasharray=\"6 3\"/></symbol>\
    <symbol id=\"drops-out\" viewBox=\"0 0 34 10\"><path d=\"M1 6H12M22 6H33\"/></symbol></svg>\n";

fn write_body(out: &mut String, presets: &[Judged<'_>], view: &View) -> std::fmt::Result {
    writeln!(out, "<h1>What each feed gets</h1>")?;
    writeln!(out, "<p>{}</p>", typeset(&count_sentence(presets)))?;
    for step in first_steps(presets) {
        writeln!(out, "<p class=\"step\">{}</p>", typeset(&step))?;
    }
    if let Some(sentence) = spread_sentence(presets) {
        writeln!(out, "<p>{}</p>", typeset(&sentence))?;
    }
    writeln!(out, "<p class=\"note\">{}</p>", typeset(&rig_sentence(view)))?;
    write_controls(out)?;
    write_table(out, presets)?;
    writeln!(
        out,
        "<p class=\"note\">{} Dry and wet: change from stereo in the mono wedge, the gain to make up taken out. LUFS: ITU-R \
         BS.1770, gated; the wedge counts as played by both loudspeakers. Peak: the higher of stereo and wedge.</p>",
        escape(deciding_sentence(presets))
    )?;
    out.push_str("<main id=\"sheets\">\n");
    for (number, preset) in presets.iter().enumerate() {
        write_sheet(out, number, preset)?;
    }
    out.push_str("</main>\n");
    write_footer(out, view)?;
    writeln!(out, "<script>\n{SCRIPT}</script>")
}

fn write_controls(out: &mut String) -> std::fmt::Result {
    out.push_str("<form><label>Name <input type=\"search\" id=\"search\" autocomplete=\"off\"></label>");
    for outcome in [Outcome::DropsOut, Outcome::Thins, Outcome::Holds] {
        write!(
            out,
            "<label><input type=\"checkbox\" name=\"outcome\" value=\"{}\" checked>{}</label>",
            id(Some(outcome)),
            outcome.name()
        )?;
    }
    out.push_str(
        "<label ><input type=\"checkbox\" name=\"outcome\" value=\"none\" checked>can’t tell, no reading</label>\
         <span id=\"count\" class=\"faint\" role=\"status\"></span></form>\n",
    );
    Ok(())
}

/// Name of an outcome in the page's code.
fn id(outcome: Option<Outcome>) -> &'static str {
    match outcome {
        Some(Outcome::Holds) => "holds",
        Some(Outcome::Thins) => "thins",
        Some(Outcome::DropsOut) => "drops-out",
        None => "none",
    }
}

/// The stroke of an outcome, and `word`, which includes how sure it is.
pub(crate) fn outcome_html(outcome: Option<Outcome>, word: &str) -> String {
    let stroke = outcome.map_or_else(String::new, |outcome| {
        format!(
            "<svg class=\"stroke\" aria-hidden=\"true\"><use href=\"#{}\"/></svg>",
            id(Some(outcome))
        )
    });
    stroke + &escape(word)
}

/// Per column: heading, class, kind of sorting.
const COLUMNS: [(&str, &str, &str); 11] = [
    ("outcome", "", "figure"),
    ("preset", "", "words"),
    ("worst feed", "", "words"),
    (
        "all feeds, faults too: hold / thin / drop out / can’t tell",
        "",
        "figure",
    ),
    ("wedge dry, dB", "figure dry-head", "figure"),
    ("wedge wet, dB", "figure wet-head", "figure"),
    ("correlation", "figure", "figure"),
    ("stereo, LUFS", "figure", "figure"),
    ("wedge, LUFS", "figure", "figure"),
    ("change, LU", "figure", "figure"),
    ("peak, dBTP", "figure", "figure"),
];

fn write_table(out: &mut String, presets: &[Judged<'_>]) -> std::fmt::Result {
    out.push_str("<div class=\"list\"><table id=\"presets\"><thead><tr>");
    for (name, class, kind) in COLUMNS {
        write!(
            out,
            "<th scope=\"col\" class=\"{class}\" data-kind=\"{kind}\"><button type=\"button\">{name}</button></th>"
        )?;
    }
    out.push_str("</tr></thead>\n<tbody>\n");
    for (number, preset) in presets.iter().enumerate() {
        write_row(out, number, preset)?;
    }
    out.push_str("</tbody></table></div>\n");
    Ok(())
}

fn write_row(out: &mut String, number: usize, preset: &Judged<'_>) -> std::fmt::Result {
    let name = &preset.take.name;
    let rank = preset
        .outcome()
        .map_or(f64::NAN, |outcome| 2.0 - f64::from(outcome as u8));
    write!(
        out,
        "<tr data-sheet=\"sheet-{number}\" data-outcome=\"{}\" data-name=\"{}\"><td class=\"outcome\" data-value=\"{}\">{}</td>\
         <th scope=\"row\"><a href=\"#sheet-{number}\">{}</a></th><td data-label=\"worst feed\">{}</td>",
        id(preset.outcome()),
        escape(&name.to_lowercase()),
        sort_value(rank),
        outcome_html(preset.outcome(), &preset.word()),
        escape(name),
        preset.trouble().map_or("–".into(), escape)
    )?;
    // The first three columns hold words.
    for ((label, class, _), (value, text)) in COLUMNS[3..].iter().zip(figures_of_row(preset)) {
        write!(
            out,
            "<td class=\"{}\" data-label=\"{label}\" data-value=\"{}\">{}</td>",
            class.split(' ').next().unwrap_or_default(),
            sort_value(value),
            minus(&text)
        )?;
    }
    out.push_str("</tr>\n");
    Ok(())
}

/// The figures of a row: the value to sort by, and the text.
fn figures_of_row(preset: &Judged<'_>) -> Vec<(f64, String)> {
    let score = preset.wedge.score;
    let figure = |value: Option<f64>| value.unwrap_or(f64::NAN);
    let held = preset.count(Outcome::Holds) as f64 - 0.01 * preset.count(Outcome::DropsOut) as f64;
    let correlation = preset.take.sums.correlation();
    let of = |get: fn(&Loudness) -> f64| preset.loudness.as_ref().map(get);
    let (stereo, wedge) = (of(|l| l.stereo_lufs), of(|l| l.wedge_lufs));
    let peak = of(|l| l.stereo_peak_dbtp.max(l.wedge_peak_dbtp));
    vec![
        (held, preset.counts()),
        (
            figure(score.and_then(|score| score.dry_db)),
            score.map_or("-".into(), |score| dry_cell(&score).replace("< -", "< −")),
        ),
        (
            figure(score.and_then(|score| score.wet_db)),
            score.map_or("-".into(), |score| scores::wet(&score)),
        ),
        (
            figure(correlation),
            correlation.map_or("-".into(), |correlation| format!("{correlation:+.2}")),
        ),
        (figure(stereo), level(stereo)),
        (figure(wedge), level(wedge)),
        (
            figure(of(|l| l.wedge_lufs - l.stereo_lufs)),
            change(preset.loudness.as_ref()),
        ),
        (figure(peak), level(peak)),
    ]
}

/// A cell's value for sorting; −∞ counts as a value.
fn sort_value(value: f64) -> String {
    if value == f64::NEG_INFINITY {
        "-Infinity".into()
    } else if value == f64::INFINITY {
        "Infinity".into()
    } else if value.is_nan() {
        String::new()
    } else {
        format!("{value:.4}")
    }
}

/// A figure with a typographic minus sign, and a dash for none.
pub(crate) fn minus(figure: &str) -> String {
    if figure == "-" {
        return "–".into();
    }
    match figure.strip_prefix('-') {
        Some(rest) => format!("−{rest}"),
        None => figure.into(),
    }
}

fn write_sheet(out: &mut String, number: usize, preset: &Judged<'_>) -> std::fmt::Result {
    write!(
        out,
        "<article id=\"sheet-{number}\"><header><h2>{}</h2><span class=\"outcome\">{}</span></header>\n<p>{}</p>\n\
         <div class=\"sheet\"><div>{}<p class=\"note key-below\">{KEY}</p>",
        escape(&preset.take.name),
        outcome_html(preset.outcome(), &preset.word()),
        typeset(&preset.verdict),
        picture(preset)
    )?;
    for (heading, sentences) in [("Why", &preset.why), ("What to change", &preset.what_now)] {
        if !sentences.is_empty() {
            write!(out, "<h3>{heading}</h3><ul>")?;
            for sentence in sentences {
                write!(out, "<li>{}</li>", typeset(sentence))?;
            }
            out.push_str("</ul>");
        }
    }
    out.push_str("</div>\n");
    write_figures(out, preset)?;
    write_feeds(out, preset)?;
    out.push_str("</div></article>\n");
    Ok(())
}

fn write_figures(out: &mut String, preset: &Judged<'_>) -> std::fmt::Result {
    let take = preset.take;
    let mut rows: Vec<(&str, String)> = Vec::new();
    if let Some(file) = preset.file {
        rows.push(("file", file.into()));
    }
    rows.push((
        "length",
        format!("{:.1} s at {} kHz", take.seconds(), take.rate_hz / 1000.0),
    ));
    if let Some(loudness) = &preset.loudness {
        rows.push((
            "loudness",
            format!(
                "{} LUFS in stereo, {} in the wedge",
                minus(&level(Some(loudness.stereo_lufs))),
                minus(&level(Some(loudness.wedge_lufs)))
            ),
        ));
        rows.push((
            "true peak",
            format!(
                "{} dBTP in stereo, {} in the wedge",
                minus(&level(Some(loudness.stereo_peak_dbtp))),
                minus(&level(Some(loudness.wedge_peak_dbtp)))
            ),
        ));
    }
    let signed = |value: Option<f64>, decimals| {
        value.map_or(scores::NO_READING.into(), |value| {
            minus(&scores::figure(value, decimals))
        })
    };
    rows.push(("correlation", signed(take.sums.correlation(), 3)));
    rows.push((
        "channel levels",
        channels::level_difference(take.sums.level_difference_db()),
    ));
    rows.push(("channel delay", channels::delay(take.delay)));
    let balance = take
        .split
        .wet_over_dry_db()
        .filter(|_| preset.wedge.score.is_some());
    let near = methods::range(&take.split).map_or(String::new(), |range| format!(": {range}"));
    rows.push((
        "wet over dry",
        format!(
            "{} dB in stereo, {}{near}",
            signed(balance, 1),
            take.method().name()
        ),
    ));
    out.push_str("<dl class=\"figures\">");
    for (name, value) in rows {
        write!(out, "<dt>{name}</dt><dd>{}</dd>", typeset(&value))?;
    }
    out.push_str("</dl>");
    Ok(())
}

const FEED_COLUMNS: [(&str, &str); 10] = [
    ("outcome", ""),
    ("feed", ""),
    ("dry, dB", "figure dry-head"),
    ("wet, dB", "figure wet-head"),
    ("total, dB", "figure"),
    ("balance, dB", "figure"),
    ("make up, dB", "figure"),
    ("tone, dB", "figure"),
    ("partials, dB", "figure"),
    ("deepest dip", "figure"),
];

fn write_feeds(out: &mut String, preset: &Judged<'_>) -> std::fmt::Result {
    out.push_str("<div class=\"list\"><table><thead><tr>");
    for (name, class) in FEED_COLUMNS {
        write!(out, "<th scope=\"col\" class=\"{class}\">{name}</th>")?;
    }
    out.push_str("</tr></thead><tbody>\n");
    for feed in &preset.rows {
        write_feed(out, feed)?;
    }
    out.push_str("</tbody></table></div>\n");
    Ok(())
}

fn write_feed(out: &mut String, feed: &FeedRow) -> std::fmt::Result {
    write!(
        out,
        "<tr><td class=\"outcome\">{}</td><th scope=\"row\">{}</th>",
        outcome_html(feed.row.outcome, &scores::word(&feed.row)),
        escape(&feed.label)
    )?;
    let Some(score) = feed.row.score else {
        return writeln!(out, "<td colspan=\"{}\"></td></tr>", FEED_COLUMNS.len() - 2);
    };
    let dip = score.dip.map_or("–".into(), |dip| {
        format!("{:.1} at {}", dip.depth_db, hertz(dip.hz))
    });
    let figures = [
        scores::dry(&score),
        scores::wet(&score),
        scores::change(Some(score.total_db)),
        scores::balance(&score),
        scores::makeup(&score),
        scores::tone(&score).unwrap_or("–".into()),
        scores::partials(&score).unwrap_or("–".into()),
        dip,
    ];
    for ((label, _), text) in FEED_COLUMNS[2..].iter().zip(figures) {
        write!(
            out,
            "<td class=\"figure\" data-label=\"{label}\">{}</td>",
            minus(&text)
        )?;
    }
    out.push_str("</tr>\n");
    Ok(())
}

/// The rig for which everything was computed.
fn rig_sentence(view: &View) -> String {
    format!("{} A sum is {}.", rigs::lines(&view.rig), rigs::law(view.rig.law))
}

fn write_footer(out: &mut String, view: &View) -> std::fmt::Result {
    writeln!(
        out,
        "<footer class=\"note\"><p>Dry, wet and total: change from stereo (mean power of both channels), the gain to make up \
         taken out. Balance: wet change minus dry change; positive is wetter. Tone: rms over 1/3-octave bands of the \
         dry’s change, its mean taken out. Partials: the same over steps of 6 Hz or less, from 75 Hz to 5 kHz. Dip: against the feed’s own total. Where a fault is on one line, either was tried: \
         the one named is the worse.</p><p>{} They are common practice, no source. Estimated dry and wet: what both channels share counts as dry, \
         the rest as wet; of a dry that cancels an estimate sees no more than 20 dB.</p><p>Sumproof {}</p></footer>",
        typeset(&rigs::limits(&view.rig.limits)),
        env!("CARGO_PKG_VERSION")
    )
}
