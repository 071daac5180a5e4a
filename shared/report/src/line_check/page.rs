//! The findings as one self-contained HTML page.

use std::fmt::Write;

use sumproof_core::line_check::{Curve, Findings};
use sumproof_wording::line_check::sentence;

use super::text::rows;
use super::{cannot_know, notice};
use crate::formats::picture::{escape, typeset};

const STYLE: &str = include_str!("../formats/page.css");
/// Fits pictures to the page, whatever its width.
const FITTING: &str = "@media screen { .picture { min-width: 0; max-width: 46rem; } .picture text { font-size: 13px; } dd, p { overflow-wrap: anywhere; } }\n";
/// Narrow enough that a phone shows the text at a readable size.
const WIDTH: f64 = 520.0;
const HEIGHT: f64 = 236.0;
const LEFT: f64 = 52.0;
const RIGHT: f64 = 504.0;
const TOP: f64 = 18.0;
const BOTTOM: f64 = 196.0;
const TICKS_HZ: [(&str, f64); 10] = [
    ("20", 20.0),
    ("50", 50.0),
    ("100", 100.0),
    ("200", 200.0),
    ("500", 500.0),
    ("1k", 1000.0),
    ("2k", 2000.0),
    ("5k", 5000.0),
    ("10k", 10_000.0),
    ("20k", 20_000.0),
];

/// Strokes of the lines: left wide and pale below, right thin and dark on top, so that they can be told apart where
/// they cross.
const STROKES: [&str; 2] = [
    " style=\"stroke:var(--faint);stroke-opacity:.55\" stroke-width=\"4.2\"",
    " stroke-width=\"1.3\"",
];
const ALONE: &str = " stroke-width=\"1.3\"";

/// The page: the findings, the sentence for the engineer, and the pictures.
#[must_use]
pub fn html(finding: &Findings, name: &str) -> String {
    let mut out = String::with_capacity(96 * 1024);
    // Writing into a string can't fail.
    let _ = write(&mut out, finding, name);
    out
}

fn write(out: &mut String, finding: &Findings, name: &str) -> std::fmt::Result {
    write!(
        out,
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" \
         content=\"width=device-width, initial-scale=1\">\n<meta name=\"generator\" content=\"Sumproof {}\">\n\
         <title>Line check: {}</title>\n<link rel=\"icon\" href=\"data:,\">\n<style>\n{STYLE}{FITTING}</style>\n</head>\n<body>\n\
         <h1>Line check</h1>\n<p class=\"note\">{}</p>\n<p><strong>Tell the engineer:</strong> {}</p>\n<dl class=\"figures\">",
        env!("CARGO_PKG_VERSION"),
        escape(name),
        escape(name),
        typeset(&sentence(finding))
    )?;
    for (label, text) in rows(finding) {
        write!(out, "<dt>{}</dt><dd>{}</dd>", escape(&label), typeset(&text))?;
    }
    out.push_str("</dl>\n");
    for &found in &finding.notices {
        writeln!(
            out,
            "<p class=\"note\">{}</p>",
            typeset(&notice(finding, found).1)
        )?;
    }
    for line in cannot_know(finding) {
        writeln!(out, "<p class=\"note\">{}</p>", typeset(line))?;
    }
    write_pictures(out, finding)?;
    out.push_str("</body>\n</html>\n");
    Ok(())
}

fn write_pictures(out: &mut String, finding: &Findings) -> std::fmt::Result {
    let pictures = &finding.pictures;
    out.push_str(
        "<h2 style=\"margin-top:1.6rem\">What arrives of a click</h2>\n<p class=\"note\">Impulse responses of the lines as recorded, loudspeaker and room \
         included; 1 is the taller one's peak. Left line wide and pale, right line thin and dark.</p>\n",
    );
    write_picture(
        out,
        "Impulse responses",
        &Axes::time(),
        &lines(&pictures.impulses),
    )?;
    out.push_str(
        "<h2 style=\"margin-top:1.6rem\">What arrives of each frequency</h2>\n<p class=\"note\">Levels where they stand out of the noise; 0 dB is the \
         loudest band. Left line wide and pale, right line thin and dark.</p>\n",
    );
    write_picture(
        out,
        "Responses",
        &Axes::level(-48.0, 6.0),
        &lines(&pictures.responses),
    )?;
    if finding.pair.is_some() {
        out.push_str(
            "<h2 style=\"margin-top:1.6rem\">Right against left</h2>\n<p class=\"note\">Level, then phase with the delay and the polarity taken out: what \
             both lines share (room, loudspeaker, microphone) falls out.</p>\n",
        );
        let middle = finding
            .pair
            .as_ref()
            .and_then(|pair| pair.level_db.value())
            .map_or(0.0, |level_db| (level_db / 6.0).round() * 6.0);
        write_picture(
            out,
            "Right over left, level",
            &Axes::level(middle - 18.0, middle + 18.0),
            &[(&pictures.difference_db, ALONE)],
        )?;
        write_picture(
            out,
            "Right over left, phase",
            &Axes::phase(),
            &[(&pictures.difference_degrees, ALONE)],
        )?;
    }
    Ok(())
}

fn lines(curves: &[Curve; 2]) -> [(&Curve, &'static str); 2] {
    [(&curves[0], STROKES[0]), (&curves[1], STROKES[1])]
}

/// Both axes of a picture.
struct Axes {
    low: f64,
    high: f64,
    step: f64,
    unit: &'static str,
    /// Whether the horizontal axis is in milliseconds, not in hertz.
    is_time: bool,
}

impl Axes {
    fn time() -> Self {
        Self {
            low: -1.0,
            high: 1.0,
            step: 0.5,
            unit: "",
            is_time: true,
        }
    }

    fn level(low: f64, high: f64) -> Self {
        Self {
            low,
            high,
            step: if high - low > 40.0 { 12.0 } else { 6.0 },
            unit: " dB",
            is_time: false,
        }
    }

    fn phase() -> Self {
        Self {
            low: -180.0,
            high: 180.0,
            step: 90.0,
            unit: "°",
            is_time: false,
        }
    }

    fn x(&self, value: f64) -> f64 {
        let share = if self.is_time {
            (value + 2.0) / 32.0
        } else {
            (value / 18.0).ln() / (22_000.0f64 / 18.0).ln()
        };
        LEFT + share.clamp(0.0, 1.0) * (RIGHT - LEFT)
    }

    fn y(&self, value: f64) -> f64 {
        let share = (value - self.low) / (self.high - self.low);
        BOTTOM - share.clamp(0.0, 1.0) * (BOTTOM - TOP)
    }
}

fn write_picture(out: &mut String, title: &str, axes: &Axes, curves: &[(&Curve, &str)]) -> std::fmt::Result {
    write!(
        out,
        "<svg class=\"picture\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" role=\"img\"><title>{title}</title>"
    )?;
    write_axes(out, axes)?;
    for (curve, stroke) in curves.iter().filter(|(curve, _)| !curve.is_empty()) {
        write!(out, "<path class=\"all\"{stroke} d=\"")?;
        let mut last: Option<f64> = None;
        for &(at, value) in *curve {
            // A gap in the measured frequencies is a gap in the curve.
            let gap = !axes.is_time && last.is_some_and(|last| at > 1.25 * last);
            let command = if last.is_none() || gap { 'M' } else { 'L' };
            write!(out, "{command}{:.1} {:.1}", axes.x(at), axes.y(value))?;
            last = Some(at);
        }
        out.push_str("\"/>");
    }
    out.push_str("</svg>\n");
    Ok(())
}

fn write_axes(out: &mut String, axes: &Axes) -> std::fmt::Result {
    let mut value = (axes.low / axes.step).ceil() * axes.step;
    while value <= axes.high + 1e-9 {
        let y = axes.y(value);
        let class = if value.abs() < 1e-9 { "zero" } else { "hair" };
        let shown = if value < -1e-9 {
            format!("−{}", -value)
        } else {
            format!("{}", value.abs())
        };
        write!(
            out,
            "<path class=\"{class}\" d=\"M{LEFT} {y:.1}H{RIGHT}\"/><text class=\"faint\" x=\"{:.1}\" y=\"{:.1}\" \
             text-anchor=\"end\">{shown}{}</text>",
            LEFT - 6.0,
            y + 4.0,
            axes.unit
        )?;
        value += axes.step;
    }
    let ticks: Vec<(String, f64)> = if axes.is_time {
        (0..=6)
            .map(|n| (format!("{}", n * 5), f64::from(n * 5)))
            .collect()
    } else {
        TICKS_HZ
            .iter()
            .map(|(name, hz)| ((*name).to_owned(), *hz))
            .collect()
    };
    for (name, at) in ticks {
        let x = axes.x(at);
        write!(
            out,
            "<path class=\"hair\" d=\"M{x:.1} {BOTTOM}v5\"/><text class=\"faint\" x=\"{x:.1}\" y=\"{:.1}\" \
             text-anchor=\"middle\">{name}</text>",
            BOTTOM + 19.0
        )?;
    }
    write!(
        out,
        "<text class=\"faint\" x=\"{RIGHT}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>",
        BOTTOM + 36.0,
        if axes.is_time {
            "ms since the first arrival"
        } else {
            "Hz"
        }
    )
}
