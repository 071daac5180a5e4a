//! The strip of takes: record, name, pick two to compare, reorder, delete with undo.

pub(crate) mod hands;
pub(crate) mod set;

use egui::{
    Align2, Color32, FontId, Id, Rect, Role, ScrollArea, Sense, Ui, UiBuilder, WidgetInfo, pos2, vec2,
};
use sumproof_core::session::take::Pass;
use sumproof_wording::Name;

use crate::canvas::{Sheet, Word, button, choice, focus_mark, outcome_stroke, write, write_within};
use crate::data::intent::{Intent, Setting};
use crate::data::snapshot::{Snapshot, TakeSummary};
use crate::style::Style;
use crate::widgets::typed::{Typed, type_on};
use sumproof_wording::numbers::{duration, signed};

/// Longest name of a take, characters.
pub const LONGEST_NAME: usize = 60;

/// State of the strip between frames.
#[derive(Clone, Debug, Default)]
pub struct Takes {
    /// The takes being compared, oldest pick first; at most two.
    picked: Vec<usize>,
    renaming: Option<(usize, String)>,
}

impl Takes {
    /// Whether a name is being typed.
    pub fn is_typing(&self) -> bool {
        self.renaming.is_some()
    }

    /// Indices of the takes being compared.
    pub fn picked(&self) -> &[usize] {
        &self.picked
    }

    /// Ends the comparison.
    pub fn unpick(&mut self) {
        self.picked.clear();
    }

    /// Picks or unpicks a take; a third pick replaces the older of two.
    pub fn pick(&mut self, index: usize) {
        if let Some(place) = self.picked.iter().position(|&other| other == index) {
            self.picked.remove(place);
        } else {
            if self.picked.len() == 2 {
                self.picked.remove(0);
            }
            self.picked.push(index);
        }
    }

    /// Drops picks and edits of takes that no longer exist; `count` is the number of takes.
    pub fn settle(&mut self, count: usize) {
        self.picked.retain(|&index| index < count);
        if self.renaming.as_ref().is_some_and(|(index, _)| *index >= count) {
            self.renaming = None;
        }
    }

    fn moved(&mut self, from: usize, to: usize) {
        for picked in &mut self.picked {
            if *picked == from {
                *picked = to;
            } else if *picked == to {
                *picked = from;
            }
        }
    }

    fn deleted(&mut self, index: usize) {
        self.picked.retain(|&picked| picked != index);
        for picked in &mut self.picked {
            if *picked > index {
                *picked -= 1;
            }
        }
    }
}

/// A sheet opened from the strip.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LeadsTo {
    /// Taking takes without hands.
    Hands,
    /// The table of all takes.
    Set,
}

/// Draws the strip. Returns the sheet that was asked for.
pub fn takes(ui: &mut Ui, sheet: &mut Sheet<'_>, takes: &mut Takes, rect: Rect) -> Option<LeadsTo> {
    takes.settle(sheet.snapshot.takes.len());
    let head = sheet.style.body().size * 1.5;
    let line = Rect::from_min_size(rect.min, vec2(rect.width(), head));
    let names = heading(ui, sheet, line, !takes.picked.is_empty());
    let mut cards = Rect::from_min_max(rect.min + vec2(0.0, head), rect.max);
    // In a small window there is no room beside the heading.
    let below = sheet.style.compact && !takes.picked.is_empty();
    let line = if below {
        cards.max.y -= head;
        Rect::from_min_size(cards.left_bottom(), vec2(rect.width(), head))
    } else {
        line
    };
    actions(ui, sheet, takes, line);
    if sheet.snapshot.takes.is_empty() {
        let text = "Play one preset, keep it as a take, then the next: two takes can be laid side by side. For an exact \
                    split of dry and wet, record the same part twice more, effects off and dry off.";
        write_within(
            ui,
            cards.min + vec2(0.0, sheet.style.px(2.0)),
            cards.width(),
            2,
            text,
            sheet.style.label(),
            sheet.style.colours.faint,
        );
        return names;
    }
    let mut area = ui.new_child(UiBuilder::new().max_rect(cards).id_salt("takes"));
    area.set_clip_rect(cards.expand(4.0).intersect(ui.clip_rect()));
    ScrollArea::horizontal().auto_shrink(false).show(&mut area, |ui| {
        let width = sheet.style.px(if sheet.style.compact { 156.0 } else { 178.0 });
        let count = sheet.snapshot.takes.len();
        let height = cards.height() - sheet.style.px(4.0);
        let (space, _) = ui.allocate_exact_size(vec2(width * count as f32, height), Sense::hover());
        for (index, take) in sheet.snapshot.takes.iter().enumerate() {
            let place = Rect::from_min_size(
                space.min + vec2(width * index as f32, 0.0),
                vec2(width - sheet.style.px(18.0), height),
            );
            card(ui, sheet, takes, place, index, take);
        }
    });
    names
}

/// Position of words that follow one another along a line.
struct Along {
    x: f32,
    y: f32,
    gap: f32,
}

impl Along {
    fn word(&mut self, ui: &Ui, style: &Style, id: &'static str, font: FontId, word: &Word<'_>) -> bool {
        let at = pos2(self.x, self.y);
        let response = button(ui, style, Id::unique(id), at, Align2::LEFT_CENTER, font, word);
        self.x = response.rect.right() + self.gap;
        response.clicked()
    }

    fn text(&mut self, ui: &Ui, text: &str, font: FontId, colour: Color32) {
        let at = pos2(self.x, self.y);
        self.x = write(ui, at, Align2::LEFT_CENTER, text, font, colour).right() + self.gap;
    }
}

/// Draws the words for recording, taking the phrase, the next take's content and its name; during a comparison, its
/// actions take the room of two of these. Returns the sheet that was asked for.
fn heading(ui: &Ui, sheet: &mut Sheet<'_>, rect: Rect, comparing: bool) -> Option<LeadsTo> {
    let style = sheet.style;
    let mut along = Along {
        x: rect.left(),
        y: rect.center().y,
        gap: style.px(16.0),
    };
    along.text(ui, "takes", style.label(), style.colours.faint);
    record(ui, sheet, &mut along);
    if !is_recording(sheet.snapshot) && !comparing {
        take_phrase(ui, sheet, &mut along);
        pass(ui, sheet, &mut along);
    }
    bring_back(ui, sheet, &mut along);
    let names = Word {
        text: "names",
        name: "names, and takes by phrase",
        tip: "Takes without hands: phrases that become takes by themselves, and the names they get.",
    };
    let mut asked = along
        .word(ui, &style, "names", style.body(), &names)
        .then_some(LeadsTo::Hands);
    // A small window has a page for the set.
    if !style.compact && !sheet.snapshot.takes.is_empty() {
        let set = Word {
            text: "the set",
            name: "the set: all takes in a table",
            tip: "All takes in a table: how each fares, how loud it is, and how far off the others. The key F6 does the same.",
        };
        if along.word(ui, &style, "the set", style.body(), &set) {
            asked = Some(LeadsTo::Set);
        }
    }
    asked
}

/// Whether a take is being recorded.
pub fn is_recording(snapshot: &Snapshot) -> bool {
    snapshot.settings.record || snapshot.reading.recording
}

fn record(ui: &Ui, sheet: &mut Sheet<'_>, along: &mut Along) {
    let style = sheet.style;
    let on = sheet.snapshot.settings.record;
    let word = if on {
        Word {
            text: "stop and keep",
            name: "stop the take and keep it",
            tip: "Ends the take and keeps it.",
        }
    } else {
        Word {
            text: "record a take",
            name: "record a take",
            tip: "Keeps what comes from now on as a take, until you stop it.",
        }
    };
    if along.word(ui, &style, "record", style.strong(), &word) {
        sheet.set(Setting::Record(!on));
    }
}

fn take_phrase(ui: &Ui, sheet: &mut Sheet<'_>, along: &mut Along) {
    let style = sheet.style;
    let word = Word {
        text: "take the phrase",
        name: "take the last phrase",
        tip: "Makes a take of what you played last, after the fact: all since you last paused, at most the last half minute.",
    };
    if sheet.snapshot.reading.phrase.seconds > 0.0
        && along.word(ui, &style, "take phrase", style.strong(), &word)
    {
        sheet.intents.push(Intent::TakePhrase);
    }
}

fn pass(ui: &Ui, sheet: &mut Sheet<'_>, along: &mut Along) {
    let style = sheet.style;
    let (pass, end) = choice(
        ui,
        &style,
        Id::unique("pass"),
        pos2(along.x, along.y),
        "the next take holds",
        "What the next take holds: the full preset; dry, with all effects off; or wet, with the dry off. Play the \
         same part each time.",
        &[("full", Pass::Full), ("dry", Pass::Dry), ("wet", Pass::Wet)],
        sheet.snapshot.settings.pass,
    );
    if let Some(pass) = pass {
        sheet.set(Setting::Pass(pass));
    }
    along.x = end + along.gap;
}

fn bring_back(ui: &Ui, sheet: &mut Sheet<'_>, along: &mut Along) {
    let style = sheet.style;
    let Some(name) = &sheet.snapshot.deleted else {
        return;
    };
    // The full name is in the tip: the strip is narrow.
    let spoken = format!("bring \u{2018}{}\u{2019} back", shortened(name, 18));
    let tip = format!("Undoes the last deletion: \u{2018}{name}\u{2019} comes back.");
    let word = Word {
        text: "bring back",
        name: &spoken,
        tip: &tip,
    };
    if along.word(ui, &style, "undo", style.body(), &word) {
        sheet.intents.push(Intent::UndoDelete);
    }
}

/// The actions on a take, from the right.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Action {
    Done,
    Delete,
    Later,
    Earlier,
    Rename,
}

impl Action {
    const ALL: [Self; 5] = [Self::Done, Self::Delete, Self::Later, Self::Earlier, Self::Rename];

    /// The text drawn, the name for a screen reader, and the tip.
    fn word(self, take: &str) -> (&'static str, String, &'static str) {
        match self {
            Self::Done => ("done", "done comparing".into(), "Closes the comparison."),
            Self::Delete => (
                "delete",
                format!("delete take {take}"),
                "Deletes this take; it can be brought back.",
            ),
            Self::Later => (
                "later",
                format!("move take {take} later"),
                "Moves this take to the right.",
            ),
            Self::Earlier => (
                "earlier",
                format!("move take {take} earlier"),
                "Moves this take to the left.",
            ),
            Self::Rename => (
                "rename",
                format!("rename take {take}"),
                "Gives this take another name.",
            ),
        }
    }

    fn is_possible(self, index: usize, count: usize) -> bool {
        match self {
            Self::Later => index + 1 < count,
            Self::Earlier => index > 0,
            Self::Done | Self::Delete | Self::Rename => true,
        }
    }
}

/// Draws actions on a take, from the right; `row` tells their ids from those of other rows. Returns the one that was
/// clicked, and where the row begins.
fn action_row(
    ui: &Ui,
    sheet: &Sheet<'_>,
    row: &'static str,
    actions: &[Action],
    index: usize,
    rect: Rect,
) -> (Option<Action>, f32) {
    let style = sheet.style;
    let mut x = rect.right();
    let mut clicked = None;
    let Some(take) = sheet.snapshot.takes.get(index) else {
        return (clicked, x);
    };
    for &action in actions {
        if !action.is_possible(index, sheet.snapshot.takes.len()) {
            continue;
        }
        let (text, name, tip) = action.word(&take.name);
        let word = Word {
            text,
            name: &name,
            tip,
        };
        let at = pos2(x, rect.center().y);
        let id = Id::unique((row, text));
        let response = button(ui, &style, id, at, Align2::RIGHT_CENTER, style.body(), &word);
        x = response.rect.left() - style.px(12.0);
        if response.clicked() {
            clicked = Some(action);
        }
    }
    (clicked, x)
}

/// Draws the actions on the take picked last.
fn actions(ui: &Ui, sheet: &mut Sheet<'_>, takes: &mut Takes, rect: Rect) {
    let Some(&index) = takes.picked.last() else { return };
    if let (Some(action), _) = action_row(ui, sheet, "take action", &Action::ALL, index, rect) {
        act(sheet, takes, action, index);
    }
}

fn act(sheet: &mut Sheet<'_>, takes: &mut Takes, action: Action, index: usize) {
    let mut move_to = |sheet: &mut Sheet<'_>, to: usize| {
        sheet.intents.push(Intent::MoveTake { from: index, to });
        takes.moved(index, to);
    };
    match action {
        Action::Done => takes.unpick(),
        Action::Delete => {
            sheet.intents.push(Intent::DeleteTake(index));
            takes.deleted(index);
        }
        Action::Later => move_to(sheet, index + 1),
        Action::Earlier => move_to(sheet, index.saturating_sub(1)),
        Action::Rename => {
            takes.renaming = sheet
                .snapshot
                .takes
                .get(index)
                .map(|take| (index, take.name.clone()));
        }
    }
}

fn shortened(name: &str, most: usize) -> String {
    if name.chars().count() <= most {
        name.into()
    } else {
        name.chars().take(most - 1).chain(['…']).collect()
    }
}

fn card(ui: &mut Ui, sheet: &mut Sheet<'_>, takes: &mut Takes, rect: Rect, index: usize, take: &TakeSummary) {
    let style = sheet.style;
    let colours = style.colours;
    if takes
        .renaming
        .as_ref()
        .is_some_and(|(renamed, _)| *renamed == index)
    {
        rename(ui, sheet, takes, rect);
        return;
    }
    let picked = takes.picked.contains(&index);
    let response = ui.interact(rect, Id::unique(("take", index)), Sense::click());
    response.widget_info(|| WidgetInfo::selected(Role::Button, true, picked, spoken(take, index)));
    let font = if picked { style.strong() } else { style.body() };
    let colour = if picked || response.hovered() {
        colours.ink
    } else {
        colours.soft
    };
    let name = write_within(ui, rect.min, rect.width(), 1, &take.name, font, colour);
    if picked {
        let base = name.bottom() - name.height() * 0.08;
        ui.painter()
            .hline(name.x_range(), base, style.line(1.5, colours.ink));
    }
    focus_mark(ui, &style, &response);
    if response.gained_focus() {
        ui.scroll_to_rect(rect, None);
    }
    if response.double_clicked() {
        takes.renaming = Some((index, take.name.clone()));
    } else if response.clicked() {
        takes.pick(index);
    }
    response.on_hover_text(format!(
        "Click to lay \u{2018}{}\u{2019} beside what plays now, or beside a second take. Double-click to rename it.",
        take.name
    ));
    if rect.bottom() - name.bottom() > style.px(24.0) {
        fingerprint(ui, &style, rect, name.bottom(), take);
    }
}

/// A take as a screen reader reads it.
fn spoken(take: &TakeSummary, index: usize) -> String {
    let outcomes: Vec<String> = take
        .rows
        .iter()
        .filter_map(|row| {
            row.outcome
                .map(|outcome| format!("{} {}", row.id.name(), outcome.name()))
        })
        .collect();
    let check = if take.failed { ", failed its check" } else { "" };
    format!(
        "take {}, number {}, {} pass{check}, {}: {}",
        take.name,
        index + 1,
        take.pass.name(),
        duration(take.seconds),
        outcomes.join(", ")
    )
}

/// Draws its outcomes in the order of the board, one stroke per feed, and its content.
fn fingerprint(ui: &Ui, style: &Style, rect: Rect, top: f32, take: &TakeSummary) {
    let colours = style.colours;
    let step = rect.width() / take.rows.len() as f32;
    let y = top + style.px(7.0);
    for (n, row) in take.rows.iter().enumerate() {
        if let Some(outcome) = row.outcome {
            outcome_stroke(
                ui,
                pos2(rect.left() + step * n as f32, y),
                step * 0.64,
                outcome,
                style.line(2.0, colours.ink),
            );
        }
    }
    let mut about = format!("{}, {}", duration(take.seconds), take.pass.name());
    if take.failed {
        about += ": failed its check";
    }
    if let Some(db) = take.wet_over_dry_db.filter(|db| db.is_finite() && !take.failed) {
        about += &format!(", wet {} dB", signed(db, 1));
    }
    write_within(
        ui,
        pos2(rect.left(), y + style.px(5.0)),
        rect.width(),
        1,
        &about,
        style.small(),
        if take.failed { colours.ink } else { colours.faint },
    );
}

fn rename(ui: &mut Ui, sheet: &mut Sheet<'_>, takes: &mut Takes, rect: Rect) {
    let Some((index, text)) = &mut takes.renaming else {
        return;
    };
    let index = *index;
    let style = sheet.style;
    let what = Typed {
        id: Id::unique(("rename take", index)),
        name: "name of the take",
        tip: "",
        longest: LONGEST_NAME,
    };
    let place = Rect::from_min_size(rect.min, vec2(rect.width(), style.body().size * 1.3));
    let Some(typed) = type_on(ui, &style, place, &what, text) else {
        return;
    };
    takes.renaming = None;
    let old = sheet.snapshot.takes.get(index).map(|take| take.name.as_str());
    if let Some(name) = typed.filter(|name| !name.is_empty() && old.is_some_and(|old| old != name)) {
        sheet.intents.push(Intent::RenameTake { index, name });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn picks_follow_their_takes() {
        let mut takes = Takes::default();
        takes.pick(0);
        takes.pick(2);
        takes.moved(2, 1);
        assert_eq!(takes.picked(), [0, 1]);
        takes.deleted(0);
        assert_eq!(takes.picked(), [0]);
        takes.pick(1);
        takes.pick(2);
        assert_eq!(takes.picked(), [1, 2]);
        takes.pick(1);
        assert_eq!(takes.picked(), [2]);
        takes.settle(2);
        assert!(takes.picked().is_empty());
    }

    #[test]
    fn long_names_are_shortened_by_characters() {
        assert_eq!(shortened("crunch", 18), "crunch");
        assert_eq!(shortened("äöüäöüäöüä", 5), "äöüä…");
    }
}
