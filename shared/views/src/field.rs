//! A number that can be dragged, rolled, stepped and typed.

use egui::{
    Align2, Event, EventFilter, Id, Key, MouseWheelUnit, PointerButton, Rect, Role, Sense, Stroke, TextEdit,
    Ui, WidgetInfo, pos2, vec2,
};
use sumproof_core::feed::Side;
use sumproof_core::line::limits;

use crate::intent::{Control, Intent, Setting};
use crate::sheet::{Sheet, focus_mark, write};
use crate::snapshot::LineSettings;
use crate::words::{MINUS, signed};

/// A numeric setting of a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Number {
    /// Gain, dB.
    Gain,
    /// Delay, ms.
    Delay,
    /// Transformer corner, Hz.
    Corner,
}

impl Number {
    /// What it's called.
    pub fn name(self) -> &'static str {
        match self {
            Self::Gain => "gain",
            Self::Delay => "delay",
            Self::Corner => "transformer",
        }
    }

    fn tip(self) -> &'static str {
        match self {
            Self::Gain => {
                "How much louder or quieter this line arrives, in dB: a pad, a long cable, an uneven fader."
            }
            Self::Delay => "How late this line arrives, in milliseconds.",
            Self::Corner => {
                "Below this frequency a transformer on this line lets less and less through; none for no transformer."
            }
        }
    }

    fn range(self) -> (f32, f32) {
        match self {
            Self::Gain => (*limits::GAIN_DB.start() as f32, *limits::GAIN_DB.end() as f32),
            Self::Delay => (
                *limits::DELAY_S.start() as f32 * 1000.0,
                (*limits::DELAY_S.end() * 1000.0) as f32,
            ),
            Self::Corner => (
                *limits::HIGH_PASS_HZ.start() as f32,
                *limits::HIGH_PASS_HZ.end() as f32,
            ),
        }
    }

    /// One notch of the wheel or one press of an arrow key; a tenth of it with shift.
    fn step(self) -> f32 {
        match self {
            Self::Gain => 0.5,
            Self::Delay => 0.1,
            Self::Corner => 5.0,
        }
    }

    fn decimals(self) -> i32 {
        match self {
            Self::Gain | Self::Corner => 1,
            Self::Delay => 2,
        }
    }

    fn rounded(self, value: f32) -> f32 {
        let (least, most) = self.range();
        let ten = 10f32.powi(self.decimals());
        ((value * ten).round() / ten).clamp(least, most)
    }

    fn of(self, line: &LineSettings) -> f32 {
        match self {
            Self::Gain => line.gain_db,
            Self::Delay => line.delay_ms,
            Self::Corner => line.corner_hz,
        }
    }

    fn setting(self, side: Side, value: f32) -> Setting {
        let value = self.rounded(value);
        match self {
            Self::Gain => Setting::GainDb(side, value),
            Self::Delay => Setting::DelayMs(side, value),
            Self::Corner => Setting::CornerHz(side, value),
        }
    }

    fn control(self, side: Side) -> Control {
        self.setting(side, 0.0).control()
    }

    /// The value with its unit.
    pub fn text(self, value: f32) -> String {
        match self {
            Self::Gain => format!("{} dB", signed(f64::from(value), 1)),
            Self::Delay => format!("{value:.2} ms"),
            Self::Corner if value < 0.05 => String::from("none"),
            Self::Corner => format!("{value:.0} Hz"),
        }
    }

    /// Reads what a player types: with or without a unit, a decimal comma or point. `None` if that's no finite number.
    pub fn read(self, typed: &str) -> Option<f32> {
        let lower = typed.trim().to_lowercase().replace(MINUS, "-").replace(',', ".");
        if self == Self::Corner && (lower == "none" || lower == "no") {
            return Some(0.0);
        }
        let unit = match self {
            Self::Gain => "db",
            Self::Delay => "ms",
            Self::Corner => "hz",
        };
        let bare = lower.strip_suffix(unit).unwrap_or(&lower).trim();
        bare.parse::<f32>()
            .ok()
            .filter(|value| value.is_finite())
            .map(|value| self.rounded(value))
    }
}

/// What the fields remember between frames.
#[derive(Clone, Debug, Default)]
pub struct Fields {
    /// The field being typed into.
    editing: Option<(Control, String)>,
    /// The field being dragged, with its value before rounding.
    dragging: Option<(Control, f32)>,
    /// Parts of a wheel notch not used yet.
    wheel: f32,
}

impl Fields {
    /// Whether a number is being typed.
    pub fn is_typing(&self) -> bool {
        self.editing.is_some()
    }

    /// Ends a gesture that's under way, because the window goes away.
    pub fn abandon(&mut self, intents: &mut Vec<Intent>) {
        if let Some((control, _)) = self.dragging.take() {
            intents.push(Intent::End(control));
        }
        self.editing = None;
    }
}

/// Draws the field with its value at the left of `rect` and changes it.
pub fn field(
    ui: &mut Ui,
    sheet: &mut Sheet<'_>,
    fields: &mut Fields,
    rect: Rect,
    side: Side,
    number: Number,
) {
    let control = number.control(side);
    let id = Id::unique(("field", side.name(), number.name()));
    if fields
        .editing
        .as_ref()
        .is_some_and(|(edited, _)| *edited == control)
    {
        type_in(ui, sheet, fields, rect, id, side, number);
        return;
    }
    let style = sheet.style;
    let colours = style.colours;
    let value = match fields.dragging {
        Some((dragged, raw)) if dragged == control => number.rounded(raw),
        _ => number.of(sheet.snapshot.settings.line(side)),
    };
    let response = ui.interact(rect, id, Sense::click_and_drag());
    let name = format!("{} line {}", side.name(), number.name());
    response.widget_info(|| {
        let mut info = WidgetInfo::labeled(Role::SpinButton, true, &name);
        info.value = Some(f64::from(value));
        info.current_text_value = Some(number.text(value));
        info
    });
    let colour = if response.hovered() || value != 0.0 {
        colours.ink
    } else {
        colours.soft
    };
    let font = if value == 0.0 {
        style.body()
    } else {
        style.strong()
    };
    let text = write(
        ui,
        rect.left_center(),
        Align2::LEFT_CENTER,
        &number.text(value),
        font,
        colour,
    );
    ui.painter().hline(
        rect.left()..=rect.right() - style.px(8.0),
        text.bottom() - text.height() * 0.08,
        if response.hovered() || response.dragged() {
            Stroke::new(1.0, colours.ink)
        } else {
            style.hairline()
        },
    );
    focus_mark(ui, &style, &response);

    if response.drag_started() {
        fields.dragging = Some((control, value));
        sheet.intents.push(Intent::Begin(control));
    }
    if let Some((dragged, raw)) = &mut fields.dragging
        && *dragged == control
    {
        let (least, most) = number.range();
        let delta = response.drag_delta();
        let fine = if ui.input(|input| input.modifiers.shift) {
            0.1
        } else {
            1.0
        };
        // Five pixels are a step; up is more, like right.
        let moved = (delta.x - delta.y) * number.step() * fine / 5.0;
        let before = number.rounded(*raw);
        *raw = (*raw + moved).clamp(least, most);
        let after = number.rounded(*raw);
        if after != before {
            sheet.intents.push(Intent::Set(number.setting(side, after)));
        }
        if !response.dragged() || response.drag_stopped() {
            fields.dragging = None;
            sheet.intents.push(Intent::End(control));
        }
    }
    if response.double_clicked() {
        fields.editing = None;
        sheet.set(number.setting(side, 0.0));
    } else if response.clicked() {
        fields.editing = Some((control, plain(number, value)));
    }
    if response.hovered() {
        ui.ctx().set_cursor_icon(egui::CursorIcon::ResizeHorizontal);
        let notches = wheel_notches(ui, fields);
        if notches != 0.0 {
            sheet.set(number.setting(side, value + notches * number.step()));
        }
    }
    if response.has_focus() {
        keys(ui, sheet, fields, id, side, number, value);
    }
    response.on_hover_text(format!(
        "{} Drag or roll to change it (shift: finely), click to type, double-click for {}.",
        number.tip(),
        number.text(0.0)
    ));
}

fn plain(number: Number, value: f32) -> String {
    format!("{:.*}", number.decimals() as usize, value)
}

fn wheel_notches(ui: &Ui, fields: &mut Fields) -> f32 {
    let (turned, shift) = ui.input(|input| {
        let turned: f32 = input
            .events
            .iter()
            .map(|event| match event {
                Event::MouseWheel { unit, delta, .. } => {
                    // With shift held, systems hand a wheel over as a sideways one.
                    let delta = if delta.y == 0.0 { delta.x } else { delta.y };
                    match unit {
                        MouseWheelUnit::Point => delta / 40.0,
                        MouseWheelUnit::Line | MouseWheelUnit::Page => delta,
                    }
                }
                _ => 0.0,
            })
            .sum();
        (turned, input.modifiers.shift)
    });
    fields.wheel += turned;
    let whole = fields.wheel.trunc();
    fields.wheel -= whole;
    if shift { whole * 0.1 } else { whole }
}

fn keys(ui: &Ui, sheet: &mut Sheet<'_>, fields: &mut Fields, id: Id, side: Side, number: Number, value: f32) {
    ui.memory_mut(|memory| {
        memory.set_focus_lock_filter(
            id,
            EventFilter {
                horizontal_arrows: true,
                vertical_arrows: true,
                ..EventFilter::default()
            },
        );
    });
    let (steps, reset, shift, typed) = ui.input(|input| {
        let count = |key| input.num_presses(key) as f32;
        let steps =
            count(Key::ArrowUp) + count(Key::ArrowRight) - count(Key::ArrowDown) - count(Key::ArrowLeft)
                + 10.0 * (count(Key::PageUp) - count(Key::PageDown));
        let typed: String = input
            .events
            .iter()
            .filter_map(|event| match event {
                Event::Text(text) => Some(text.as_str()),
                _ => None,
            })
            .filter(|text| text.chars().all(|c| c.is_ascii_digit() || "+-.,".contains(c)))
            .collect();
        (
            steps,
            input.key_pressed(Key::Delete) || input.key_pressed(Key::Backspace),
            input.modifiers.shift,
            typed,
        )
    });
    if reset {
        sheet.set(number.setting(side, 0.0));
    } else if steps != 0.0 {
        let steps = if shift { steps * 0.1 } else { steps };
        sheet.set(number.setting(side, value + steps * number.step()));
    } else if !typed.is_empty() {
        fields.editing = Some((number.control(side), typed));
    }
}

fn type_in(
    ui: &mut Ui,
    sheet: &mut Sheet<'_>,
    fields: &mut Fields,
    rect: Rect,
    id: Id,
    side: Side,
    number: Number,
) {
    let Some((_, text)) = &mut fields.editing else {
        return;
    };
    let style = sheet.style;
    let id = id.with("typed");
    let first = !ui.memory(|memory| memory.had_focus_last_frame(id) || memory.has_focus(id));
    let name = format!("{} line {}, typing", side.name(), number.name());
    let edit = TextEdit::singleline(text)
        .id(id)
        .font(style.body())
        .frame(egui::Frame::NONE)
        .cursor_at_end(true)
        .char_limit(16)
        .desired_width(rect.width() - style.px(8.0));
    let place = Rect::from_center_size(rect.center(), vec2(rect.width(), style.body().size * 1.3));
    let output = ui.put(place, edit);
    output.widget_info(|| {
        let mut info = WidgetInfo::labeled(Role::TextInput, true, &name);
        info.current_text_value = Some(text.clone());
        info
    });
    ui.painter().line_segment(
        [
            pos2(rect.left(), place.bottom()),
            pos2(rect.right() - style.px(8.0), place.bottom()),
        ],
        Stroke::new(1.5, style.colours.ink),
    );
    if first {
        output.request_focus();
    }
    let (escape, again) = ui.input(|input| {
        (
            input.key_pressed(Key::Escape),
            input.pointer.button_double_clicked(PointerButton::Primary)
                && input.pointer.interact_pos().is_some_and(|at| rect.contains(at)),
        )
    });
    if again {
        fields.editing = None;
        sheet.set(number.setting(side, 0.0));
    } else if escape {
        fields.editing = None;
    } else if output.lost_focus() {
        let read = number.read(text);
        fields.editing = None;
        let before = number.of(sheet.snapshot.settings.line(side));
        // What can't be read leaves the value as it was.
        if let Some(value) = read.filter(|value| *value != before) {
            sheet.set(number.setting(side, value));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_players_type_is_read() {
        assert_eq!(Number::Gain.read("-6"), Some(-6.0));
        assert_eq!(Number::Gain.read(" \u{2212}6,55 dB "), Some(-6.6));
        assert_eq!(Number::Gain.read("99"), Some(20.0));
        assert_eq!(Number::Delay.read("0.44ms"), Some(0.44));
        assert_eq!(Number::Delay.read("-3"), Some(0.0));
        assert_eq!(Number::Corner.read("none"), Some(0.0));
        for typed in ["nan", "inf", "1e40", "", "loud", "1.2.3"] {
            assert_eq!(Number::Gain.read(typed), None, "{typed}");
        }
    }

    #[test]
    fn what_is_shown_is_read_back() {
        for number in [Number::Gain, Number::Delay, Number::Corner] {
            for value in [0.0, 1.0, 12.0] {
                assert_eq!(
                    number.read(&number.text(value)),
                    Some(value),
                    "{number:?} {value}"
                );
            }
        }
    }
}
