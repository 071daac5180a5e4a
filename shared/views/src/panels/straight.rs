//! A strip at the top that shows the lines' settings while they aren't straight, and resets them.

use egui::{Align2, Id, Key, Rect, Role, Sense, Ui, WidgetInfo, pos2, vec2};
use sumproof_core::routing::feed::Side;
use sumproof_core::score::rig::Rig;
use sumproof_wording::lines::as_set;

use crate::canvas::{Sheet, Word, button, width_of, write_within};
use crate::data::intent::{Intent, Setting};
use crate::data::snapshot::{LineSettings, Settings};

/// The key that resets the lines.
const KEY: Key = Key::Home;

/// The settings that reset the lines, where they aren't straight.
pub fn straightened(settings: &Settings) -> Vec<Setting> {
    let straight = LineSettings::default();
    Side::BOTH
        .into_iter()
        .flat_map(|side| {
            let line = *settings.line(side);
            [
                (line.flipped != straight.flipped).then_some(Setting::Flipped(side, straight.flipped)),
                (line.gain_db != straight.gain_db).then_some(Setting::GainDb(side, straight.gain_db)),
                (line.delay_ms != straight.delay_ms).then_some(Setting::DelayMs(side, straight.delay_ms)),
                (line.corner_hz != straight.corner_hz).then_some(Setting::CornerHz(side, straight.corner_hz)),
                (line.unplugged != straight.unplugged)
                    .then_some(Setting::Unplugged(side, straight.unplugged)),
            ]
        })
        .flatten()
        .collect()
}

/// Sets both lines straight and removes their boxes.
pub fn set_straight(sheet: &mut Sheet<'_>) {
    for setting in straightened(&sheet.snapshot.settings) {
        sheet.set(setting);
    }
    for side in Side::BOTH {
        if sheet.snapshot.boxes.on(side).is_some() {
            sheet.intents.push(Intent::Box(side, None));
        }
    }
}

/// Whether the key that resets the lines was pressed; in a text field it moves to the beginning instead.
pub fn asks_for_straight(ui: &Ui) -> bool {
    ui.memory(|memory| memory.focused().is_none())
        && ui.input(|input| !input.modifiers.any() && input.key_pressed(KEY))
}

/// Draws the strip at the top of `rect` while a line isn't straight, and returns its height, pixels.
pub fn straight(ui: &Ui, sheet: &mut Sheet<'_>, rect: Rect) -> f32 {
    let lines = sheet.snapshot.settings.rig(&Rig::default()).lines;
    let Some(as_set) = as_set(&lines) else { return 0.0 };
    let style = sheet.style;
    let font = style.strong();
    let strip = Rect::from_min_size(rect.min, vec2(rect.width(), font.size * 1.5));
    let back = Word {
        text: "lines back to straight",
        name: "lines back to straight",
        tip: "Both lines normal, no gain, no delay, no transformer, plugged in. The key Home does the same.",
    };
    let at = pos2(strip.right(), strip.center().y);
    let id = Id::unique("lines straight");
    let response = button(ui, &style, id, at, Align2::RIGHT_CENTER, style.body(), &back);
    let said = if style.compact {
        format!("for your lines as set: {as_set}")
    } else {
        format!("Everything here is for your lines as they are set: {as_set}")
    };
    let room = strip.width() - width_of(ui, back.text, style.body()) - style.px(30.0);
    let place = Rect::from_min_size(strip.min, vec2(room, strip.height()));
    let label = ui.interact(place, Id::unique("lines as set"), Sense::hover());
    label.widget_info(|| WidgetInfo::labeled(Role::Label, true, &said));
    let inset = style.px(12.0);
    let mark = Rect::from_min_size(
        strip.min + vec2(0.0, font.size * 0.2),
        vec2(style.px(5.0), font.size * 1.1),
    );
    ui.painter().rect_filled(mark, 0.0, style.colours.ink);
    let at = pos2(strip.left() + inset, strip.center().y - font.size * 0.62);
    write_within(ui, at, room - inset, 1, &said, font, style.colours.ink);
    label.on_hover_text(said);
    if response.clicked() {
        set_straight(sheet);
    }
    strip.height() + style.px(4.0)
}
