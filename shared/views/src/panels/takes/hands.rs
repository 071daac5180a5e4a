//! Takes without hands: phrases that become takes automatically, and the names they get.

use egui::{Align2, Id, Rect, Role, ScrollArea, TextEdit, Ui, UiBuilder, WidgetInfo, pos2, vec2};
use sumproof_core::dsp::numbers::to_index;

use crate::canvas::{Sheet, Word, button, choice, write, write_within};
use crate::data::intent::{Intent, Setting};
use crate::data::own::{NameList, PedalTask, Pedals};
use crate::style::Style;

/// Longest list of names, characters.
const LONGEST_LIST: usize = 20_000;

/// State of the sheet between frames.
#[derive(Clone, Debug, Default)]
pub struct HandsSheet {
    /// The list being typed or pasted.
    typing: Option<String>,
}

impl HandsSheet {
    /// Whether names are being typed.
    pub fn is_typing(&self) -> bool {
        self.typing.is_some()
    }

    /// Closes the sheet; typed text is dropped.
    pub fn put_away(&mut self) {
        self.typing = None;
    }
}

/// Draws the sheet.
pub fn hands(ui: &mut Ui, sheet: &mut Sheet<'_>, state: &mut HandsSheet, rect: Rect) {
    let style = sheet.style;
    let line = style.body().size * 1.7;
    let mut y = rect.top();
    let mut row = |lines: f32| {
        let place = Rect::from_min_size(pos2(rect.left(), y), vec2(rect.width(), line * lines));
        y += line * lines;
        place
    };
    by_phrase(ui, sheet, row(1.0));
    match sheet.snapshot.pedals.clone() {
        Some(now) => pedals(ui, sheet, &now, row(if style.compact { 2.2 } else { 4.2 })),
        None => about(ui, sheet, row(if style.compact { 2.2 } else { 3.0 })),
    }
    next_name(ui, sheet, state, row(1.2));
    let rest = Rect::from_min_max(pos2(rect.left(), y), rect.max);
    list(ui, sheet, state, rest);
}

/// Draws the switch for making takes of phrases.
fn by_phrase(ui: &Ui, sheet: &mut Sheet<'_>, rect: Rect) {
    let style = sheet.style;
    let at = pos2(rect.left(), rect.center().y);
    let what = "every phrase of 4 s or more becomes a take";
    let colour = style.colours.faint;
    let label = write(ui, at, Align2::LEFT_CENTER, what, style.label(), colour);
    let (on, _) = choice(
        ui,
        &style,
        Id::unique("by phrase"),
        pos2(label.right() + style.px(12.0), rect.center().y),
        what,
        "Play a preset, pause for a second and a half, change to the next and play on: each becomes a take with the next name.",
        &[("no", false), ("yes", true)],
        sheet.snapshot.settings.takes_by_phrase,
    );
    if let Some(on) = on {
        sheet.set(Setting::TakesByPhrase(on));
    }
}

/// Draws what a pedal can do.
fn about(ui: &Ui, sheet: &Sheet<'_>, rect: Rect) {
    let style = sheet.style;
    let text = "For a foot pedal, map these parameters in your DAW: Record take, Take the last phrase, Next name, Lines \
                straight, Feed, Audition. A phrase can be taken after the fact: it stays until a second of the next is heard.";
    let rows = to_index(f64::from(rect.height() / (style.label().size * 1.24))).max(1);
    let at = rect.min + vec2(0.0, style.px(2.0));
    write_within(
        ui,
        at,
        rect.width(),
        rows,
        text,
        style.label(),
        style.colours.faint,
    );
}

/// Draws each task with its pedal: a click waits for a pedal, another click removes it.
fn pedals(ui: &Ui, sheet: &mut Sheet<'_>, now: &Pedals, rect: Rect) {
    let style = sheet.style;
    let line = style.body().size * 1.45;
    let mut at = rect.min;
    let label = write(
        ui,
        at + vec2(0.0, line / 2.0),
        Align2::LEFT_CENTER,
        "pedals",
        style.label(),
        style.colours.faint,
    );
    at.x = label.right() + style.px(12.0);
    for (task, bound) in PedalTask::ALL.into_iter().zip(&now.bound) {
        let learning = now.learning == Some(task);
        let state = match (learning, bound) {
            (true, _) => "press it now",
            (false, Some(pedal)) => pedal.as_str(),
            (false, None) => "none",
        };
        let text = format!("{}: {state}", task.name());
        let spoken = format!("pedal for {}: {state}", task.name());
        let word = Word {
            text: &text,
            name: &spoken,
            tip: "Click, then press the pedal that is to do this: whatever controller or note it sends is learnt. Click again to take it off.",
        };
        let font = if learning { style.strong() } else { style.body() };
        let width = crate::canvas::width_of(ui, &text, font.clone());
        if at.x + width > rect.right() {
            at = pos2(rect.left(), at.y + line);
        }
        let id = Id::unique(("pedal", task.id()));
        let response = button(
            ui,
            &style,
            id,
            at + vec2(0.0, line / 2.0),
            Align2::LEFT_CENTER,
            font,
            &word,
        );
        at.x = response.rect.right() + style.px(16.0);
        if response.clicked() {
            if learning {
                sheet.intents.push(Intent::LearnPedal(None));
                sheet.intents.push(Intent::ForgetPedal(task));
            } else {
                sheet.intents.push(Intent::LearnPedal(Some(task)));
            }
        }
    }
}

/// Draws the name of the next take, and the words that change it.
fn next_name(ui: &Ui, sheet: &mut Sheet<'_>, state: &mut HandsSheet, rect: Rect) {
    let style = sheet.style;
    let names = &sheet.snapshot.names;
    let middle = rect.center().y;
    let said = match names.next_name() {
        Some(name) if names.of_program.is_some() => format!("next: \u{2018}{name}\u{2019}, by program"),
        Some(name) => format!(
            "next: \u{2018}{name}\u{2019}, {} of {}",
            names.next + 1,
            names.names.len()
        ),
        None if names.names.is_empty() => String::from("no names given: takes are counted"),
        None => String::from("all names are used: takes are counted"),
    };
    let mut x = rect.right();
    let mut word = |id: &'static str, word: &Word<'_>| {
        let at = pos2(x, middle);
        let response = button(
            ui,
            &style,
            Id::unique(id),
            at,
            Align2::RIGHT_CENTER,
            style.body(),
            word,
        );
        x = response.rect.left() - style.px(14.0);
        response.clicked()
    };
    let edit = Word {
        text: "edit the list",
        name: "edit the list of names",
        tip: "Type or paste names, a line a preset, in the order you will play them. \u{2018}import takes\u{2019} reads them from a text file, too.",
    };
    let skip = Word {
        text: "leave it out",
        name: "leave the next name out",
        tip: "The name after it is the next one.",
    };
    if state.typing.is_none() && word("edit names", &edit) {
        state.typing = Some(names.names.join("\n"));
    }
    if state.typing.is_none() && names.next_name().is_some() && word("skip name", &skip) {
        let next = names.next + 1;
        sheet.intents.push(Intent::Names(NameList {
            next,
            ..names.clone()
        }));
    }
    // In the room left by the words.
    let at = pos2(rect.left(), middle - style.strong().size * 0.62);
    let room = x - rect.left();
    write_within(ui, at, room, 1, &said, style.strong(), style.colours.ink);
}

/// Draws the list, in which a click makes a name the next one; or the text field while it is edited.
fn list(ui: &mut Ui, sheet: &mut Sheet<'_>, state: &mut HandsSheet, rect: Rect) {
    if state.typing.is_some() {
        edit(ui, sheet, state, rect);
        return;
    }
    let style = sheet.style;
    let names = &sheet.snapshot.names;
    let height = style.body().size * 1.45;
    let mut area = ui.new_child(UiBuilder::new().max_rect(rect).id_salt("names"));
    let mut chosen = None;
    ScrollArea::vertical().auto_shrink(false).show(&mut area, |ui| {
        for (index, name) in names.names.iter().enumerate() {
            let (place, response) = ui.allocate_exact_size(vec2(rect.width(), height), egui::Sense::click());
            let next = index == names.next;
            response.widget_info(|| {
                WidgetInfo::selected(
                    Role::RadioButton,
                    true,
                    next,
                    format!("name {}: {name}", index + 1),
                )
            });
            let font = if next { style.strong() } else { style.body() };
            let colour = if index < names.next {
                style.colours.faint
            } else {
                style.colours.ink
            };
            let text = format!("{}  {name}", index + 1);
            let at = pos2(place.left(), place.center().y - font.size * 0.62);
            write_within(ui, at, place.width(), 1, &text, font, colour);
            crate::canvas::focus_mark(ui, &style, &response);
            if response.clicked() {
                chosen = Some(index);
            }
            response.on_hover_text("Click to make this the name of the next take.");
        }
    });
    if let Some(next) = chosen {
        let names = names.clone();
        sheet.intents.push(Intent::Names(NameList { next, ..names }));
    }
}

fn edit(ui: &mut Ui, sheet: &mut Sheet<'_>, state: &mut HandsSheet, rect: Rect) {
    let style = sheet.style;
    let line = style.body().size * 1.7;
    let keep = Word {
        text: "use these names",
        name: "use these names",
        tip: "The first is the name of the next take.",
    };
    let at = pos2(rect.left(), rect.top() + line / 2.0);
    let kept = button(
        ui,
        &style,
        Id::unique("keep names"),
        at,
        Align2::LEFT_CENTER,
        style.strong(),
        &keep,
    );
    let drop = Word {
        text: "leave them as they were",
        name: "leave the names as they were",
        tip: "Forgets what was typed.",
    };
    let at = pos2(kept.rect.right() + style.px(18.0), rect.top() + line / 2.0);
    let dropped = button(
        ui,
        &style,
        Id::unique("drop names"),
        at,
        Align2::LEFT_CENTER,
        style.body(),
        &drop,
    );
    let Some(text) = &mut state.typing else { return };
    let (kept, dropped) = (kept.clicked(), dropped.clicked());
    typed(
        ui,
        &style,
        text,
        kept || dropped,
        rect.with_min_y(rect.top() + line),
    );
    if kept {
        sheet.intents.push(Intent::Names(NameList::from_text(text)));
    }
    let given_up = ui.input(|input| input.key_pressed(egui::Key::Escape));
    if kept || dropped || given_up {
        state.typing = None;
    }
}

/// Draws the text field for the names; it keeps the keyboard until the player is done.
fn typed(ui: &mut Ui, style: &Style, text: &mut String, done: bool, place: Rect) {
    ui.painter()
        .rect_stroke(place, 0.0, style.hairline(), egui::StrokeKind::Inside);
    let mut area = ui.new_child(
        UiBuilder::new()
            .max_rect(place.shrink(6.0))
            .id_salt("typed names"),
    );
    ScrollArea::vertical().auto_shrink(false).show(&mut area, |ui| {
        let edit = TextEdit::multiline(text)
            .id(Id::unique("names typed"))
            .font(style.body())
            .frame(egui::Frame::NONE)
            .char_limit(LONGEST_LIST)
            .desired_width(place.width() - 16.0);
        let response = ui.add(edit);
        response.widget_info(|| WidgetInfo::labeled(Role::TextInput, true, "names, a line a preset"));
        if done {
            response.surrender_focus();
        } else if !response.has_focus() && !response.lost_focus() {
            response.request_focus();
        }
    });
}
