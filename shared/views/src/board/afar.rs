//! The view for a player two metres away with both hands on the guitar: the worst outcome, in large letters.

use egui::{Align2, FontId, Id, Rect, Role, Sense, Ui, WidgetInfo, pos2, vec2};
use sumproof_core::score::board::{FEEDS, Row};
use sumproof_core::session::set;
use sumproof_wording::phrase::of_what;
use sumproof_wording::scores::{changes, word};

use crate::board::{full_name, is_shown};
use crate::canvas::{Sheet, outcome_stroke, write_within};
use crate::data::snapshot::Snapshot;
use crate::style::STRONG;
use sumproof_wording::numbers::{decibels, duration};

/// Font sizes as shares of the window's height. A capital of this typeface is 0.64 of its font size: the word's are 9 %
/// of the height, the lines' 4.2 %, and the smallest figures' 2.9 %.
const WORD: f32 = 0.14;
const LINE: f32 = 0.066;
const SMALL: f32 = 0.046;

/// The row with the worst outcome, of those on the board.
fn worst<'a>(snapshot: &Snapshot, rows: &'a [Row; FEEDS]) -> Option<&'a Row> {
    set::worst(rows.iter().filter(|row| is_shown(snapshot, row.id)))
}

/// The take being recorded, or the name of the next take.
fn of_takes(snapshot: &Snapshot) -> String {
    let next = snapshot.names.next_name();
    if snapshot.settings.record || snapshot.reading.recording {
        let name = next.map_or_else(String::new, |name| format!(" \u{2018}{name}\u{2019}"));
        return format!("recording{name}, {}", duration(snapshot.reading.take_s));
    }
    match (snapshot.settings.takes_by_phrase, next, snapshot.takes.last()) {
        (true, Some(name), _) => format!("next take: \u{2018}{name}\u{2019}"),
        (true, None, _) => String::from("every phrase becomes a take"),
        (false, _, Some(take)) => format!("last take: \u{2018}{}\u{2019}", take.name),
        (false, _, None) => String::from("no take yet"),
    }
}

/// Level of the phrase, and which phrase it is.
fn of_level(snapshot: &Snapshot) -> String {
    let reading = &snapshot.reading;
    let of = of_what(&reading.phrase, snapshot.settings.integration.over());
    let level_db = reading.left_db.max(reading.right_db);
    if level_db.is_finite() && !of.is_empty() {
        format!("{} dBFS in {of}", decibels(level_db))
    } else {
        String::from("no sound yet")
    }
}

/// Draws the view over `area`.
pub fn afar(ui: &Ui, sheet: &Sheet<'_>, area: Rect, rows: &[Row; FEEDS]) {
    let style = sheet.style;
    let snapshot = sheet.snapshot;
    let inside = area.shrink2(vec2(area.width() * 0.04, area.height() * 0.07));
    let size = |share: f32| share * area.height();
    let row = worst(snapshot, rows);
    let mut lines = vec![row.map_or_else(|| String::from("play"), word)];
    lines.push(row.map_or_else(String::new, |row| full_name(snapshot, row.id).to_owned()));
    lines.push(
        row.and_then(|row| row.score)
            .map_or_else(String::new, |score| changes(&score)),
    );
    lines.push(of_takes(snapshot));
    lines.push(of_level(snapshot));
    let mut y = inside.top();
    if let Some(outcome) = row.and_then(|row| row.outcome) {
        let at = pos2(inside.left(), y + size(0.02));
        outcome_stroke(
            ui,
            at,
            size(0.4),
            outcome,
            style.line(size(0.02) / style.scale, style.colours.ink),
        );
    }
    y += size(0.05);
    for (n, line) in lines.iter().enumerate() {
        let (share, strong) = match n {
            0 => (WORD, true),
            1 | 2 => (LINE, false),
            3 => (LINE, snapshot.settings.record),
            _ => (SMALL, false),
        };
        let font = font(size(share), strong);
        let ink = if n == 4 {
            style.colours.soft
        } else {
            style.colours.ink
        };
        write_within(ui, pos2(inside.left(), y), inside.width(), 1, line, font, ink);
        y += size(share) * 1.5;
    }
    let response = ui.interact(area, Id::unique("from afar"), Sense::hover());
    let said = lines.join("; ");
    response.widget_info(|| WidgetInfo::labeled(Role::Label, true, &said));
    let foot = "F5 or Escape: back to everything";
    let font = font(size(SMALL), false);
    crate::canvas::write(
        ui,
        inside.left_bottom(),
        Align2::LEFT_BOTTOM,
        foot,
        font,
        style.colours.faint,
    );
}

fn font(size: f32, strong: bool) -> FontId {
    if strong {
        FontId::new(size, egui::FontFamily::Name(STRONG.into()))
    } else {
        FontId::proportional(size)
    }
}
