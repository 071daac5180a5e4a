//! The player's words on the rig card: a form with one field below the other.

mod draft;

use egui::style::ScrollStyle;
use egui::{
    Align2, Frame, Id, Key, Rect, Response, Role, ScrollArea, Sense, TextEdit, Ui, UiBuilder, WidgetInfo,
    pos2, vec2,
};
use sumproof_core::routing::boxes::{Drive, Whose};
use sumproof_core::routing::feed::Side;

use crate::canvas::{Sheet, Word, button, choice, write, write_within};
use crate::data::card::CardWords;
use crate::data::intent::Intent;
use crate::panels::boxes::put_again;
use crate::style::Style;

use draft::{Draft, Number};

/// Lines of text shown in the field for presets at risk.
const RISKS_SEEN: usize = 4;

/// State of the sheet between frames.
#[derive(Clone, Debug, Default)]
pub struct CardSheet {
    draft: Option<Draft>,
    /// Whether one of the fields had the keyboard focus in the last frame.
    typing: bool,
}

impl CardSheet {
    /// Whether something is being typed.
    pub fn is_typing(&self) -> bool {
        self.typing
    }

    /// Closes the sheet.
    pub fn put_away(&mut self) {
        *self = Self::default();
    }
}

/// A field of one line.
struct Text {
    label: &'static str,
    tip: &'static str,
    longest: usize,
    of: fn(&mut CardWords) -> &mut String,
}

const WHO: [Text; 7] = [
    Text {
        label: "player",
        tip: "Who plays.",
        longest: CardWords::NAME,
        of: |words| &mut words.player,
    },
    Text {
        label: "show",
        tip: "What is played.",
        longest: CardWords::SHORT,
        of: |words| &mut words.show,
    },
    Text {
        label: "date",
        tip: "When, as you write it.",
        longest: CardWords::SHORT,
        of: |words| &mut words.date,
    },
    Text {
        label: "contact",
        tip: "How to reach you.",
        longest: CardWords::SHORT,
        of: |words| &mut words.contact,
    },
    Text {
        label: "stage position",
        tip: "Where you stand.",
        longest: CardWords::SHORT,
        of: |words| &mut words.position,
    },
    Text {
        label: "monitor wish",
        tip: "What you want to hear, and from where.",
        longest: CardWords::MONITOR,
        of: |words| &mut words.monitor,
    },
    Text {
        label: "rig",
        tip: "What you play on.",
        longest: CardWords::RIG,
        of: |words| &mut words.rig,
    },
];

const LINES: [Text; 3] = [
    Text {
        label: "left line, name",
        tip: "What goes into the left line, as it should stand on the desk.",
        longest: CardWords::CARRIES,
        of: |words| &mut words.left,
    },
    Text {
        label: "right line, name",
        tip: "What goes into the right line, as it should stand on the desk.",
        longest: CardWords::CARRIES,
        of: |words| &mut words.right,
    },
    Text {
        label: "connector",
        tip: "What plugs in at the desk or stage box: XLR, jack.",
        longest: CardWords::SHORT,
        of: |words| &mut words.connector,
    },
];

const WHOSE: [(&str, Option<Whose>); 3] = [
    ("not said", None),
    ("mine", Some(Whose::Mine)),
    ("yours", Some(Whose::Yours)),
];
const ONE_LINE: [(&str, Option<Side>); 3] = [
    ("not said", None),
    ("left", Some(Side::Left)),
    ("right", Some(Side::Right)),
];
const DRIVE: [(&str, Option<Drive>); 3] = [
    ("not said", None),
    ("single-ended", Some(Drive::SingleEnded)),
    ("symmetric", Some(Drive::Symmetric)),
];

/// Draws the sheet. Returns whether Escape was pressed in a field, which closes it.
pub fn card(ui: &mut Ui, sheet: &mut Sheet<'_>, state: &mut CardSheet, rect: Rect) -> bool {
    let escaped = state.typing && ui.input(|input| input.key_pressed(Key::Escape));
    let top = head(ui, sheet, rect);
    let mut draft = match state.draft.take() {
        // The words may have been loaded or imported meanwhile; while the player types, his draft stands.
        Some(draft) if state.typing || draft.is_of(&sheet.snapshot.card) => draft,
        _ => Draft::new(&sheet.snapshot.card),
    };
    let place = rect.with_min_y(top);
    let mut area = ui.new_child(UiBuilder::new().max_rect(place).id_salt("rig card"));
    // The room beside the scroll bar.
    let width = rect.width() - sheet.style.px(14.0);
    // A visible bar, because there is more than fits.
    area.spacing_mut().scroll = ScrollStyle::thin();
    let mut form = Form {
        style: sheet.style,
        width,
        typing: false,
        changed: false,
        done: false,
    };
    ScrollArea::vertical().auto_shrink(false).show(&mut area, |ui| {
        form.show(ui, &mut draft);
    });
    state.typing = form.typing && !escaped;
    if form.changed || form.done || escaped {
        let before = draft.words();
        if form.done || escaped {
            draft.take_numbers();
        }
        let words = draft.words();
        if form.changed || words != before {
            put_again(sheet, &words.source());
            sheet.intents.push(Intent::Card(Box::new(words)));
        }
    }
    draft.seen(&sheet.snapshot.card);
    state.draft = Some(draft);
    escaped
}

/// Draws what an empty field means, and the way to the file. Returns the form's upper end.
fn head(ui: &Ui, sheet: &mut Sheet<'_>, rect: Rect) -> f32 {
    let style = sheet.style;
    let height = style.body().size * 1.6;
    let middle = rect.top() + height / 2.0;
    let mut right = rect.right();
    if sheet.snapshot.can_export {
        let word = Word {
            text: "export",
            name: "export the rig card",
            tip: "Writes the rig card, a rig file for the command, and your takes to files. It says where.",
        };
        let response = button(
            ui,
            &style,
            Id::unique("export card"),
            pos2(right, middle),
            Align2::RIGHT_CENTER,
            style.body(),
            &word,
        );
        right = response.rect.left() - style.px(12.0);
        if response.clicked() {
            sheet.intents.push(Intent::ExportTakes);
        }
    }
    let text = "An empty field is a blank on the card, or \u{2018}ask me\u{2019}.";
    let at = pos2(rect.left(), middle - style.label().size * 0.62);
    write_within(
        ui,
        at,
        right - rect.left(),
        1,
        text,
        style.label(),
        style.colours.faint,
    );
    rect.top() + height
}

/// The form while it is drawn.
struct Form {
    style: Style,
    width: f32,
    /// Whether a field has the keyboard focus.
    typing: bool,
    /// Whether a text or a choice changed.
    changed: bool,
    /// Whether a number field was left.
    done: bool,
}

impl Form {
    fn show(&mut self, ui: &mut Ui, draft: &mut Draft) {
        for text in &WHO {
            self.text(ui, text, draft);
        }
        for text in &LINES {
            self.text(ui, text, draft);
        }
        let tip = "Who brings the DIs.";
        self.choice(ui, "the DIs are", tip, &WHOSE, &mut draft.words.boxes);
        let tip = "The line to take when only one fits. Not said: the one on which more of your takes hold, or either.";
        self.choice(ui, "if one line fits", tip, &ONE_LINE, &mut draft.words.one_line);
        for number in Number::ALL {
            self.number(ui, number, draft);
        }
        let tip = "Single-ended: the sound on the tip, the ring tied to ground. Symmetric: on both. Your processor\u{2019}s manual says which.";
        self.choice(ui, "outputs", tip, &DRIVE, &mut draft.words.drive);
        for (n, note) in draft.notes.iter_mut().enumerate() {
            let label = format!("note {}", n + 1);
            let row = self.row(ui, 1.0);
            self.label(ui, row, &label);
            let tip = "What else the engineer should know.";
            let response = self.edit(ui, row, &label, tip, CardWords::NOTE, note);
            self.changed |= response.changed();
        }
        self.risks(ui, draft);
    }

    /// Allocates a row for this many lines of text.
    fn row(&self, ui: &mut Ui, lines: f32) -> Rect {
        let height = self.style.body().size * 1.5 * lines;
        ui.spacing_mut().item_spacing.y = self.style.px(2.0);
        let (row, _) = ui.allocate_exact_size(vec2(self.width, height), Sense::hover());
        row
    }

    /// Left end of the fields, right of their labels.
    fn at(&self) -> f32 {
        self.style.px(if self.style.compact { 104.0 } else { 112.0 })
    }

    fn label(&self, ui: &Ui, row: Rect, text: &str) {
        let style = &self.style;
        let at = pos2(row.left(), row.top() + style.body().size * 0.75);
        write(
            ui,
            at,
            Align2::LEFT_CENTER,
            text,
            style.label(),
            style.colours.faint,
        );
    }

    fn text(&mut self, ui: &mut Ui, text: &Text, draft: &mut Draft) {
        let row = self.row(ui, 1.0);
        self.label(ui, row, text.label);
        let typed = (text.of)(&mut draft.words);
        let response = self.edit(ui, row, text.label, text.tip, text.longest, typed);
        self.changed |= response.changed();
    }

    fn number(&mut self, ui: &mut Ui, number: Number, draft: &mut Draft) {
        let row = self.row(ui, 1.0);
        self.label(ui, row, number.label());
        let wrong = draft.wrong(number);
        let typed = draft.number_mut(number);
        let response = self.edit(ui, row, number.label(), number.tip(), Number::LONGEST, typed);
        self.done |= response.lost_focus();
        if let Some(why) = wrong.filter(|_| !response.has_focus()) {
            let at = pos2(row.right(), row.center().y);
            let style = &self.style;
            write(
                ui,
                at,
                Align2::RIGHT_CENTER,
                &why,
                style.label(),
                style.colours.ink,
            );
        }
    }

    fn choice<T: Copy + PartialEq>(
        &mut self,
        ui: &mut Ui,
        label: &str,
        tip: &str,
        choices: &[(&str, T)],
        value: &mut T,
    ) {
        let row = self.row(ui, 1.0);
        self.label(ui, row, label);
        let at = pos2(row.left() + self.at(), row.center().y);
        let id = Id::unique(("card", label));
        let name = format!("rig card, {label}");
        let (made, _) = choice(ui, &self.style, id, at, &name, tip, choices, *value);
        let came = (0..choices.len()).any(|n| {
            let id = id.with(n);
            ui.memory(|memory| memory.has_focus(id) && !memory.had_focus_last_frame(id))
        });
        if came {
            ui.scroll_to_rect(row, None);
        }
        if let Some(made) = made {
            *value = made;
            self.changed = true;
        }
    }

    /// Draws the presets at risk, a line each.
    fn risks(&mut self, ui: &mut Ui, draft: &mut Draft) {
        let label = "presets at risk, a line each";
        let style = self.style;
        let head = self.row(ui, 1.0);
        self.label(ui, head, label);
        let row = self.row(ui, RISKS_SEEN as f32);
        ui.painter()
            .rect_stroke(row, 0.0, style.hairline(), egui::StrokeKind::Inside);
        let mut area = ui.new_child(UiBuilder::new().max_rect(row.shrink(4.0)).id_salt("risks"));
        let text = &mut draft.at_risk;
        let response = ScrollArea::vertical()
            .auto_shrink(false)
            .show(&mut area, |ui| {
                let edit = TextEdit::multiline(text)
                    .id(Id::unique("card at risk"))
                    .font(style.body())
                    .frame(Frame::NONE)
                    .desired_rows(RISKS_SEEN - 1)
                    .char_limit((CardWords::AT_RISK + 1) * CardWords::AT_RISKS)
                    .desired_width(row.width() - style.px(20.0));
                ui.add(edit)
            })
            .inner;
        self.follow(ui, &response, head.union(row));
        if response.changed() {
            draft.cut_risks();
            self.changed = true;
        }
        name_it(&response, label, &draft.at_risk);
        response
            .on_hover_text("Presets to watch, each with how. Those from your takes join them on the card.");
    }

    /// Draws an editable field in its place.
    fn edit(
        &mut self,
        ui: &mut Ui,
        row: Rect,
        label: &str,
        tip: &str,
        longest: usize,
        text: &mut String,
    ) -> Response {
        let style = &self.style;
        let place = Rect::from_min_max(pos2(row.left() + self.at(), row.top()), row.max);
        let mut cell = ui.new_child(UiBuilder::new().max_rect(place).id_salt(label));
        let response = cell.put(
            place,
            TextEdit::singleline(text)
                .id(Id::unique(("card", label)))
                .font(style.body())
                .frame(Frame::NONE)
                .align(Align2::LEFT_CENTER)
                .char_limit(longest)
                .desired_width(place.width()),
        );
        let under = if response.has_focus() || response.hovered() {
            style.line(1.5, style.colours.ink)
        } else {
            style.hairline()
        };
        ui.painter().hline(place.x_range(), place.bottom() - 1.0, under);
        self.follow(ui, &response, row);
        name_it(&response, label, text);
        response.on_hover_text(tip)
    }

    /// Scrolls to the field that the keyboard focus reaches.
    fn follow(&mut self, ui: &Ui, response: &Response, row: Rect) {
        if response.gained_focus() {
            ui.scroll_to_rect(row, None);
        }
        self.typing |= response.has_focus();
    }
}

/// Sets a field's name for a screen reader.
fn name_it(response: &Response, label: &str, text: &str) {
    response.widget_info(|| {
        let mut info = WidgetInfo::labeled(Role::TextInput, true, format!("rig card, {label}"));
        info.current_text_value = Some(text.to_owned());
        info
    });
}
