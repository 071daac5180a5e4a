//! The set: all takes in a table, to sort, to tidy up, and to pick two of for a comparison.

mod columns;
pub mod lines;
mod table;

use egui::{Align2, Id, Rect, Role, Sense, Ui, WidgetInfo, pos2, vec2};
use sumproof_wording::sets;

use super::{Action, Along, Takes, act, action_row, bring_back, record, take_phrase};
use crate::canvas::{Sheet, Word, button, write_within};
use columns::{Columns, headings};
use lines::{Column, Line, middle, sorted};
use table::table;

/// State of the sheet between frames.
#[derive(Clone, Debug, Default)]
pub struct SetSheet {
    by: Column,
    falling: bool,
    /// The take described below the table, by its index in playing order.
    at: usize,
    /// Whether a key has just moved to it, so that it must be scrolled into view.
    follow: bool,
}

impl SetSheet {
    /// Sorts by a column; repeated, in the other direction.
    fn sort(&mut self, by: Column) {
        self.falling = self.by == by && !self.falling;
        self.by = by;
    }
}

/// Requests made on the sheet.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SetAsked {
    /// Compare the picked takes.
    pub compare: bool,
    /// Open the names for takes.
    pub names: bool,
    /// Close the sheet.
    pub done: bool,
}

/// Draws the sheet. The keyboard focus reaches 'record' first, then the table and the actions on its selected take.
pub fn set(
    ui: &mut Ui,
    sheet: &mut Sheet<'_>,
    state: &mut SetSheet,
    takes: &mut Takes,
    rect: Rect,
) -> SetAsked {
    let style = sheet.style;
    let count = sheet.snapshot.takes.len();
    takes.settle(count);
    state.at = state.at.min(count.saturating_sub(1));
    let line = style.body().size * 1.6;
    let head = Rect::from_min_size(rect.min, vec2(rect.width(), line));
    let mut asked = heading(ui, sheet, head);
    if count == 0 {
        let text = "Nothing here yet. Every take is a line of this table: how it fares, and how loud it is beside the others.";
        let at = pos2(rect.left(), head.bottom() + style.px(8.0));
        write_within(ui, at, rect.width(), 2, text, style.label(), style.colours.faint);
        return asked;
    }
    let columns = Columns::new(&style, rect);
    let top = head.bottom() + style.label().size * 2.7;
    let foot = 2.0 * line + style.px(4.0);
    let body = Rect::from_min_max(
        pos2(rect.left(), top + style.px(2.0)),
        pos2(rect.right(), rect.bottom() - foot),
    );
    let snapshot = sheet.snapshot;
    let lines = sorted(snapshot, state.by, state.falling);
    table(ui, sheet, state, takes, &columns, body, &lines);
    let words = Rect::from_min_size(
        pos2(rect.left(), body.bottom() + style.px(4.0)),
        vec2(rect.width(), line),
    );
    asked.compare |= actions(ui, sheet, state, takes, words);
    about(ui, sheet, Rect::from_min_size(words.left_bottom(), words.size()));
    headings(ui, &style, &columns, top, body, state);
    asked
}

/// Draws the words for recording, taking the phrase, restoring the last deleted take, and the ways to the names and
/// back.
fn heading(ui: &Ui, sheet: &mut Sheet<'_>, rect: Rect) -> SetAsked {
    let style = sheet.style;
    let mut along = Along {
        x: rect.left(),
        y: rect.center().y,
        gap: style.px(16.0),
    };
    let count = sheet.snapshot.takes.len();
    let label = if style.compact {
        String::from("the set")
    } else {
        format!("the set: {count} takes")
    };
    along.text(ui, &label, style.label(), style.colours.faint);
    record(ui, sheet, &mut along);
    if !sheet.snapshot.settings.record && !sheet.snapshot.reading.recording {
        take_phrase(ui, sheet, &mut along);
    }
    bring_back(ui, sheet, &mut along);
    let names = Word {
        text: "names",
        name: "names, and takes by phrase",
        tip: "Takes without hands: phrases that become takes by themselves, and the names they get.",
    };
    let names = along.word(ui, &style, "names", style.body(), &names);
    let mut done = false;
    if !style.compact {
        let word = Word {
            text: "done",
            name: "done with the set",
            tip: "Puts this table away. F6 and Escape do the same.",
        };
        let at = pos2(rect.right(), rect.center().y);
        let id = Id::unique("set done");
        done = button(ui, &style, id, at, Align2::RIGHT_CENTER, style.body(), &word).clicked();
    }
    SetAsked {
        names,
        done,
        compare: false,
    }
}

/// Draws the actions on the table's selected take and on the picked ones. Returns whether these are to be compared.
fn actions(ui: &Ui, sheet: &mut Sheet<'_>, state: &mut SetSheet, takes: &mut Takes, rect: Rect) -> bool {
    let style = sheet.style;
    let (at, middle) = (state.at, rect.center().y);
    if at >= sheet.snapshot.takes.len() {
        return false;
    }
    let on_one = [Action::Delete, Action::Later, Action::Earlier, Action::Rename];
    let (clicked, x) = action_row(ui, sheet, "set action", &on_one, at, rect);
    if let Some(action) = clicked {
        act(sheet, takes, action, at);
        state.follow = true;
        state.at = match action {
            Action::Later => at + 1,
            Action::Earlier => at.saturating_sub(1),
            _ => at,
        };
    }
    let picked = takes.picked().len();
    let left = rect.left();
    if picked == 0 {
        let text = if style.compact {
            "click or Enter picks"
        } else {
            "a click, or Enter, picks a take: two can be laid side by side"
        };
        let place = pos2(left, middle - style.label().size * 0.62);
        write_within(ui, place, x - left, 1, text, style.label(), style.colours.faint);
        return false;
    }
    let word = Word {
        text: if picked == 2 {
            "lay both side by side"
        } else {
            "lay it beside what plays now"
        },
        name: "compare what is picked",
        tip: "Every feed of what is picked, row by row.",
    };
    let id = Id::unique("set compare");
    button(
        ui,
        &style,
        id,
        pos2(left, middle),
        Align2::LEFT_CENTER,
        style.strong(),
        &word,
    )
    .clicked()
}

/// Draws the set's median loudness.
fn about(ui: &Ui, sheet: &Sheet<'_>, rect: Rect) {
    let style = sheet.style;
    let Some([stereo, wedge]) = middle(&sheet.snapshot.takes) else {
        return;
    };
    let text = sets::middle(&stereo, &wedge);
    let response = ui.interact(rect, Id::unique("middle of the set"), Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Label, true, &text));
    let at = pos2(rect.left(), rect.center().y - style.body().size * 0.62);
    write_within(ui, at, rect.width(), 1, &text, style.body(), style.colours.soft);
    response.on_hover_text(columns::LOUDNESS);
}

/// A take of the table as a screen reader reads it.
fn spoken(line: &Line<'_>, picked: bool) -> String {
    use sumproof_core::routing::feed::FeedId;
    use sumproof_wording::Name;
    use sumproof_wording::scores::word;
    let outcome = |id: FeedId| line.row(id).map_or_else(String::new, word);
    let worst = line.worst.map_or_else(String::new, |row| {
        format!("worst {} in {}, ", word(row), row.id.name())
    });
    let loudness = line.lufs[0].map_or_else(String::new, |lufs| {
        format!(", {}", sets::loudness(lufs, line.lufs[1]))
    });
    let marks = [(picked, ", picked"), (line.take.failed, ", failed its check")];
    let marks: String = marks.iter().filter(|mark| mark.0).map(|mark| mark.1).collect();
    format!(
        "{}: {}, {worst}wedge {}, one line flipped {}{loudness}{marks}",
        line.index + 1,
        line.take.name,
        outcome(FeedId::MonoWedge),
        outcome(FeedId::WedgeLineFlipped),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_column_sorts_up_then_down_and_another_up() {
        let mut state = SetSheet::default();
        state.sort(Column::Stereo);
        assert_eq!((state.by, state.falling), (Column::Stereo, false));
        state.sort(Column::Stereo);
        assert!(state.falling);
        state.sort(Column::Name);
        assert_eq!((state.by, state.falling), (Column::Name, false));
    }
}
