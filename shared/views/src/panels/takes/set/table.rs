//! The table's lines: one focus for all of them; the arrows move from line to line.

use egui::{Align2, Id, Key, Rect, Role, ScrollArea, Sense, Ui, UiBuilder, WidgetInfo, pos2, vec2};
use sumproof_core::routing::feed::FeedId;
use sumproof_core::score::board::Row;
use sumproof_core::session::take::Pass;
use sumproof_wording::Name;
use sumproof_wording::numbers::signed;
use sumproof_wording::scores::word;

use super::super::{Action, Takes, act, rename};
use super::columns::Columns;
use super::lines::Line;
use super::{SetSheet, spoken};
use crate::board::row_name;
use crate::canvas::{Sheet, outcome_stroke, write, write_within};
use crate::widgets::scroll::keep_arrows;

/// Lines moved by Page Up and Page Down.
const PAGE: usize = 10;

/// Draws the lines into `rect` and handles keys and clicks.
pub fn table(
    ui: &mut Ui,
    sheet: &mut Sheet<'_>,
    state: &mut SetSheet,
    takes: &mut Takes,
    columns: &Columns,
    rect: Rect,
    lines: &[Line<'_>],
) {
    let style = sheet.style;
    let whole = ui.interact(rect, Id::unique("the set"), Sense::focusable_noninteractive());
    let here = lines.iter().position(|line| line.index == state.at).unwrap_or(0);
    whole.widget_info(|| {
        let at = lines.get(here).map_or_else(String::new, |line| {
            spoken(line, takes.picked().contains(&line.index))
        });
        WidgetInfo::labeled(
            Role::Table,
            true,
            format!("the set, {} takes, at {at}", lines.len()),
        )
    });
    if whole.has_focus() && !takes.is_typing() {
        keys(ui, sheet, state, takes, whole.id, lines, here);
    }
    // Whole lines only, unless the player scrolls.
    let height = style.body().size * 1.6;
    let rect = rect.with_max_y(rect.top() + height * (rect.height() / height).floor().max(1.0));
    let mut area = ui.new_child(UiBuilder::new().max_rect(rect).id_salt("set"));
    area.set_clip_rect(rect.expand2(vec2(6.0, 1.0)).intersect(ui.clip_rect()));
    area.spacing_mut().item_spacing.y = 0.0;
    area.spacing_mut().scroll.fade.strength = 0.0;
    ScrollArea::vertical().auto_shrink(false).show(&mut area, |ui| {
        for line in lines {
            let (place, _) = ui.allocate_exact_size(vec2(rect.width(), height), Sense::hover());
            let is_here = line.index == state.at;
            if is_here && std::mem::take(&mut state.follow) {
                ui.scroll_to_rect(place, None);
            }
            if !place.intersects(rect) && !is_here {
                continue;
            }
            one_line(ui, sheet, state, takes, columns, place, line);
            if is_here && whole.has_focus() {
                let stroke = egui::Stroke::new(1.5, style.colours.ink);
                let place = place.expand2(vec2(3.0, -1.0));
                ui.painter()
                    .rect_stroke(place, 0.0, stroke, egui::StrokeKind::Inside);
            }
        }
    });
}

/// Arrows, Page Up and Down, Home and End move to another line; Enter picks, Delete deletes.
fn keys(
    ui: &Ui,
    sheet: &mut Sheet<'_>,
    state: &mut SetSheet,
    takes: &mut Takes,
    id: Id,
    lines: &[Line<'_>],
    here: usize,
) {
    keep_arrows(ui, id);
    let last = lines.len().saturating_sub(1);
    let pressed = |key| ui.input(|input| input.num_presses(key));
    let down = pressed(Key::ArrowDown) + PAGE * pressed(Key::PageDown);
    let up = pressed(Key::ArrowUp) + PAGE * pressed(Key::PageUp);
    let mut to = (here + down).saturating_sub(up).min(last);
    if pressed(Key::Home) > 0 {
        to = 0;
    } else if pressed(Key::End) > 0 {
        to = last;
    }
    if to != here
        && let Some(line) = lines.get(to)
    {
        state.at = line.index;
        state.follow = true;
    }
    if pressed(Key::Enter) > 0 {
        takes.pick(state.at);
    }
    if pressed(Key::Delete) > 0 {
        act(sheet, takes, Action::Delete, state.at);
    }
}

fn one_line(
    ui: &mut Ui,
    sheet: &mut Sheet<'_>,
    state: &mut SetSheet,
    takes: &mut Takes,
    columns: &Columns,
    place: Rect,
    line: &Line<'_>,
) {
    let style = sheet.style;
    let colours = style.colours;
    let (index, middle) = (line.index, place.center().y);
    let picked = takes.picked().contains(&index);
    let response = ui.interact(place, Id::unique(("set line", index)), Sense::CLICK);
    response.widget_info(|| WidgetInfo::selected(Role::Row, true, picked, spoken(line, picked)));
    let ink = if index == state.at || response.hovered() {
        colours.ink
    } else {
        colours.soft
    };
    let number = format!("{}", index + 1);
    write(
        ui,
        pos2(columns.order, middle),
        Align2::RIGHT_CENTER,
        &number,
        style.small(),
        colours.faint,
    );
    if picked {
        let height = style.body().size;
        let mark = Rect::from_center_size(
            pos2(place.left() + style.px(3.0), middle),
            vec2(style.px(6.0), height),
        );
        ui.painter().rect_filled(mark, 0.0, colours.ink);
    }
    let end = columns.worst - style.px(12.0);
    let name = Rect::from_min_max(pos2(columns.name, place.top()), pos2(end, place.bottom()));
    if takes
        .renaming
        .as_ref()
        .is_some_and(|(renamed, _)| *renamed == index)
    {
        rename(ui, sheet, takes, name);
    } else {
        let font = if picked { style.strong() } else { style.body() };
        let at = pos2(name.left(), middle - font.size * 0.62);
        let written = write_within(ui, at, name.width(), 1, &line.take.name, font, ink);
        let room = name.right() - written.right() - style.px(10.0);
        let at = pos2(
            written.right() + style.px(10.0),
            middle - style.label().size * 0.62,
        );
        write_within(ui, at, room, 1, &note(line), style.label(), colours.faint);
    }
    outcomes(ui, sheet, columns, middle, line);
    let cells = [line.lufs[0], line.off_lu[0], line.lufs[1], line.off_lu[1]];
    for (n, (x, value)) in columns.figures.into_iter().zip(cells).enumerate() {
        let text = value.map_or_else(|| String::from("\u{2013}"), |value| signed(value, 1));
        let colour = if n % 2 == 0 { colours.soft } else { colours.ink };
        write(
            ui,
            pos2(x, middle),
            Align2::RIGHT_CENTER,
            &text,
            style.body(),
            colour,
        );
    }
    if response.double_clicked() {
        takes.renaming = Some((index, line.take.name.clone()));
    } else if response.clicked() {
        state.at = index;
        takes.pick(index);
    }
    response.on_hover_text_at_pointer(format!(
        "{}.\nClick to pick it or not, double-click to rename it.",
        spoken(line, picked)
    ));
}

/// Anything unusual about a take.
fn note(line: &Line<'_>) -> String {
    match (line.take.failed, line.take.pass) {
        (true, pass) => format!("{} pass, failed its check", pass.name()),
        (false, Pass::Full) => String::new(),
        (false, pass) => format!("{} pass", pass.name()),
    }
}

fn outcomes(ui: &Ui, sheet: &Sheet<'_>, columns: &Columns, middle: f32, line: &Line<'_>) {
    let style = sheet.style;
    let cell = |x: f32, row: &Row| -> f32 {
        let mut left = x;
        if !style.compact {
            if let Some(outcome) = row.outcome {
                let stroke = style.line(3.0, style.colours.ink);
                outcome_stroke(
                    ui,
                    pos2(left, middle + style.px(1.0)),
                    style.px(24.0),
                    outcome,
                    stroke,
                );
            }
            left += style.px(32.0);
        }
        let font = if row.outcome.is_some() {
            style.strong()
        } else {
            style.label()
        };
        let (at, colour) = (pos2(left, middle), style.colours.ink);
        write(ui, at, Align2::LEFT_CENTER, &word(row), font, colour).right()
    };
    if let Some(row) = line.worst {
        let right = cell(columns.worst, row);
        if !style.compact {
            // To the right of all words, in one column.
            let left = (columns.worst + style.px(122.0)).max(right + style.px(10.0));
            let at = pos2(left, middle - style.body().size * 0.62);
            let room = columns.wedge - style.px(12.0) - left;
            write_within(
                ui,
                at,
                room,
                1,
                row_name(sheet.snapshot, row.id),
                style.body(),
                style.colours.soft,
            );
        }
    }
    for (x, id) in [
        (columns.wedge, FeedId::MonoWedge),
        (columns.flipped, FeedId::WedgeLineFlipped),
    ] {
        if let Some(row) = line.row(id) {
            cell(x, row);
        }
    }
}
