//! The drawing context of every part of the window: style, data, intents, and the few marks they share.

use egui::{
    Align2, Color32, FontId, Id, Pos2, Rect, Response, Role, Sense, Shape, Stroke, Ui, WidgetInfo, vec2,
};
use sumproof_core::score::outcome::Outcome;

use crate::data::intent::{Intent, Setting};
use crate::data::snapshot::Snapshot;
use crate::style::Style;

/// One frame's context.
pub struct Sheet<'a> {
    /// Colours and sizes.
    pub style: Style,
    /// The data shown.
    pub snapshot: &'a Snapshot,
    /// The player's actions.
    pub intents: &'a mut Vec<Intent>,
}

impl Sheet<'_> {
    /// Sets a parameter in one gesture.
    pub fn set(&mut self, setting: Setting) {
        let control = setting.control();
        self.intents
            .extend([Intent::Begin(control), Intent::Set(setting), Intent::End(control)]);
    }
}

/// Writes `text` and returns the place it covers.
pub fn write(ui: &Ui, pos: Pos2, align: Align2, text: &str, font: FontId, colour: Color32) -> Rect {
    let galley = ui.painter().layout_no_wrap(text.to_owned(), font, colour);
    let rect = align.anchor_size(pos, galley.size());
    ui.painter().galley(rect.min, galley, colour);
    rect
}

/// Writes `text` on at most `rows` lines no wider than `width`; what doesn't fit ends in an ellipsis.
pub fn write_within(
    ui: &Ui,
    pos: Pos2,
    width: f32,
    rows: usize,
    text: &str,
    font: FontId,
    colour: Color32,
) -> Rect {
    let mut job = egui::text::LayoutJob::simple(text.to_owned(), font, colour, width.max(1.0));
    job.wrap.max_rows = rows;
    job.wrap.break_anywhere = false;
    let galley = ui.painter().layout_job(job);
    let rect = Rect::from_min_size(pos, galley.size());
    ui.painter().galley(pos, galley, colour);
    rect
}

/// The width of a text on one line.
pub fn width_of(ui: &Ui, text: &str, font: FontId) -> f32 {
    ui.painter()
        .layout_no_wrap(text.to_owned(), font, Color32::PLACEHOLDER)
        .size()
        .x
}

/// The short stroke before an outcome, its left end at `from`: unbroken for `holds`, dashed for `thins`, cut in the middle
/// for `drops out`.
pub fn outcome_stroke(ui: &Ui, from: Pos2, width: f32, outcome: Outcome, stroke: Stroke) {
    let piece = |begin: f32, end: f32| {
        ui.painter().add(Shape::line_segment(
            [from + vec2(width * begin, 0.0), from + vec2(width * end, 0.0)],
            stroke,
        ));
    };
    match outcome {
        Outcome::Holds => piece(0.0, 1.0),
        Outcome::Thins => {
            for n in 0..4 {
                let begin = n as f32 * 2.0 / 7.0;
                piece(begin, begin + 1.0 / 7.0);
            }
        }
        Outcome::DropsOut => {
            piece(0.0, 0.28);
            piece(0.72, 1.0);
        }
    }
}

/// Marks the widget that has the keyboard focus.
pub fn focus_mark(ui: &Ui, style: &Style, response: &Response) {
    if response.has_focus() {
        ui.painter().rect_stroke(
            response.rect.expand(2.0),
            0.0,
            Stroke::new(1.5, style.colours.ink),
            egui::StrokeKind::Outside,
        );
    }
}

/// A word that can be clicked.
pub struct Word<'a> {
    /// The text drawn.
    pub text: &'a str,
    /// Its name for a screen reader.
    pub name: &'a str,
    /// Its effect, in the player's words.
    pub tip: &'a str,
}

/// Draws a clickable word at `pos`, aligned by `align`; underlined, so that it is recognised as clickable.
pub fn button(
    ui: &Ui,
    style: &Style,
    id: Id,
    pos: Pos2,
    align: Align2,
    font: FontId,
    word: &Word<'_>,
) -> Response {
    let colours = style.colours;
    let galley = ui
        .painter()
        .layout_no_wrap(word.text.to_owned(), font, colours.ink);
    let rect = align.anchor_size(pos, galley.size());
    let response = ui.interact(rect.expand2(vec2(4.0, 2.0)), id, Sense::click());
    response.widget_info(|| WidgetInfo::labeled(Role::Button, true, word.name));
    let colour = if response.hovered() {
        colours.ink
    } else {
        colours.soft
    };
    ui.painter()
        .galley_with_override_text_color(rect.min, galley, colour);
    let base = rect.bottom() - rect.height() * 0.12;
    ui.painter().hline(
        rect.x_range(),
        base,
        if response.hovered() {
            Stroke::new(1.0, colours.ink)
        } else {
            style.hairline()
        },
    );
    focus_mark(ui, style, &response);
    response.on_hover_text(word.tip)
}

/// Draws several words to choose from, the chosen one strong and underlined. Returns the choice if it was made in this
/// frame, and the right end.
#[expect(clippy::too_many_arguments)]
pub fn choice<T: Copy + PartialEq>(
    ui: &Ui,
    style: &Style,
    id: Id,
    left_middle: Pos2,
    what: &str,
    tip: &str,
    choices: &[(&str, T)],
    current: T,
) -> (Option<T>, f32) {
    let colours = style.colours;
    let mut x = left_middle.x;
    let mut made = None;
    for (index, &(text, value)) in choices.iter().enumerate() {
        let chosen = value == current;
        let font = if chosen { style.strong() } else { style.body() };
        let galley = ui.painter().layout_no_wrap(text.to_owned(), font, colours.ink);
        let rect = Align2::LEFT_CENTER.anchor_size(egui::pos2(x, left_middle.y), galley.size());
        let response = ui.interact(rect.expand2(vec2(3.0, 2.0)), id.with(index), Sense::click());
        response
            .widget_info(|| WidgetInfo::selected(Role::RadioButton, true, chosen, format!("{what}: {text}")));
        let colour = if chosen || response.hovered() {
            colours.ink
        } else {
            colours.faint
        };
        ui.painter()
            .galley_with_override_text_color(rect.min, galley, colour);
        if chosen {
            ui.painter().hline(
                rect.x_range(),
                rect.bottom() - rect.height() * 0.1,
                style.line(1.5, colours.ink),
            );
        }
        focus_mark(ui, style, &response);
        if response.clicked() && !chosen {
            made = Some(value);
        }
        response.on_hover_text(tip);
        x = rect.right() + style.px(if style.compact { 10.0 } else { 12.0 });
    }
    (made, x)
}
