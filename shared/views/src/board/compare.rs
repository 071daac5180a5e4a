//! One or two takes beside the live reading, row by row in line with the board.

use egui::{Align2, FontId, Id, Rect, Role, Sense, Ui, WidgetInfo, pos2, vec2};
use sumproof_core::dsp::numbers::to_index;
use sumproof_core::score::board::Row;
use sumproof_wording::Name;
use sumproof_wording::channels;
use sumproof_wording::scores::{spoken, unknown_wet, word};
use sumproof_wording::sets;

use crate::board::{full_name, is_shown, row_name, shown_rows};
use crate::canvas::{Sheet, outcome_stroke, write, write_within};
use crate::data::snapshot::TakeSummary;
use crate::panels::takes::set::lines::loudness;
use crate::style::Style;
use sumproof_wording::numbers::{correlation, decibels, duration, signed};

/// Draws the picked takes side by side. `rows` are the top and bottom of the board's rows; with `names` the feeds are
/// named here, because the board isn't beside it.
pub fn compare(ui: &Ui, sheet: &Sheet<'_>, rect: Rect, rows: (f32, f32), names: bool, picked: &[usize]) {
    let style = sheet.style;
    let colours = style.colours;
    let names_width = if names {
        style.px(200.0).min(rect.width() * 0.4)
    } else {
        0.0
    };
    let takes: Vec<&TakeSummary> = picked
        .iter()
        .filter_map(|&index| sheet.snapshot.takes.get(index))
        .collect();
    let width = (rect.width() - names_width) / takes.len().max(1) as f32;
    let width = width.min(style.px(260.0));
    let height = (rows.1 - rows.0) / shown_rows(sheet.snapshot) as f32;
    if names && let Some(take) = takes.first() {
        for (index, row) in shown(sheet, take) {
            let name = row_name(sheet.snapshot, row.id);
            write(
                ui,
                pos2(rect.left(), rows.0 + height * (index as f32 + 0.5)),
                Align2::LEFT_CENTER,
                name,
                row_font(&style, false),
                colours.soft,
            );
        }
    }
    for (n, take) in takes.iter().enumerate() {
        let left = rect.left() + names_width + width * n as f32;
        let column = Rect::from_min_max(
            pos2(left, rect.top()),
            pos2(left + width - style.px(14.0), rect.bottom()),
        );
        let other = takes.first().copied().filter(|_| n > 0);
        take_column(ui, sheet, column, rows, (take, other), n);
    }
}

/// Draws one take; the second one's loudness is given relative to the first one's.
fn take_column(
    ui: &Ui,
    sheet: &Sheet<'_>,
    rect: Rect,
    rows: (f32, f32),
    (take, other): (&TakeSummary, Option<&TakeSummary>),
    n: usize,
) {
    let style = sheet.style;
    let colours = style.colours;
    let (dry, wet) = (rect.right() - style.px(48.0), rect.right());
    let base = rows.0 - style.px(4.0);
    write_within(
        ui,
        pos2(rect.left(), base - style.strong().size * 1.3),
        dry - style.px(42.0) - rect.left(),
        1,
        &take.name,
        style.strong(),
        colours.ink,
    );
    for (x, text, colour) in [(dry, "dry", colours.dry), (wet, "wet", colours.wet_text)] {
        write(
            ui,
            pos2(x, base),
            Align2::RIGHT_BOTTOM,
            text,
            style.label(),
            colour,
        );
    }
    ui.painter().hline(rect.x_range(), rows.0, style.hairline());
    let height = (rows.1 - rows.0) / shown_rows(sheet.snapshot) as f32;
    for (index, row) in shown(sheet, take) {
        let place = Rect::from_min_size(
            pos2(rect.left(), rows.0 + height * index as f32),
            vec2(rect.width(), height),
        );
        take_row(ui, sheet, place, (dry, wet), row, &take.name, n);
    }
    about(ui, sheet, rect, rows.1, (take, other));
}

/// The rows that stand on the board too.
fn shown<'a>(sheet: &Sheet<'a>, take: &'a TakeSummary) -> impl Iterator<Item = (usize, &'a Row)> {
    let snapshot = sheet.snapshot;
    let rows = take.rows.iter().enumerate();
    rows.filter(move |(_, row)| is_shown(snapshot, row.id))
}

fn take_row(ui: &Ui, sheet: &Sheet<'_>, rect: Rect, (dry, wet): (f32, f32), row: &Row, name: &str, n: usize) {
    let style = sheet.style;
    let colours = style.colours;
    let middle = rect.center().y;
    let response = ui.interact(rect, Id::unique(("compared", n, row.id.id())), Sense::hover());
    let said = spoken(row, full_name(sheet.snapshot, row.id));
    response.widget_info(|| WidgetInfo::labeled(Role::Label, true, format!("take {name}, {said}")));
    let (Some(score), Some(outcome)) = (row.score, row.outcome) else {
        write(
            ui,
            pos2(rect.left(), middle),
            Align2::LEFT_CENTER,
            &word(row),
            style.label(),
            colours.faint,
        );
        return;
    };
    // An outcome that differs from the live one is set strong.
    let now = sheet.snapshot.reading.row(row.id).outcome;
    let differs = now.is_some_and(|now| now != outcome);
    let font = row_font(&style, differs);
    outcome_stroke(
        ui,
        pos2(rect.left(), middle + style.px(1.0)),
        style.px(18.0),
        outcome,
        style.line(if differs { 3.0 } else { 2.0 }, colours.ink),
    );
    write(
        ui,
        pos2(rect.left() + style.px(24.0), middle),
        Align2::LEFT_CENTER,
        &word(row),
        font,
        colours.ink,
    );
    let change = |value: Option<f64>, at_floor: bool| match value {
        None => String::from("–"),
        Some(_) if at_floor => String::from("<\u{2212}20"),
        Some(db) => decibels(db),
    };
    for (x, text) in [
        (dry, change(score.dry_db, score.dry_at_floor)),
        (
            wet,
            unknown_wet(&score).map_or_else(|| change(score.wet_db, false), |_| String::from("?")),
        ),
    ] {
        write(
            ui,
            pos2(x, middle),
            Align2::RIGHT_CENTER,
            &text,
            row_font(&style, false),
            colours.soft,
        );
    }
    response.on_hover_text_at_pointer(said);
}

fn about(
    ui: &Ui,
    sheet: &Sheet<'_>,
    rect: Rect,
    top: f32,
    (take, other): (&TakeSummary, Option<&TakeSummary>),
) {
    let style = sheet.style;
    let check = if take.failed { ", failed its check" } else { "" };
    let mut lines = vec![format!(
        "{}, {} pass{check}",
        duration(take.seconds),
        take.pass.name()
    )];
    let [stereo, wedge] = loudness(take);
    lines.extend(stereo.map(|lufs| sets::loudness(lufs, wedge)));
    if let Some(other) = other {
        let [stereo_of_other, wedge_of_other] = loudness(other);
        let apart = |one: Option<f64>, other: Option<f64>| Some(one? - other?);
        let lu = apart(stereo, stereo_of_other);
        lines.extend(lu.map(|lu| sets::against_the_first(lu, apart(wedge, wedge_of_other))));
    }
    lines.push(match take.wet_over_dry_db {
        Some(db) if db.is_finite() => format!("wet {} dB over dry, {}", signed(db, 1), take.method.name()),
        _ => String::from("no reading of dry and wet"),
    });
    if take.invalid_frames > 0 {
        lines.push(format!("{} frames were no sound", take.invalid_frames));
    }
    lines.extend(channels::gaps(take.gaps));
    if let Some(value) = take.correlation {
        lines.push(format!("correlation {}", correlation(value)));
    }
    let mut at = pos2(rect.left(), top + style.px(12.0));
    let height = style.body().size * 1.25;
    // The name in full: the column's heading may have had no room for it.
    let name = (take.name.as_str(), style.strong());
    let rest = lines.iter().map(|line| (line.as_str(), style.body()));
    for (line, font) in std::iter::once(name).chain(rest) {
        let rows = to_index(f64::from(((rect.bottom() - at.y) / height).floor()));
        if rows == 0 {
            break;
        }
        let colour = style.colours.soft;
        at.y = write_within(ui, at, rect.width(), rows.min(2), line, font, colour).bottom();
    }
}

/// Two takes have to fit where the plots were: smaller than on the board.
fn row_font(style: &Style, strong: bool) -> FontId {
    let family = if strong {
        style.strong().family
    } else {
        style.body().family
    };
    FontId::new(style.label().size, family)
}
