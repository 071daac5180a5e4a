//! A text that can be edited in its place.

use egui::{Align2, Id, Key, Rect, Role, Sense, Stroke, TextEdit, Ui, WidgetInfo, vec2};

use crate::canvas::{focus_mark, write_within};
use crate::style::Style;

/// An editable text.
pub struct Typed<'a> {
    /// Id of the widget.
    pub id: Id,
    /// Its name for a screen reader.
    pub name: &'a str,
    /// Its purpose, in the player's words.
    pub tip: &'a str,
    /// Longest text, characters.
    pub longest: usize,
}

/// Draws the text field in `place`. Returns `None` while the player types, then the text typed (trimmed), or
/// `Some(None)` when it was cancelled.
pub fn type_on(
    ui: &mut Ui,
    style: &Style,
    place: Rect,
    what: &Typed<'_>,
    text: &mut String,
) -> Option<Option<String>> {
    let id = what.id.with("typed");
    let first = !ui.memory(|memory| memory.had_focus_last_frame(id) || memory.has_focus(id));
    let output = ui.put(
        place,
        TextEdit::singleline(text)
            .id(id)
            .font(style.body())
            .frame(egui::Frame::NONE)
            .char_limit(what.longest)
            .cursor_at_end(true)
            .desired_width(place.width()),
    );
    output.widget_info(|| {
        let mut info = WidgetInfo::labeled(Role::TextInput, true, what.name);
        info.current_text_value = Some(text.clone());
        info
    });
    ui.painter().hline(
        place.x_range(),
        place.bottom(),
        style.line(1.5, style.colours.ink),
    );
    if first {
        output.request_focus();
    }
    if ui.input(|input| input.key_pressed(Key::Escape)) {
        Some(None)
    } else if output.lost_focus() {
        Some(Some(text.trim().chars().take(what.longest).collect()))
    } else {
        None
    }
}

/// Shows the text `shown`; a click or Enter begins typing into `state`. Returns the text typed, once the player is
/// done.
pub fn typed(
    ui: &mut Ui,
    style: &Style,
    place: Rect,
    what: &Typed<'_>,
    shown: &str,
    state: &mut Option<String>,
) -> Option<String> {
    if let Some(text) = state {
        let done = type_on(ui, style, place, what, text)?;
        *state = None;
        return done.filter(|name| name != shown);
    }
    let response = ui.interact(place, what.id, Sense::click());
    response.widget_info(|| {
        let mut info = WidgetInfo::labeled(Role::Button, true, what.name);
        info.current_text_value = Some(shown.to_owned());
        info
    });
    let colours = style.colours;
    let at = Align2::LEFT_CENTER
        .anchor_size(place.left_center(), vec2(0.0, style.body().size * 1.24))
        .min;
    let text = write_within(ui, at, place.width(), 1, shown, style.body(), colours.ink);
    ui.painter().hline(
        place.x_range(),
        text.bottom() - text.height() * 0.08,
        if response.hovered() {
            Stroke::new(1.0, colours.ink)
        } else {
            style.hairline()
        },
    );
    focus_mark(ui, style, &response);
    if response.clicked() {
        *state = Some(shown.to_owned());
    }
    response.on_hover_text(what.tip);
    None
}
