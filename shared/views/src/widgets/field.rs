//! A number that can be dragged, changed with the wheel, stepped and typed.
//!
//! Not the toolkit's own (`egui::DragValue`): that one ignores the wheel; keyboard focus turns it into a text field at
//! once, so arrows can't step it; and it changes a value in place, whereas a host's parameter must be told when a
//! gesture begins and ends.

use egui::{
    Align2, Event, EventFilter, Id, Key, MouseWheelUnit, Rect, Response, Role, Sense, Stroke, TextEdit, Ui,
    WidgetInfo, pos2, vec2,
};

use crate::canvas::{Sheet, focus_mark, write};
use crate::data::intent::Intent;
use crate::widgets::number::Place;

/// State of the fields between frames.
#[derive(Clone, Debug, Default)]
pub struct Fields {
    /// The field being typed into.
    editing: Option<(Place, String)>,
    /// The field being dragged, with its value before rounding.
    dragging: Option<(Place, f32)>,
    /// Fractions of a wheel notch not used yet.
    wheel: f32,
}

impl Fields {
    /// Whether a number is being typed.
    pub fn is_typing(&self) -> bool {
        self.editing.is_some()
    }

    /// Ends a gesture in progress, because the window closes.
    pub fn abandon(&mut self, intents: &mut Vec<Intent>) {
        if let Some((place, _)) = self.dragging.take() {
            place.end(intents);
        }
        self.editing = None;
    }
}

/// Draws the field with its value at the left of `rect` and handles its input.
pub fn field(ui: &mut Ui, sheet: &mut Sheet<'_>, fields: &mut Fields, rect: Rect, place: Place) {
    // Space between lines of fields.
    let rect = rect.shrink2(vec2(0.0, 2.0));
    let number = place.number;
    let name = place.name();
    let id = Id::unique(("field", &name));
    if fields
        .editing
        .as_ref()
        .is_some_and(|(edited, _)| *edited == place)
    {
        type_in(ui, sheet, fields, rect, id, place);
        return;
    }
    let value = match fields.dragging {
        Some((dragged, raw)) if dragged == place => number.rounded(raw),
        _ => place.value(sheet.snapshot),
    };
    let response = ui.interact(rect, id, Sense::click_and_drag());
    response.widget_info(|| {
        let mut info = WidgetInfo::labeled(Role::SpinButton, true, &name);
        info.value = Some(f64::from(value));
        info.current_text_value = Some(number.text(value));
        info
    });
    draw(ui, sheet, rect, place, value, &response);
    drag(ui, sheet, fields, place, value, &response);
    if response.clicked() {
        fields.editing = Some((place, number.plain(value)));
    }
    if response.hovered() {
        ui.ctx().set_cursor_icon(egui::CursorIcon::ResizeHorizontal);
        let notches = wheel_notches(ui, fields);
        if notches != 0.0 {
            place.set(sheet, value + notches * number.step());
        }
    }
    if response.has_focus() {
        keys(ui, sheet, fields, id, place, value);
    }
    response.on_hover_text(format!(
        "{} Drag or roll to change it (shift: finely), click to type; the key Delete sets {}.",
        number.tip(),
        number.text(number.default_value())
    ));
}

/// Draws the value, strong where it differs from the default.
fn draw(ui: &Ui, sheet: &Sheet<'_>, rect: Rect, place: Place, value: f32, response: &Response) {
    let (style, number) = (sheet.style, place.number);
    let colours = style.colours;
    let usual = number.rounded(value) == number.default_value();
    let colour = if response.hovered() || !usual {
        colours.ink
    } else {
        colours.soft
    };
    let font = if usual { style.body() } else { style.strong() };
    let said = number.text(value);
    let text = write(ui, rect.left_center(), Align2::LEFT_CENTER, &said, font, colour);
    let stroke = if response.hovered() || response.dragged() {
        Stroke::new(1.0, colours.ink)
    } else {
        style.hairline()
    };
    let base = text.bottom() - text.height() * 0.08;
    ui.painter()
        .hline(rect.left()..=rect.right() - style.px(8.0), base, stroke);
    focus_mark(ui, &style, response);
}

/// A drag is one host gesture, from its first frame to its last.
fn drag(ui: &Ui, sheet: &mut Sheet<'_>, fields: &mut Fields, place: Place, value: f32, response: &Response) {
    let number = place.number;
    if response.drag_started() {
        fields.dragging = Some((place, value));
        place.begin(sheet.intents);
    }
    let Some((_, raw)) = fields.dragging.as_mut().filter(|(dragged, _)| *dragged == place) else {
        return;
    };
    let delta = response.drag_delta();
    let shift = ui.input(|input| input.modifiers.shift);
    let fine = if shift { 0.1 } else { 1.0 };
    // Five pixels are a step; up increases, like right.
    let moved = (delta.x - delta.y) * number.step() * fine / 5.0;
    let before = number.rounded(*raw);
    *raw = number.clamped(*raw + moved);
    let after = number.rounded(*raw);
    if after != before {
        place.put(sheet, after);
    }
    if !response.dragged() || response.drag_stopped() {
        fields.dragging = None;
        place.end(sheet.intents);
    }
}

fn wheel_notches(ui: &Ui, fields: &mut Fields) -> f32 {
    let shift = ui.input(|input| input.modifiers.shift);
    fields.wheel += wheel_turned(ui);
    let whole = fields.wheel.trunc();
    fields.wheel -= whole;
    if shift { whole * 0.1 } else { whole }
}

/// How far the wheel was turned since the last frame, notches; up is positive.
pub fn wheel_turned(ui: &Ui) -> f32 {
    ui.input(|input| {
        input
            .events
            .iter()
            .map(|event| match event {
                Event::MouseWheel { unit, delta, .. } => {
                    // With Shift held, systems report the wheel as a sideways one.
                    let delta = if delta.y == 0.0 { delta.x } else { delta.y };
                    match unit {
                        MouseWheelUnit::Point => delta / 40.0,
                        MouseWheelUnit::Line | MouseWheelUnit::Page => delta,
                    }
                }
                _ => 0.0,
            })
            .sum()
    })
}

fn keys(ui: &Ui, sheet: &mut Sheet<'_>, fields: &mut Fields, id: Id, place: Place, value: f32) {
    let number = place.number;
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
        place.set(sheet, number.default_value());
    } else if steps != 0.0 {
        let steps = if shift { steps * 0.1 } else { steps };
        place.set(sheet, value + steps * number.step());
    } else if !typed.is_empty() {
        fields.editing = Some((place, typed));
    }
}

fn type_in(ui: &mut Ui, sheet: &mut Sheet<'_>, fields: &mut Fields, rect: Rect, id: Id, place: Place) {
    let number = place.number;
    let Some((_, text)) = &mut fields.editing else {
        return;
    };
    let style = sheet.style;
    let id = id.with("typed");
    let first = !ui.memory(|memory| memory.had_focus_last_frame(id) || memory.has_focus(id));
    let name = format!("{}, typing", place.name());
    let edit = TextEdit::singleline(text)
        .id(id)
        .font(style.body())
        .frame(egui::Frame::NONE)
        .cursor_at_end(true)
        .char_limit(16)
        .desired_width(rect.width() - style.px(8.0));
    let line = Rect::from_center_size(rect.center(), vec2(rect.width(), style.body().size * 1.3));
    let output = ui.put(line, edit);
    output.widget_info(|| {
        let mut info = WidgetInfo::labeled(Role::TextInput, true, &name);
        info.current_text_value = Some(text.clone());
        info
    });
    ui.painter().line_segment(
        [
            pos2(rect.left(), line.bottom()),
            pos2(rect.right() - style.px(8.0), line.bottom()),
        ],
        Stroke::new(1.5, style.colours.ink),
    );
    if first {
        output.request_focus();
    }
    if ui.input(|input| input.key_pressed(Key::Escape)) {
        fields.editing = None;
    } else if output.lost_focus() {
        let read = number.read(text);
        fields.editing = None;
        let before = place.value(sheet.snapshot);
        // Unreadable text leaves the value unchanged.
        if let Some(value) = read.filter(|value| *value != before) {
            place.set(sheet, value);
        }
    }
}
