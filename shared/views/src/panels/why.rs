//! Why the feeds have their outcomes, and what to do.

use egui::{Align2, Id, Pos2, Rect, Role, Sense, Shape, Stroke, Ui, WidgetInfo, pos2, vec2};
use sumproof_core::session::reading::Reading;
use sumproof_wording::channels;
use sumproof_wording::methods::{ask, told_apart};

use crate::canvas::{Sheet, Word, button, write};
use crate::data::snapshot::{Margin, Snapshot};
use crate::style::Style;
use crate::widgets::scroll::{Passage, Scroll, scrolled};

/// A note where a reading rests on little sound so far.
fn rests_on(reading: &Reading) -> Option<String> {
    (reading.correlation.is_some() && reading.averages < 4.0)
        .then(|| String::from("Only just begun: the figures still settle."))
}

/// Keeps a figure and its unit on one line.
fn together(line: String) -> String {
    [" dB", " ms", " Hz", " kHz"].iter().fold(line, |line, unit| {
        line.replace(unit, &unit.replace(' ', "\u{a0}"))
    })
}

/// All lines under their headings: `true` for a heading.
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
    apart.extend(reading.asks_for.map(|asked| String::from(ask(asked))));
    apart.extend(snapshot.side_chain.map(|side_chain| side_chain.sentence()));
    // The diagnosis, where there is one, contains the bare facts.
    let why = if snapshot.why.is_empty() {
        [Some(channels::between(reading)), rests_on(reading)]
            .into_iter()
            .flatten()
            .collect()
    } else {
        snapshot.why.clone()
    };
    // A side-chain may ask for an action, so it comes first; otherwise this is the least urgent part.
    if snapshot.side_chain.is_some() {
        headed("dry and wet", std::mem::take(&mut apart));
    }
    headed("why", why);
    headed("what now", snapshot.what_now.clone());
    headed("dry and wet", apart);
    all
}

/// Draws both, with the margin's map where there is one. In `whole` the text has the full width, and the map is below
/// it. Returns whether the full view was asked for.
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
            // As high as wide: on a tall page the rest stays empty.
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

/// Draws the margin as a small map: change of the dry over the delay between the lines, straight and flipped.
fn margin_map(ui: &Ui, style: &Style, rect: Rect, margin: &Margin) {
    let colours = style.colours;
    let response = ui.interact(rect, Id::unique("margin"), Sense::hover());
    let reach = margin.reach_ms.map_or_else(
        || String::from("no delay takes the dry 2 dB down"),
        |ms| format!("a line may be {ms:.2} ms late before the dry is 2 dB down"),
    );
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, format!("margin: {reach}")));
    let (align, font) = (Align2::LEFT_TOP, style.label());
    let label = write(ui, rect.min, align, "margin", font, colours.faint);
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
    for y in [plot.top(), plot.bottom()] {
        ui.painter().hline(plot.x_range(), y, style.hairline());
    }
    let line = |values: &[f32]| -> Vec<Pos2> {
        margin
            .delay_ms
            .iter()
            .zip(values)
            .map(|(&ms, &db)| place(ms, if db.is_nan() { -24.0 } else { db }))
            .collect()
    };
    let straight = Shape::line(line(&margin.straight_db), style.line(2.0, colours.dry));
    ui.painter().add(straight);
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
    for (x, align, text) in [
        (plot.left(), Align2::LEFT_BOTTOM, String::from("0")),
        (
            plot.right(),
            Align2::RIGHT_BOTTOM,
            format!("{most_ms:.0} ms late"),
        ),
    ] {
        let at = pos2(x, rect.bottom());
        write(ui, at, align, &text, style.small(), colours.faint);
    }
    response.on_hover_text(format!(
        "How far the dry goes down when one line is late; dashed with that line flipped as well: {reach}."
    ));
}

#[cfg(test)]
mod tests {
    use super::*;

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
