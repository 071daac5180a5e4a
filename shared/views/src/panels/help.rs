//! What marks and short words mean: a line each.

use egui::{Id, Rect, Ui};
use sumproof_wording::help;

use crate::canvas::Sheet;
use crate::widgets::scroll::{Passage, Scroll, scrolled};

/// Draws the sheet.
pub fn help(ui: &Ui, sheet: &Sheet<'_>, scroll: &mut Scroll, rect: Rect) {
    let style = sheet.style;
    let passages: Vec<Passage> = help::lines()
        .into_iter()
        .flat_map(|(word, line)| {
            let head = Passage {
                text: word.into(),
                font: style.strong(),
                colour: style.colours.ink,
                after: 0.0,
            };
            let body = Passage {
                text: line.into(),
                font: style.body(),
                colour: style.colours.soft,
                after: style.px(6.0),
            };
            [head, body]
        })
        .collect();
    scrolled(ui, &style, Id::unique("help"), rect, &passages, scroll);
}
