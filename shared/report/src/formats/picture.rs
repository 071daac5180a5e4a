//! The picture of a preset: the effect of the mono wedge on dry and wet over frequency, and the correlation by band.
//!
//! Drawn once, as SVG with classes; the colours come from where it is shown (a page's style sheet, or [`Ink`]).

use std::fmt::Write;

use sumproof_core::dsp::db;
use sumproof_core::routing::feed::{FeedId, Side};
use sumproof_core::score::board::Board;
use sumproof_core::spectrum::bands::MAX_TWENTY_FOURTHS;
use sumproof_wording::numbers::OPEN_STRINGS;

use crate::formats::schema::BAND_FLOOR_DBFS;
use crate::judge::judged::Judged;

/// Width of a picture, px.
pub const WIDTH: f64 = 720.0;
/// Height of a picture, px.
pub const HEIGHT: f64 = 328.0;
/// Height of a title at the top, px.
const TITLE: f64 = 44.0;

const LEFT: f64 = 44.0;
const RIGHT: f64 = 672.0;
const LEVEL_TOP: f64 = 44.0;
const LEVEL_BOTTOM: f64 = 194.0;
const CORRELATION_TOP: f64 = 242.0;
const CORRELATION_BOTTOM: f64 = 302.0;
/// Explains the levels.
pub(crate) const KEY: &str =
    "0 dB: as in stereo. −3 dB: what unrelated channels come to. Lower: they cancel.";
const LOWEST_HZ: f64 = 35.5;
const HIGHEST_HZ: f64 = 17_800.0;
const HIGHEST_DB: f64 = 4.0;
const LOWEST_DB: f64 = -24.0;

/// Two octaves above the highest open string, Hz.
const ABOVE: [(&str, f64); 2] = [("E5", 659.26), ("E6", 1318.5)];
const TICKS: [(&str, f64); 9] = [
    ("50", 50.0),
    ("100", 100.0),
    ("200", 200.0),
    ("500", 500.0),
    ("1k", 1000.0),
    ("2k", 2000.0),
    ("5k", 5000.0),
    ("10k", 10_000.0),
    ("16k", 16_000.0),
];

/// The colours of a picture that stands alone, as CSS colours.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ink {
    /// Background.
    pub ground: &'static str,
    /// Text and lines.
    pub ink: &'static str,
    /// Bars.
    pub soft: &'static str,
    /// Less important text and lines.
    pub faint: &'static str,
    /// Hairlines.
    pub hairline: &'static str,
    /// The dry: the blue of Okabe & Ito 2008.
    pub dry: &'static str,
    /// The wet: the orange of the same authors.
    pub wet: &'static str,
    /// The wet in text.
    pub wet_text: &'static str,
}

impl Ink {
    /// Ink on paper.
    pub const PAPER: Self = Self {
        ground: "#f7f4ec",
        ink: "#1a1915",
        soft: "#4a473f",
        faint: "#69655b",
        hairline: "#c6c0b1",
        dry: "#006daa",
        wet: "#c27200",
        wet_text: "#985800",
    };

    /// The same reversed, for a dark stage.
    pub const NIGHT: Self = Self {
        ground: "#131311",
        ink: "#f0ebdf",
        soft: "#c0baac",
        faint: "#969185",
        hairline: "#45423b",
        dry: "#4ca6e4",
        wet: "#e69f00",
        wet_text: "#e69f00",
    };
}

/// The picture for a page that supplies the colours: without size, background and title.
#[must_use]
pub fn picture(preset: &Judged<'_>) -> String {
    let mut out = format!(
        "<svg class=\"picture\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" role=\"img\" aria-label=\"{}\">",
        escape(&description(preset))
    );
    // Writing into a string can't fail.
    let _ = draw(&mut out, preset);
    out.push_str("</svg>");
    out
}

/// The picture as a separate file, with the preset's name and the verdict's sentence about the mono wedge.
#[must_use]
pub fn svg(preset: &Judged<'_>, ink: &Ink) -> String {
    let height = HEIGHT + TITLE;
    let Ink {
        ground,
        ink,
        soft,
        faint,
        hairline,
        dry,
        wet,
        wet_text,
    } = ink;
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{WIDTH}\" height=\"{height}\" viewBox=\"0 0 {WIDTH} {height}\">\
         <style>text{{font-family:'Libertinus Serif',serif;font-size:12px;fill:{ink}}}.faint{{fill:{faint}}}\
         .name{{font-size:17px}}.hair{{stroke:{hairline};fill:none}}.zero{{stroke:{faint};fill:none}}\
         .all{{stroke:{ink};fill:none}}.dry{{stroke:{dry};fill:none}}.wet{{stroke:{wet};fill:none}}.bar{{fill:{soft}}}\
         .dry-text{{fill:{dry}}}.wet-text{{fill:{wet_text}}}</style>\
         <rect width=\"{WIDTH}\" height=\"{height}\" fill=\"{ground}\"/>\
         <text class=\"name\" x=\"{LEFT}\" y=\"24\">{}</text><text class=\"faint\" x=\"{LEFT}\" y=\"41\">{}</text>\
         <g transform=\"translate(0 {TITLE})\">",
        escape(&shortened(&preset.take.name, 80)),
        typeset(&shortened(&wedge_sentence(preset), 110)),
    );
    let _ = draw(&mut out, preset);
    out.push_str("</g></svg>");
    out
}

/// Text escaped for XML.
pub(crate) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            // Most control characters can't be written in XML.
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// The same with a typographic minus sign.
pub(crate) fn typeset(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut before = ' ';
    let mut rest = text.chars().peekable();
    while let Some(c) = rest.next() {
        let sign = c == '-' && !before.is_alphanumeric() && rest.peek().is_some_and(char::is_ascii_digit);
        out.push(if sign { '−' } else { c });
        before = c;
    }
    escape(&out)
}

fn shortened(text: &str, longest: usize) -> String {
    if text.chars().count() <= longest {
        return text.into();
    }
    text.chars().take(longest - 1).chain(['…']).collect()
}

/// The verdict's first sentence, which is about the mono wedge.
fn wedge_sentence(preset: &Judged<'_>) -> String {
    preset
        .verdict
        .split_once(". ")
        .map_or(preset.verdict.clone(), |(first, _)| format!("{first}."))
}

fn description(preset: &Judged<'_>) -> String {
    format!(
        "Sum difference of dry and wet in the mono wedge over frequency, and correlation by band. {}",
        wedge_sentence(preset)
    )
}

/// Position of a frequency, px.
fn x(hz: f64) -> f64 {
    LEFT + (RIGHT - LEFT) * (hz / LOWEST_HZ).ln() / (HIGHEST_HZ / LOWEST_HZ).ln()
}

/// Position of a level, px; a level below the picture's range is drawn at the lower edge.
fn y(level_db: f64) -> f64 {
    let level = level_db.clamp(LOWEST_DB, HIGHEST_DB);
    LEVEL_TOP + (LEVEL_BOTTOM - LEVEL_TOP) * (HIGHEST_DB - level) / (HIGHEST_DB - LOWEST_DB)
}

fn draw(out: &mut String, preset: &Judged<'_>) -> std::fmt::Result {
    let mut board = preset.take.board(&preset.view.rig, 0.0);
    level_frame(out)?;
    level_curves(out, preset, &mut board)?;
    correlation(out, preset, &board)
}

fn level_frame(out: &mut String) -> std::fmt::Result {
    write!(
        out,
        "<text x=\"{LEFT}\" y=\"13\">sum difference in the mono wedge, dB</text>"
    )?;
    for level in [0.0, -6.0, -12.0, -18.0, -24.0] {
        let class = if level == 0.0 { "zero" } else { "hair" };
        let y = y(level);
        write!(
            out,
            "<path class=\"{class}\" d=\"M{LEFT} {y:.1}H{RIGHT}\"/><text class=\"faint\" text-anchor=\"end\" x=\"{:.1}\" \
             y=\"{:.1}\">{}</text>",
            LEFT - 7.0,
            y + 4.0,
            if level == 0.0 {
                "0".to_string()
            } else {
                format!("−{}", -level)
            }
        )?;
    }
    for (label, hz) in TICKS {
        let x = x(hz);
        write!(
            out,
            "<path class=\"hair\" d=\"M{x:.1} {LEVEL_BOTTOM}v4\"/><text class=\"faint\" text-anchor=\"middle\" x=\"{x:.1}\" \
             y=\"{:.1}\">{label}</text>",
            LEVEL_BOTTOM + 16.0
        )?;
    }
    write!(
        out,
        "<text class=\"faint\" x=\"{:.1}\" y=\"{:.1}\">Hz</text>",
        RIGHT + 8.0,
        LEVEL_BOTTOM + 16.0
    )?;
    // The notes are at the upper edge, clear of the curves.
    for (name, hz) in OPEN_STRINGS.into_iter().chain(ABOVE) {
        let x = x(hz);
        write!(
            out,
            "<path class=\"hair\" d=\"M{x:.1} {LEVEL_TOP}v-4\"/><text class=\"faint\" text-anchor=\"middle\" x=\"{x:.1}\" \
             y=\"{:.1}\">{name}</text>",
            LEVEL_TOP - 6.0
        )?;
    }
    Ok(())
}

fn level_curves(out: &mut String, preset: &Judged<'_>, board: &mut Board) -> std::fmt::Result {
    let faulty = preset.wedge.worse.unwrap_or(Side::Left);
    let mut curves = [[f32::NAN; MAX_TWENTY_FOURTHS]; 3];
    let [dry, wet, all] = &mut curves;
    board.curves(FeedId::MonoWedge, faulty, &preset.take.split, [dry, wet, all]);
    let centres: Vec<f64> = board
        .scorer()
        .twenty_fourths()
        .bands()
        .iter()
        .map(|band| band.centre_hz())
        .collect();
    let score = preset.wedge.score;
    let parts = [
        ("all", "all", "all", 1.0, Some(&curves[2])),
        (
            "wet",
            "wet-text",
            "wet",
            1.8,
            score.and_then(|score| score.wet_db).map(|_| &curves[1]),
        ),
        (
            "dry",
            "dry-text",
            "dry",
            1.8,
            score.and_then(|score| score.dry_db).map(|_| &curves[0]),
        ),
    ];
    let mut labels: Vec<(f64, &str, &str)> = Vec::new();
    for (class, text_class, name, width, curve) in parts {
        let Some(curve) = curve.filter(|_| score.is_some()) else {
            continue;
        };
        let points: Vec<Option<(f64, f64)>> = centres
            .iter()
            .zip(curve)
            .filter(|(hz, _)| (LOWEST_HZ..=HIGHEST_HZ).contains(*hz))
            .map(|(&hz, &level)| (!level.is_nan()).then(|| (x(hz), y(f64::from(level)))))
            .collect();
        let path = path(&points);
        if path.is_empty() {
            continue;
        }
        write!(
            out,
            "<path class=\"{class}\" stroke-width=\"{width}\" stroke-linejoin=\"round\" d=\"{path}\"/>"
        )?;
        if let Some((_, y)) = points.iter().rev().find_map(|point| *point) {
            labels.push((y, text_class, name));
        }
    }
    name_curves(out, labels)
}

/// Draws labels (height, class, name) at the ends of their curves, moved apart.
fn name_curves(out: &mut String, mut labels: Vec<(f64, &str, &str)>) -> std::fmt::Result {
    labels.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut lowest = f64::NEG_INFINITY;
    for (at, class, name) in &mut labels {
        *at = (*at + 4.0).max(lowest + 13.0);
        lowest = *at;
        let class = if *class == "all" { "" } else { class };
        write!(
            out,
            "<text class=\"{class}\" x=\"{:.1}\" y=\"{at:.1}\">{name}</text>",
            RIGHT + 8.0
        )?;
    }
    Ok(())
}

/// Shorter stretches of a curve, in points, are left out: specks between silent bands say nothing.
const SHORTEST: usize = 4;

/// A line through the existing points, broken where some are missing.
fn path(points: &[Option<(f64, f64)>]) -> String {
    let mut path = String::new();
    for stretch in points
        .split(Option::is_none)
        .filter(|stretch| stretch.len() >= SHORTEST)
    {
        for (number, (x, y)) in stretch.iter().flatten().enumerate() {
            let _ = write!(path, "{}{x:.1} {y:.1}", if number > 0 { 'L' } else { 'M' });
        }
    }
    path
}

fn correlation(out: &mut String, preset: &Judged<'_>, board: &Board) -> std::fmt::Result {
    let middle = (CORRELATION_TOP + CORRELATION_BOTTOM) / 2.0;
    let half = (CORRELATION_BOTTOM - CORRELATION_TOP) / 2.0;
    write!(
        out,
        "<text x=\"{LEFT}\" y=\"{:.1}\">correlation by 1/3 octave</text>",
        CORRELATION_TOP - 8.0
    )?;
    for (value, label) in [(1.0, "+1"), (0.0, "0"), (-1.0, "−1")] {
        let y = middle - half * value;
        let class = if value == 0.0 { "zero" } else { "hair" };
        write!(
            out,
            "<path class=\"{class}\" d=\"M{LEFT} {y:.1}H{RIGHT}\"/><text class=\"faint\" text-anchor=\"end\" x=\"{:.1}\" \
             y=\"{:.1}\">{label}</text>",
            LEFT - 7.0,
            y + 4.0
        )?;
    }
    let (grid, map) = (board.scorer().grid(), board.scorer().thirds());
    let total = &preset.take.split.total;
    let floor = db::to_power(BAND_FLOOR_DBFS);
    for (index, band) in map.bands().iter().enumerate() {
        let (lower, upper) = (band.lower_hz.max(LOWEST_HZ), band.upper_hz.min(HIGHEST_HZ));
        let reading = total.band(grid, map, index);
        let audible = reading.left > floor && reading.right > floor;
        let Some(correlation) = reading.correlation.filter(|_| audible && upper > lower * 1.1) else {
            continue;
        };
        let (left, right) = (x(lower) + 1.0, x(upper) - 1.0);
        // A bar is never so short that it looks like a missing one.
        let height = (half * correlation.abs()).max(1.0);
        let top = if correlation > 0.0 {
            middle - height
        } else {
            middle
        };
        write!(
            out,
            "<rect class=\"bar\" x=\"{left:.1}\" y=\"{top:.1}\" width=\"{:.1}\" height=\"{height:.1}\"/>",
            right - left
        )?;
    }
    write!(
        out,
        "<text class=\"faint key\" x=\"{LEFT}\" y=\"{:.1}\">{KEY}</text>",
        HEIGHT - 6.0
    )
}
