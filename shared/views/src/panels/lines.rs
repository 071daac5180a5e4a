//! The player's two lines.

use egui::{Align2, Id, Rect, Ui, pos2, vec2};
use sumproof_core::routing::feed::Side;
use sumproof_wording::Name;

use crate::canvas::{Sheet, Word, button, choice, write};
use crate::data::intent::Setting;
use crate::panels::boxes;
use crate::style::Style;
use crate::widgets::field::{Fields, field};
use crate::widgets::number::{Number, Place, Spot};
use crate::widgets::undo::Undo;

/// Left ends of box, polarity, gain, delay, transformer and plug, and the right end, pixels at scale 1.
const COLUMNS: [f32; 7] = [88.0, 240.0, 405.0, 494.0, 583.0, 674.0, 806.0];
/// The same in the smallest window.
const COMPACT: [f32; 7] = [70.0, 190.0, 302.0, 370.0, 437.0, 516.0, 612.0];

/// Draws both lines as a table: one row per line, one column per property. Returns whether the boxes were asked for.
pub fn lines(ui: &mut Ui, sheet: &mut Sheet<'_>, fields: &mut Fields, undo: &mut Undo, rect: Rect) -> bool {
    let style = sheet.style;
    let head = style.label().size * 1.5;
    let columns = if style.compact { COMPACT } else { COLUMNS };
    // Excess width is shared by all columns.
    let stretch = rect.width() / columns[6];
    let at = |column: usize| rect.left() + columns[column] * stretch;
    heads(ui, &style, rect, at);
    ui.painter().hline(
        rect.x_range(),
        rect.top() + head - style.px(2.0),
        style.hairline(),
    );
    let height = ((rect.height() - head) / 2.0).min(style.px(34.0));
    if undo.is_possible() && take_back(ui, sheet, rect) {
        undo.back(sheet);
    }
    let mut asked = false;
    for (index, side) in Side::BOTH.into_iter().enumerate() {
        let top = pos2(rect.left(), rect.top() + head + height * index as f32);
        let row = Rect::from_min_size(top, vec2(rect.width(), height));
        asked |= line(ui, sheet, fields, side, row, at);
    }
    asked
}

/// Draws the word for undo. Returns whether it was clicked.
fn take_back(ui: &Ui, sheet: &Sheet<'_>, rect: Rect) -> bool {
    let word = Word {
        text: "undo",
        name: "undo the last change of lines and settings",
        tip: "Takes back the last thing you set: a line, both lines at once, a limit, how it is read.",
    };
    let (id, font) = (Id::unique("undo setting"), sheet.style.body());
    let at = rect.right_top();
    button(ui, &sheet.style, id, at, Align2::RIGHT_TOP, font, &word).clicked()
}

/// Draws the columns' headings.
fn heads(ui: &Ui, style: &Style, rect: Rect, at: impl Fn(usize) -> f32) {
    let head = |x: f32, text: &str| {
        let corner = pos2(x, rect.top());
        write(
            ui,
            corner,
            Align2::LEFT_TOP,
            text,
            style.label(),
            style.colours.faint,
        );
    };
    head(rect.left(), "your lines");
    for (column, text) in ["box", "polarity", "gain", "delay", "transformer", "plug"]
        .into_iter()
        .enumerate()
    {
        head(at(column), text);
    }
}

/// Draws one line's row. Returns whether its boxes were asked for.
fn line(
    ui: &mut Ui,
    sheet: &mut Sheet<'_>,
    fields: &mut Fields,
    side: Side,
    row: Rect,
    at: impl Fn(usize) -> f32,
) -> bool {
    let style = sheet.style;
    let middle = row.center().y;
    let settings = *sheet.snapshot.settings.line(side);
    let name = format!("{} line", side.name());
    write(
        ui,
        pos2(row.left(), middle),
        Align2::LEFT_CENTER,
        &name,
        style.body(),
        style.colours.ink,
    );
    let asked = box_word(ui, sheet, side, pos2(at(0), middle));
    let (flipped, _) = choice(
        ui,
        &style,
        Id::unique(("polarity", side.name())),
        pos2(at(1), middle),
        &format!("{name} polarity"),
        "Normal: pin 2 stays pin 2. Flipped: somewhere on the way pins 2 and 3 are exchanged.",
        &[("normal", false), ("flipped", true)],
        settings.flipped,
    );
    if let Some(flipped) = flipped {
        sheet.set(Setting::Flipped(side, flipped));
    }
    for (column, number) in [(2, Number::Gain), (3, Number::Delay), (4, Number::Corner)] {
        let place = Rect::from_x_y_ranges(at(column)..=at(column + 1), row.y_range());
        let spot = Spot::Line(side);
        field(ui, sheet, fields, place, Place { spot, number });
    }
    let (unplugged, _) = choice(
        ui,
        &style,
        Id::unique(("plug", side.name())),
        pos2(at(5), middle),
        &format!("{name} plug"),
        "Unplugged: nothing of this line arrives anywhere.",
        &[("in", false), ("unplugged", true)],
        settings.unplugged,
    );
    if let Some(unplugged) = unplugged {
        sheet.set(Setting::Unplugged(side, unplugged));
    }
    asked
}

/// Draws the box on a line: a word that opens the sheet of boxes.
fn box_word(ui: &Ui, sheet: &Sheet<'_>, side: Side, left_middle: egui::Pos2) -> bool {
    let kind = sheet.snapshot.boxes.on(side);
    let name = boxes::name(kind);
    let mut tip = format!(
        "What your {} line goes through on its way to the desk: {name}.",
        side.name()
    );
    if !boxes::as_made(
        kind,
        &sheet.snapshot.card.source(),
        sheet.snapshot.settings.line(side),
    ) {
        tip += " You have set the line otherwise since.";
    }
    tip += " Click to choose one: it sets gain and transformer as such a box usually does.";
    let word = Word {
        text: name,
        name: &format!("{} line box: {name}", side.name()),
        tip: &tip,
    };
    let id = Id::unique(("box of", side.name()));
    let font = sheet.style.body();
    button(
        ui,
        &sheet.style,
        id,
        left_middle,
        Align2::LEFT_CENTER,
        font,
        &word,
    )
    .clicked()
}
