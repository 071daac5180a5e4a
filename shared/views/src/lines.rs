//! The player's two lines.

use egui::{Align2, Id, Rect, Ui, pos2, vec2};
use sumproof_core::feed::Side;

use crate::field::{Fields, Number, field};
use crate::intent::Setting;
use crate::sheet::{Sheet, choice, write};

/// Draws both lines as a table: a row a line, a column a property.
pub fn lines(ui: &mut Ui, sheet: &mut Sheet<'_>, fields: &mut Fields, rect: Rect) {
    let style = sheet.style;
    let colours = style.colours;
    let head = style.label().size * 1.5;
    // Left ends of name, polarity, gain, delay, transformer, plug; as shares of what there is.
    let at = |share: f32| rect.left() + rect.width() * share;
    let columns = if style.compact {
        [0.0, 0.14, 0.38, 0.53, 0.68, 0.81]
    } else {
        [0.0, 0.125, 0.36, 0.50, 0.645, 0.785]
    };
    for (share, text) in columns
        .iter()
        .skip(1)
        .zip(["polarity", "gain", "delay", "transformer", "plug"])
    {
        write(
            ui,
            pos2(at(*share), rect.top()),
            Align2::LEFT_TOP,
            text,
            style.label(),
            colours.faint,
        );
    }
    write(
        ui,
        rect.min,
        Align2::LEFT_TOP,
        "your lines",
        style.label(),
        colours.faint,
    );
    ui.painter().hline(
        rect.x_range(),
        rect.top() + head - style.px(2.0),
        style.hairline(),
    );
    let height = ((rect.height() - head) / 2.0).min(style.px(34.0));
    for (index, side) in Side::BOTH.into_iter().enumerate() {
        let top = rect.top() + head + height * index as f32;
        let middle = top + height / 2.0;
        let settings = *sheet.snapshot.settings.line(side);
        let name = format!("{} line", side.name());
        write(
            ui,
            pos2(at(0.0), middle),
            Align2::LEFT_CENTER,
            &name,
            style.body(),
            colours.ink,
        );
        let (flipped, _) = choice(
            ui,
            &style,
            Id::unique(("polarity", side.name())),
            pos2(at(columns[1]), middle),
            &format!("{name} polarity"),
            "Normal: pin 2 stays pin 2. Flipped: somewhere on the way pins 2 and 3 are exchanged.",
            &[("normal", false), ("flipped", true)],
            settings.flipped,
        );
        if let Some(flipped) = flipped {
            sheet.set(Setting::Flipped(side, flipped));
        }
        for (column, number) in [(2, Number::Gain), (3, Number::Delay), (4, Number::Corner)] {
            let place = Rect::from_min_size(
                pos2(at(columns[column]), top),
                vec2(at(columns[column + 1]) - at(columns[column]), height),
            );
            field(ui, sheet, fields, place.shrink2(vec2(0.0, 2.0)), side, number);
        }
        let (unplugged, _) = choice(
            ui,
            &style,
            Id::unique(("plug", side.name())),
            pos2(at(columns[5]), middle),
            &format!("{name} plug"),
            "Unplugged: nothing of this line arrives anywhere.",
            &[("in", false), ("unplugged", true)],
            settings.unplugged,
        );
        if let Some(unplugged) = unplugged {
            sheet.set(Setting::Unplugged(side, unplugged));
        }
    }
}
