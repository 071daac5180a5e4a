//! Text that may be longer than its place: it scrolls by whole lines, so that no line is ever cut in half.

use std::sync::Arc;

use egui::{
    Color32, EventFilter, FontId, Galley, Id, Key, Rect, Response, Role, Sense, Stroke, Ui, WidgetInfo, pos2,
};
use sumproof_core::dsp::numbers::to_index;

use crate::canvas::focus_mark;
use crate::style::Style;
use crate::widgets::field::wheel_turned;

/// A paragraph.
#[derive(Clone, Debug)]
pub struct Passage {
    /// Its text.
    pub text: String,
    /// Its font.
    pub font: FontId,
    /// Its colour.
    pub colour: Color32,
    /// Space after it, pixels.
    pub after: f32,
}

/// Scroll position of a text.
#[derive(Clone, Copy, Debug, Default)]
pub struct Scroll {
    /// Index of the first visible line.
    first: usize,
    /// Fraction of a line not scrolled yet.
    rest: f32,
}

/// Lines per notch of the wheel.
const LINES_A_NOTCH: f32 = 2.0;

/// Top and bottom of each line, pixels from the top of the text.
fn lines_of(galleys: &[(f32, Arc<Galley>)]) -> Vec<(f32, f32)> {
    let mut lines = Vec::new();
    for (top, galley) in galleys {
        // One font per paragraph: its lines are equally high.
        let count = galley.rows.len().max(1);
        let height = galley.size().y / count as f32;
        lines.extend((0..count).map(|n| (top + height * n as f32, top + height * (n + 1) as f32)));
    }
    lines
}

/// The last line with which the view may begin so that it still ends with the text's end.
fn last_first(lines: &[(f32, f32)], height: f32) -> usize {
    let end = lines.last().map_or(0.0, |line| line.1);
    lines.iter().position(|line| end - line.0 <= height).unwrap_or(0)
}

/// Writes the passages into `rect`; the wheel scrolls them, and so do the arrow, Page, Home and End keys once it has
/// the keyboard focus. Returns whether there is more than fits.
pub fn scrolled(
    ui: &Ui,
    style: &Style,
    id: Id,
    rect: Rect,
    passages: &[Passage],
    scroll: &mut Scroll,
) -> bool {
    let colours = style.colours;
    let width = rect.width();
    let mut end = 0.0;
    let mut galleys = Vec::with_capacity(passages.len());
    for passage in passages {
        let galley = ui.painter().layout(
            passage.text.clone(),
            passage.font.clone(),
            passage.colour,
            width.max(1.0),
        );
        let height = galley.size().y;
        galleys.push((end, galley));
        end += height + passage.after;
    }
    let lines = lines_of(&galleys);
    let last = last_first(&lines, rect.height());
    let response = ui.interact(rect, id, Sense::focusable_noninteractive());
    moved(ui, &response, scroll, lines.len(), last);
    response.widget_info(|| {
        let all: Vec<&str> = passages.iter().map(|passage| passage.text.as_str()).collect();
        WidgetInfo::labeled(Role::Label, true, all.join(" "))
    });

    let top = lines.get(scroll.first).map_or(0.0, |line| line.0);
    let bottom = lines
        .iter()
        .map(|line| line.1)
        .rfind(|bottom| bottom - top <= rect.height())
        .unwrap_or(top);
    let seen = Rect::from_min_max(rect.min, pos2(rect.right(), rect.top() + bottom - top));
    let painter = ui.painter_at(seen.expand2(egui::vec2(2.0, 0.0)));
    for ((from, galley), passage) in galleys.into_iter().zip(passages) {
        if from < bottom && from + galley.size().y > top {
            painter.galley(pos2(rect.left(), rect.top() + from - top), galley, passage.colour);
        }
    }
    if last > 0 {
        // A scroll bar in the margin.
        let x = rect.left() - style.px(9.0);
        let at = |y: f32| rect.top() + rect.height() * (y / end).clamp(0.0, 1.0);
        ui.painter().vline(x, rect.y_range(), style.hairline());
        ui.painter()
            .vline(x, at(top)..=at(bottom), Stroke::new(2.0, colours.soft));
    }
    focus_mark(ui, style, &response);
    last > 0
}

/// Moves the first visible line by wheel and keys, no further than `last`.
fn moved(ui: &Ui, response: &Response, scroll: &mut Scroll, lines: usize, last: usize) {
    let mut by = 0.0;
    if response.hovered() && last > 0 {
        by -= wheel_turned(ui) * LINES_A_NOTCH;
    }
    if response.has_focus() {
        by += keys(ui, response.id, lines as f32);
    }
    scroll.first = scroll.first.min(last);
    let whole = (scroll.rest + by).trunc();
    scroll.rest = (scroll.rest + by - whole).clamp(-1.0, 1.0);
    scroll.first = to_index(f64::from((scroll.first as f32 + whole).clamp(0.0, last as f32)));
}

/// Keeps the up and down arrows with the focused widget.
pub(crate) fn keep_arrows(ui: &Ui, id: Id) {
    ui.memory_mut(|memory| {
        memory.set_focus_lock_filter(
            id,
            EventFilter {
                vertical_arrows: true,
                ..EventFilter::default()
            },
        );
    });
}

/// Lines to scroll by, positive down the text.
fn keys(ui: &Ui, id: Id, all: f32) -> f32 {
    keep_arrows(ui, id);
    ui.input(|input| {
        let count = |key| input.num_presses(key) as f32;
        count(Key::ArrowDown) - count(Key::ArrowUp)
            + 6.0 * (count(Key::PageDown) - count(Key::PageUp))
            + all * (count(Key::End) - count(Key::Home))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_end_of_a_text_is_reached_and_not_passed() {
        let lines: Vec<(f32, f32)> = (0..10)
            .map(|n| (n as f32 * 20.0, n as f32 * 20.0 + 20.0))
            .collect();
        assert_eq!(last_first(&lines, 1000.0), 0);
        assert_eq!(last_first(&lines, 100.0), 5);
        assert_eq!(last_first(&lines, 110.0), 5);
        assert_eq!(last_first(&[], 10.0), 0);
    }
}
