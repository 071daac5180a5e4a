//! The report: a set as one HTML page that needs nothing else.

use std::fmt::Write;

use sumproof_core::routing::feed::SumLaw;
use sumproof_core::routing::line::{Line, Polarity};
use sumproof_core::score::outcome::Outcome;
use sumproof_wording::Name;
use sumproof_wording::channels;
use sumproof_wording::methods;
use sumproof_wording::numbers::hertz;
use sumproof_wording::scores;

use crate::formats::picture::{escape, picture, typeset};
use crate::judge::judged::{FeedRow, Judged};
use crate::judge::set::{Loudness, View};
use crate::tables::overview::{change, count_sentence, deciding_sentence, level, spread_sentence};

const STYLE: &str = include_str!("page.css");
const SCRIPT: &str = include_str!("page.js");

/// The page: what the set is like, a table that can be sorted and filtered, and a sheet per preset with its picture, in the
/// order given.
#[must_use]
pub fn html(presets: &[Judged<'_>], view: &View) -> String {
    let mut out = String::with_capacity(64 * 1024 + presets.len() * 24 * 1024);
    // Writing into a string can't fail.
    let _ = write_page(&mut out, presets, view);
    out
}

fn write_page(out: &mut String, presets: &[Judged<'_>], view: &View) -> std::fmt::Result {
    write!(
        out,
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" \
         content=\"width=device-width, initial-scale=1\">\n<meta name=\"generator\" content=\"Sumproof {}\">\n\
         <title>What each feed gets: {} presets</title>\n<link rel=\"icon\" href=\"data:,\">\n<style>\n{STYLE}</style>\n\
         </head>\n<body>\n",
        env!("CARGO_PKG_VERSION"),
        presets.len()
    )?;
    out.push_str(
        "<svg width=\"0\" height=\"0\" style=\"position:absolute\" aria-hidden=\"true\">\
         <symbol id=\"holds\" viewBox=\"0 0 34 10\"><path d=\"M1 6H33\"/></symbol>\
         <symbol id=\"thins\" viewBox=\"0 0 34 10\"><path d=\"M1 6H33\" stroke-dasharray=\"6 3\"/></symbol>\
         <symbol id=\"drops-out\" viewBox=\"0 0 34 10\"><path d=\"M1 6H12M22 6H33\"/></symbol></svg>\n",
    );
    write!(
        out,
        "<h1>What each feed gets</h1>\n<p>{}</p>\n",
        typeset(&count_sentence(presets))
    )?;
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
    write!(out, "<script>\n{SCRIPT}</script>\n</body>\n</html>\n")
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
        "<label class=\"wide\"><input type=\"checkbox\" name=\"outcome\" value=\"none\" checked>no reading</label>\
         <span id=\"count\" class=\"faint\" role=\"status\"></span></form>\n",
    );
    Ok(())
}

/// What an outcome is called in the page's code.
fn id(outcome: Option<Outcome>) -> &'static str {
    match outcome {
        Some(Outcome::Holds) => "holds",
        Some(Outcome::Thins) => "thins",
        Some(Outcome::DropsOut) => "drops-out",
        None => "none",
    }
}

fn outcome_html(outcome: Option<Outcome>) -> String {
    match outcome {
        Some(outcome) => format!(
            "<svg class=\"stroke\" aria-hidden=\"true\"><use href=\"#{}\"/></svg>{}",
            id(Some(outcome)),
            outcome.name()
        ),
        None => scores::NO_READING.into(),
    }
}

/// Heading, its classes, what it sorts by.
const COLUMNS: [(&str, &str, &str); 11] = [
    ("outcome", "", "figure"),
    ("preset", "", "words"),
    ("worst feed", "wide", "words"),
    ("hold / thin / drop out", "wide", "figure"),
    ("dry, dB", "figure dry-head", "figure"),
    ("wet, dB", "figure wet-head", "figure"),
    ("correlation", "figure wide", "figure"),
    ("stereo, LUFS", "figure wide", "figure"),
    ("wedge, LUFS", "figure wide", "figure"),
    ("change, LU", "figure", "figure"),
    ("peak, dBTP", "figure wide", "figure"),
];

fn write_table(out: &mut String, presets: &[Judged<'_>]) -> std::fmt::Result {
    out.push_str("<div class=\"scroll\"><table id=\"presets\"><thead><tr>");
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
    let score = preset.wedge.score;
    let name = &preset.take.name;
    write!(
        out,
        "<tr data-sheet=\"sheet-{number}\" data-outcome=\"{}\" data-name=\"{}\">",
        id(preset.outcome()),
        escape(&name.to_lowercase())
    )?;
    let rank = |outcome: Option<Outcome>| outcome.map_or(f64::NAN, |outcome| 2.0 - outcome as u8 as f64);
    cell(
        out,
        "outcome",
        rank(preset.outcome()),
        &outcome_html(preset.outcome()),
    )?;
    write!(
        out,
        "<th scope=\"row\"><a href=\"#sheet-{number}\">{}</a></th><td class=\"wide\">{}</td>",
        escape(name),
        preset.trouble().map_or("–".into(), escape)
    )?;
    let held = preset.count(Outcome::Holds) as f64 - 0.01 * preset.count(Outcome::DropsOut) as f64;
    let counts = [Outcome::Holds, Outcome::Thins, Outcome::DropsOut].map(|outcome| preset.count(outcome));
    cell(
        out,
        "wide counts",
        held,
        &format!("{} / {} / {}", counts[0], counts[1], counts[2]),
    )?;
    let figure = |value: Option<f64>| value.unwrap_or(f64::NAN);
    cell(
        out,
        "figure",
        figure(score.and_then(|score| score.dry_db)),
        &score.map_or("–".into(), |score| minus(&scores::dry(&score))),
    )?;
    cell(
        out,
        "figure",
        figure(score.and_then(|score| score.wet_db)),
        &score.map_or("–".into(), |score| minus(&scores::wet(&score))),
    )?;
    let correlation = preset.take.sums.correlation();
    cell(
        out,
        "figure wide",
        figure(correlation),
        &correlation.map_or("–".into(), |correlation| minus(&format!("{correlation:+.2}"))),
    )?;
    let of = |get: fn(&Loudness) -> f64| preset.loudness.as_ref().map(get);
    for value in [of(|l| l.stereo_lufs), of(|l| l.wedge_lufs)] {
        cell(out, "figure wide", figure(value), &minus(&level(value)))?;
    }
    cell(
        out,
        "figure",
        figure(of(|l| l.wedge_lufs - l.stereo_lufs)),
        &minus(&change(preset.loudness.as_ref())),
    )?;
    let peak = of(|l| l.stereo_peak_dbtp.max(l.wedge_peak_dbtp));
    cell(out, "figure wide", figure(peak), &minus(&level(peak)))?;
    out.push_str("</tr>\n");
    Ok(())
}

/// A cell with the number it sorts by; −∞ is one too.
fn cell(out: &mut String, class: &str, value: f64, text: &str) -> std::fmt::Result {
    let value = if value == f64::NEG_INFINITY {
        "-Infinity".into()
    } else if value == f64::INFINITY {
        "Infinity".into()
    } else if value.is_nan() {
        String::new()
    } else {
        format!("{value:.4}")
    };
    write!(out, "<td class=\"{class}\" data-value=\"{value}\">{text}</td>")
}

/// A figure with the sign that is as wide as a plus, and the dash for none.
fn minus(figure: &str) -> String {
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
         <div class=\"sheet\"><div><div class=\"scroll\">{}</div>",
        escape(&preset.take.name),
        outcome_html(preset.outcome()),
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

const FEED_COLUMNS: [(&str, &str); 9] = [
    ("outcome", ""),
    ("feed", ""),
    ("dry, dB", "figure dry-head"),
    ("wet, dB", "figure wet-head"),
    ("total, dB", "figure wide"),
    ("balance, dB", "figure wide"),
    ("make up, dB", "figure"),
    ("tone, dB", "figure wide"),
    ("deepest dip", "figure wide"),
];

fn write_feeds(out: &mut String, preset: &Judged<'_>) -> std::fmt::Result {
    out.push_str("<div class=\"scroll\"><table><thead><tr>");
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
        outcome_html(feed.row.outcome),
        escape(&feed.label)
    )?;
    let Some(score) = feed.row.score else {
        return out.write_str("<td colspan=\"7\"></td></tr>\n");
    };
    let dip = score.dip.map_or("–".into(), |dip| {
        format!("{:.1} at {}", dip.depth_db, hertz(dip.hz))
    });
    for (value, class) in [
        (scores::dry(&score), "figure"),
        (scores::wet(&score), "figure"),
        (scores::change(Some(score.total_db)), "figure wide"),
        (scores::balance(&score), "figure wide"),
        (scores::makeup(&score), "figure"),
        (
            score.tone_db.map_or("–".into(), |db| format!("{db:.1}")),
            "figure wide",
        ),
        (dip, "figure wide"),
    ] {
        write!(out, "<td class=\"{class}\">{}</td>", minus(&value))?;
    }
    out.push_str("</tr>\n");
    Ok(())
}

fn line(line: &Line) -> String {
    if line.unplugged {
        return "unplugged".into();
    }
    let mut parts = Vec::new();
    if line.polarity == Polarity::Flipped {
        parts.push("flipped".to_string());
    }
    if line.gain_db != 0.0 {
        parts.push(format!("{:+.1} dB", line.gain_db));
    }
    if line.delay_s != 0.0 {
        parts.push(format!("{:.2} ms late", line.delay_s * 1000.0));
    }
    for corner in line.high_pass_hz {
        if corner > 0.0 {
            parts.push(format!("high-pass at {corner:.0} Hz"));
        }
    }
    if parts.is_empty() {
        "straight".into()
    } else {
        parts.join(", ")
    }
}

/// What everything was computed for.
fn rig_sentence(view: &View) -> String {
    let law = match view.rig.law {
        SumLaw::Average => "the average of both lines",
        SumLaw::Minus3Db => "both lines 3.01 dB down, added",
        SumLaw::Unity => "both lines added as they are",
    };
    format!(
        "Left line: {}. Right line: {}. A sum is {law}.",
        line(&view.rig.lines.left),
        line(&view.rig.lines.right)
    )
}

fn write_footer(out: &mut String, view: &View) -> std::fmt::Result {
    let limits = &view.rig.limits;
    writeln!(
        out,
        "<footer class=\"note\"><p>Dry, wet and total: change from stereo (mean power of both channels), the gain to make up \
         taken out. Balance: wet change minus dry change; positive is wetter. Tone: rms over 1/3-octave bands of the sum \
         difference, its mean taken out. Dip: against the feed’s own total. Where a fault is on one line, either was tried: \
         the one named is the worse.</p><p>Limits (common practice, no source): dry holds to {:.1} dB and drops out below \
         {:.1} dB; balance {:+.1} to {:+.1} dB; tone {:.1} dB. Estimated dry and wet: what both channels share counts as dry, \
         the rest as wet; of a dry that cancels an estimate sees no more than 20 dB.</p><p>Sumproof {}</p></footer>",
        limits.dry_holds_db,
        limits.dry_drops_out_db,
        limits.drier_db,
        limits.wetter_db,
        limits.tone_db,
        env!("CARGO_PKG_VERSION")
    )
}
