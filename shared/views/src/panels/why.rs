//! Why the feeds come out as they do, and what now.

use egui::{Align2, Id, Pos2, Rect, Role, Sense, Shape, Stroke, Ui, WidgetInfo, pos2, vec2};
use sumproof_core::routing::line::Polarity;
use sumproof_core::session::reading::Reading;
use sumproof_core::split::Method;

use crate::canvas::{Sheet, Word, button, write};
use crate::data::snapshot::{Margin, Snapshot};
use crate::style::Style;
use crate::widgets::scroll::{Passage, Scroll, scrolled};
use sumproof_wording::numbers::milliseconds;

/// A delay that makes no difference, seconds: below it channels count as on time.
const ON_TIME_S: f64 = 0.000_02;

/// What is between the channels, in words.
pub fn between_channels(reading: &Reading) -> String {
    if reading.correlation.is_none() {
        return String::from("Between the channels: no reading.");
    }
    let Some(delay) = reading.delay else {
        return String::from(
            "Between the channels: no single delay; they are too different to tell, or one tone only.",
        );
    };
    let sure = format!("{:.0}\u{a0}% sure", delay.confidence.clamp(0.0, 1.0) * 100.0);
    let polarity = match delay.polarity {
        Polarity::Normal => "same polarity",
        Polarity::Flipped => "one flipped",
    };
    if delay.delay_s.abs() < ON_TIME_S {
        format!("Between the channels: no delay, {polarity} ({sure}).")
    } else {
        let late = if delay.delay_s > 0.0 { "right" } else { "left" };
        format!(
            "Between the channels: the {late} one {} late, {polarity} ({sure}).",
            milliseconds(delay.delay_s.abs())
        )
    }
}

/// How dry and wet were told apart, how sure that is, and how much there is of each, in words.
pub fn told_apart(reading: &Reading) -> String {
    let how = match reading.method {
        Method::Estimated => match reading.wet_over_dry_db.and(reading.wet_over_dry_range_db) {
            Some(range) if range.iter().any(|db| db.is_finite()) => {
                format!("estimated: {} is possible", span(range))
            }
            Some(_) => String::from("estimated; how near can\u{2019}t be told"),
            None => String::from("estimated"),
        },
        Method::TwoPass => String::from("from two passes, effects off and dry off"),
        Method::SideChain => String::from("from the dry signal on the side-chain"),
    };
    match reading.wet_over_dry_db {
        None => format!("Dry and wet: no reading ({how})."),
        Some(db) if db <= -40.0 => format!("No wet found ({how})."),
        Some(db) if db >= 40.0 => format!("No dry found ({how})."),
        Some(db) if db <= 0.0 => format!("In stereo the wet is {:.1} dB below the dry ({how}).", -db),
        Some(db) => format!("In stereo the wet is {db:.1} dB above the dry ({how})."),
    }
}

/// A range of wet over dry, dB, in words; an open end is left out.
fn span([least, most]: [f64; 2]) -> String {
    let place = |db: f64| {
        let whole = db.round();
        if whole < 0.0 {
            format!("{} dB below", -whole)
        } else if whole > 0.0 {
            format!("{whole} dB above")
        } else {
            String::from("as much")
        }
    };
    match (least.is_finite(), most.is_finite()) {
        (true, true) if least.round() < 0.0 && most.round() < 0.0 => {
            format!("{} to {} dB below", -least.round(), -most.round())
        }
        (true, true) if least.round() > 0.0 => format!("{} to {} dB above", least.round(), most.round()),
        (true, true) => format!("{} to {}", place(least), place(most)),
        (true, false) => format!("{} or more", place(least)),
        _ => format!("{} or less", place(most)),
    }
}

/// How much sound a reading rests on.
fn rests_on(reading: &Reading) -> Option<String> {
    (reading.correlation.is_some() && reading.averages < 4.0)
        .then(|| String::from("Only just begun: the figures still settle."))
}

/// A figure and its unit stay on one line.
fn together(line: String) -> String {
    [" dB", " ms", " Hz", " kHz"].iter().fold(line, |line, unit| {
        line.replace(unit, &unit.replace(' ', "\u{a0}"))
    })
}

/// Everything there is to say, under its headings: `true` for a heading.
fn lines(snapshot: &Snapshot) -> Vec<(bool, String)> {
    let reading = &snapshot.reading;
    let mut all: Vec<(bool, String)> = Vec::new();
    let mut headed = |head: &str, lines: Vec<String>| {
        if !lines.is_empty() {
            all.push((true, head.into()));
            all.extend(lines.into_iter().map(|line| (false, together(line))));
        }
    };
    let mut apart = vec![told_apart(reading)];
    apart.extend(snapshot.side_chain.map(|side_chain| side_chain.sentence()));
    // Where there's a diagnosis, it says what the bare facts say.
    let why = if snapshot.why.is_empty() {
        [Some(between_channels(reading)), rests_on(reading)]
            .into_iter()
            .flatten()
            .collect()
    } else {
        snapshot.why.clone()
    };
    // A side-chain may ask for something; otherwise it's what one wants to know last.
    if snapshot.side_chain.is_some() {
        headed("dry and wet", std::mem::take(&mut apart));
    }
    headed("why", why);
    headed("what now", snapshot.what_now.clone());
    headed("dry and wet", apart);
    all
}

/// Draws both, with the margin's map where there's one. In `whole` the text has all the width, and the map stands below it.
/// Returns whether all of it was asked for.
pub fn why(ui: &Ui, sheet: &Sheet<'_>, scroll: &mut Scroll, rect: Rect, whole: bool) -> bool {
    let style = sheet.style;
    let colours = style.colours;
    let snapshot = sheet.snapshot;
    let mut area = rect;
    let mut corner = rect.right_bottom();
    if let Some(margin) = snapshot
        .margin
        .as_ref()
        .filter(|margin| margin.delay_ms.len() > 1)
    {
        let map = if whole {
            let size = vec2(rect.width(), style.px(130.0).min(rect.height() * 0.3));
            area.max.y -= size.y + style.px(16.0);
            Rect::from_min_size(pos2(rect.left(), rect.bottom() - size.y), size)
        } else {
            let width = (rect.width() * 0.30).min(style.px(220.0));
            area.max.x -= width + style.px(14.0);
            // As high as wide: on a tall page the rest is air.
            let room = rect.height() - style.body().size * 1.5;
            Rect::from_min_size(
                pos2(rect.right() - width, rect.top()),
                vec2(width, room.min(width * 0.9)),
            )
        };
        margin_map(ui, &style, map, margin);
        corner.y = corner.y.min(rect.bottom());
    }
    let passages: Vec<Passage> = lines(snapshot)
        .into_iter()
        .map(|(is_head, text)| Passage {
            text,
            font: if is_head { style.label() } else { style.body() },
            colour: if is_head { colours.faint } else { colours.soft },
            after: style.px(if is_head { 1.0 } else { 4.0 }),
        })
        .collect();
    let id = Id::unique(("why", whole));
    let more = scrolled(ui, &style, id, area, &passages, scroll);
    if !more || whole || style.compact || area.right() == rect.right() {
        return false;
    }
    let word = Word {
        text: "all of it",
        name: "all of why and what now",
        tip: "Shows all of this at once, in the place of the curves. The wheel moves the text here.",
    };
    let id = Id::unique("all of why");
    button(ui, &style, id, corner, Align2::RIGHT_BOTTOM, style.body(), &word).clicked()
}

/// The margin as a small map: change of the dry over a delay between the lines, straight and flipped.
fn margin_map(ui: &Ui, style: &Style, rect: Rect, margin: &Margin) {
    let colours = style.colours;
    let response = ui.interact(rect, Id::unique("margin"), Sense::hover());
    let reach = margin.reach_ms.map_or_else(
        || String::from("no delay takes the dry 2 dB down"),
        |ms| format!("a line may be {ms:.2} ms late before the dry is 2 dB down"),
    );
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, format!("margin: {reach}")));
    let label = write(
        ui,
        rect.min,
        Align2::LEFT_TOP,
        "margin",
        style.label(),
        colours.faint,
    );
    let foot = style.small().size * 1.3;
    let plot = Rect::from_min_max(
        pos2(rect.left(), label.bottom() + style.px(4.0)),
        pos2(rect.right(), rect.bottom() - foot),
    );
    let most_ms = margin.delay_ms.last().copied().unwrap_or(1.0).max(1e-3);
    let place = |ms: f32, db: f32| -> Pos2 {
        pos2(
            plot.left() + plot.width() * (ms / most_ms).clamp(0.0, 1.0),
            plot.top() + plot.height() * (-db.clamp(-24.0, 0.0) / 24.0),
        )
    };
    ui.painter().hline(plot.x_range(), plot.top(), style.hairline());
    ui.painter()
        .hline(plot.x_range(), plot.bottom(), style.hairline());
    let line = |values: &[f32]| -> Vec<Pos2> {
        margin
            .delay_ms
            .iter()
            .zip(values)
            .map(|(&ms, &db)| place(ms, if db.is_nan() { -24.0 } else { db }))
            .collect()
    };
    ui.painter().add(Shape::line(
        line(&margin.straight_db),
        style.line(2.0, colours.dry),
    ));
    ui.painter().extend(Shape::dashed_line(
        &line(&margin.flipped_db),
        style.line(1.5, colours.dry),
        style.px(4.0),
        style.px(4.0),
    ));
    if let Some(ms) = margin.reach_ms {
        ui.painter()
            .vline(place(ms, 0.0).x, plot.y_range(), Stroke::new(1.0, colours.ink));
    }
    write(
        ui,
        pos2(plot.left(), rect.bottom()),
        Align2::LEFT_BOTTOM,
        "0",
        style.small(),
        colours.faint,
    );
    write(
        ui,
        pos2(plot.right(), rect.bottom()),
        Align2::RIGHT_BOTTOM,
        &format!("{most_ms:.0} ms late"),
        style.small(),
        colours.faint,
    );
    response.on_hover_text(format!(
        "How far the dry goes down when one line is late; dashed with that line flipped as well: {reach}."
    ));
}

#[cfg(test)]
mod tests {
    use super::*;

    fn estimated(db: f64, range: [f64; 2]) -> String {
        told_apart(&Reading {
            wet_over_dry_db: Some(db),
            wet_over_dry_range_db: Some(range),
            ..Reading::default()
        })
    }

    #[test]
    fn an_estimate_says_how_sure_it_is() {
        let said = estimated(-6.0, [-11.0, -1.2]);
        assert_eq!(
            said,
            "In stereo the wet is 6.0 dB below the dry (estimated: 11 to 1 dB below is possible)."
        );
        assert!(estimated(1.0, [-3.0, 4.0]).contains("3 dB below to 4 dB above"));
        assert!(estimated(9.0, [2.0, f64::INFINITY]).contains("2 dB above or more"));
        assert!(estimated(-9.0, [f64::NEG_INFINITY, -2.0]).contains("2 dB below or less"));
        let open = estimated(-6.0, [f64::NEG_INFINITY, f64::INFINITY]);
        assert!(open.contains("can\u{2019}t be told"), "{open}");
        assert!(told_apart(&Reading::default()).contains("no reading"));
    }

    #[test]
    fn how_dry_and_wet_were_told_apart_is_always_there() {
        let mut snapshot = Snapshot::default();
        let says = |snapshot: &Snapshot| {
            lines(snapshot)
                .iter()
                .any(|(_, line)| line.starts_with("Dry and wet:"))
        };
        assert!(says(&snapshot));
        snapshot.why = vec!["Nothing wrong.".into()];
        assert!(says(&snapshot));
    }
}
