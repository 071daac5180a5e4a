//! The user's own feed and the limits between the outcomes.

use egui::{Align2, Id, Rect, Ui, pos2, vec2};
use sumproof_core::routing::feed::{Ending, SUB_CORNER_HZ, Side, SumLaw};
use sumproof_core::routing::line::Polarity;
use sumproof_core::score::outcome::Limits;
use sumproof_core::score::rig::Rig;
use sumproof_wording::Name;

use crate::canvas::{Sheet, Word, button, choice, write, write_within};
use crate::data::intent::Intent;
use crate::data::own::OwnFeed;
use crate::widgets::field::{Fields, field};
use crate::widgets::number::{Number, Place, Spot};
use crate::widgets::typed::{Typed, typed};

/// State of the sheet between frames: the name being typed.
#[derive(Clone, Debug, Default)]
pub struct OwnSheet {
    name: Option<String>,
}

impl OwnSheet {
    /// Whether the name is being typed.
    pub fn is_typing(&self) -> bool {
        self.name.is_some()
    }

    /// Closes the sheet.
    pub fn put_away(&mut self) {
        self.name = None;
    }
}

/// Position of the next line.
struct Down {
    rect: Rect,
    y: f32,
    step: f32,
    /// Left end of the settings, right of their labels.
    at: f32,
}

impl Down {
    fn new(sheet: &Sheet<'_>, rect: Rect) -> Self {
        let step = sheet.style.body().size * if sheet.style.compact { 1.55 } else { 1.62 };
        Self {
            rect,
            y: rect.top() + step / 2.0,
            step,
            at: rect.left() + sheet.style.px(if sheet.style.compact { 66.0 } else { 76.0 }),
        }
    }

    fn label(&self, ui: &Ui, sheet: &Sheet<'_>, text: &str) {
        let (font, colour) = (sheet.style.label(), sheet.style.colours.faint);
        write(
            ui,
            pos2(self.rect.left(), self.y),
            Align2::LEFT_CENTER,
            text,
            font,
            colour,
        );
    }

    /// Draws a heading with the word that restores the defaults. Returns whether it was clicked.
    fn heading(&mut self, ui: &Ui, sheet: &Sheet<'_>, text: &str, name: &str) -> bool {
        let style = sheet.style;
        write(
            ui,
            pos2(self.rect.left(), self.y),
            Align2::LEFT_CENTER,
            text,
            style.strong(),
            style.colours.ink,
        );
        let word = Word {
            text: "back to the usual",
            name,
            tip: "Sets everything under this heading back to what it is when nobody has changed it.",
        };
        let response = button(
            ui,
            &style,
            Id::unique(name),
            pos2(self.rect.right(), self.y),
            Align2::RIGHT_CENTER,
            style.body(),
            &word,
        );
        self.y += self.step;
        response.clicked()
    }

    /// Draws several words to choose from, on a line of their own.
    fn choice<T: Copy + PartialEq>(
        &mut self,
        ui: &Ui,
        sheet: &Sheet<'_>,
        what: &str,
        tip: &str,
        choices: &[(&str, T)],
        current: T,
    ) -> Option<T> {
        self.label(ui, sheet, what);
        let (made, _) = choice(
            ui,
            &sheet.style,
            Id::unique(("own", what)),
            pos2(self.at, self.y),
            &format!("own feed {what}"),
            tip,
            choices,
            current,
        );
        self.y += self.step;
        made
    }
}

/// How both lines are combined, without the law of a sum.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum End {
    Stereo,
    Sum,
    Left,
    Right,
    Difference,
}

fn end_of(ending: Ending) -> (End, SumLaw) {
    match ending {
        Ending::Stereo => (End::Stereo, SumLaw::Average),
        Ending::Sum(law) => (End::Sum, law),
        Ending::One(Side::Left) => (End::Left, SumLaw::Average),
        Ending::One(Side::Right) => (End::Right, SumLaw::Average),
        Ending::Difference => (End::Difference, SumLaw::Average),
    }
}

fn ending_of(end: End, law: SumLaw) -> Ending {
    match end {
        End::Stereo => Ending::Stereo,
        End::Sum => Ending::Sum(law),
        End::Left => Ending::One(Side::Left),
        End::Right => Ending::One(Side::Right),
        End::Difference => Ending::Difference,
    }
}

/// Changes the own feed and emits the intent, with every setting in its range.
fn change(sheet: &mut Sheet<'_>, change: impl FnOnce(&mut OwnFeed)) {
    let mut own = sheet.snapshot.own.clone();
    change(&mut own);
    let rig = Rig {
        own: own.feed,
        ..Rig::default()
    };
    own.feed = rig.clamped().own;
    sheet.intents.push(Intent::OwnFeed(own));
}

/// Draws both parts, one below the other or side by side.
pub fn own_feed(ui: &mut Ui, sheet: &mut Sheet<'_>, fields: &mut Fields, state: &mut OwnSheet, rect: Rect) {
    if sheet.style.compact {
        let middle = rect.left() + rect.width() * 0.53;
        let left = Rect::from_min_max(rect.min, pos2(middle - sheet.style.px(14.0), rect.bottom()));
        feed(ui, sheet, fields, state, left);
        limits(
            ui,
            sheet,
            fields,
            Rect::from_min_max(pos2(middle, rect.top()), rect.max),
        );
        return;
    }
    let end = feed(ui, sheet, fields, state, rect);
    let top = end + sheet.style.px(14.0);
    limits(
        ui,
        sheet,
        fields,
        Rect::from_min_max(pos2(rect.left(), top), rect.max),
    );
}

/// Draws the feed. Returns its lower end.
fn feed(ui: &mut Ui, sheet: &mut Sheet<'_>, fields: &mut Fields, state: &mut OwnSheet, rect: Rect) -> f32 {
    let style = sheet.style;
    let mut down = Down::new(sheet, rect);
    if down.heading(ui, sheet, "your own feed", "own feed back to the usual") {
        state.put_away();
        sheet.intents.push(Intent::OwnFeed(OwnFeed::default()));
    }
    down.label(ui, sheet, "name");
    let place = Rect::from_center_size(
        pos2((down.at + rect.right()) / 2.0, down.y),
        vec2(rect.right() - down.at, style.body().size * 1.3),
    );
    let what = Typed {
        id: Id::unique("own feed name"),
        name: "own feed name",
        tip: "What you call this feed: a side fill, a friend\u{2019}s in-ear, the stream. It stands on the board. Click to type.",
        longest: OwnFeed::LONGEST_NAME,
    };
    let shown = sheet.snapshot.own.name().to_owned();
    if let Some(name) = typed(ui, &style, place, &what, &shown, &mut state.name) {
        change(sheet, |own| own.name = name);
    }
    down.y += down.step;
    let own = sheet.snapshot.own.feed;
    let (end, law) = end_of(own.ending);
    let ends = [
        ("stereo", End::Stereo),
        ("sum", End::Sum),
        ("left", End::Left),
        ("right", End::Right),
        ("difference", End::Difference),
    ];
    let tip = "Where your lines end there: in two loudspeakers, added together, one of them alone, or left minus right.";
    if let Some(end) = down.choice(ui, sheet, "ends in", tip, &ends, end) {
        change(sheet, |own| own.feed.ending = ending_of(end, law));
    }
    if end == End::Sum {
        let laws = [
            ("half of each", SumLaw::Average),
            ("\u{2212}3 dB", SumLaw::Minus3Db),
            ("all of each", SumLaw::Unity),
        ];
        let tip = "How it adds your lines: half of each, 3 dB less of each, or each in full.";
        if let Some(law) = down.choice(ui, sheet, "a sum is", tip, &laws, law) {
            change(sheet, |own| own.feed.ending = Ending::Sum(law));
        }
    }
    let ranges = [("everything", false), ("lows only", true)];
    let tip = "Everything, or only what a subwoofer plays (below 100 Hz).";
    if let Some(lows) = down.choice(ui, sheet, "plays", tip, &ranges, own.low_pass_hz.is_some()) {
        change(sheet, |own| own.feed.low_pass_hz = lows.then_some(SUB_CORNER_HZ));
    }
    for side in Side::BOTH {
        line(ui, sheet, fields, &mut down, side);
    }
    down.y - down.step / 2.0
}

/// Draws one line of the feed, used in place of the player's own, in two lines of text.
fn line(ui: &mut Ui, sheet: &mut Sheet<'_>, fields: &mut Fields, down: &mut Down, side: Side) {
    let style = sheet.style;
    let own = *sheet.snapshot.own.line(side);
    down.label(ui, sheet, &format!("{} line", side.name()));
    let (flipped, after) = choice(
        ui,
        &style,
        Id::unique(("own polarity", side.name())),
        pos2(down.at, down.y),
        &format!("own feed, {} line polarity", side.name()),
        "Whether this line arrives there flipped. This feed has lines of its own: what you set under the board is not in it.",
        &[("normal", false), ("flipped", true)],
        own.polarity == Polarity::Flipped,
    );
    if let Some(flipped) = flipped {
        change(sheet, |own| {
            own.line_mut(side).polarity = if flipped {
                Polarity::Flipped
            } else {
                Polarity::Normal
            };
        });
    }
    let (unplugged, _) = choice(
        ui,
        &style,
        Id::unique(("own plug", side.name())),
        pos2(after + style.px(if style.compact { 4.0 } else { 22.0 }), down.y),
        &format!("own feed, {} line plug", side.name()),
        "Unplugged: nothing of this line arrives there.",
        &[("in", false), ("unplugged", true)],
        own.unplugged,
    );
    if let Some(unplugged) = unplugged {
        change(sheet, |own| own.line_mut(side).unplugged = unplugged);
    }
    down.y += down.step;
    let width = (down.rect.right() - down.at) / 3.0;
    if style.compact {
        // A label for each number, for players without a pointer.
        down.y -= down.step * 0.15;
        for (n, text) in ["gain", "delay", "transformer"].into_iter().enumerate() {
            let at = pos2(down.at + width * n as f32, down.y);
            write(
                ui,
                at,
                Align2::LEFT_CENTER,
                text,
                style.label(),
                style.colours.faint,
            );
        }
        down.y += down.step * 0.75;
    }
    for (n, number) in [Number::Gain, Number::Delay, Number::Corner]
        .into_iter()
        .enumerate()
    {
        let place = Rect::from_min_size(
            pos2(down.at + width * n as f32, down.y - down.step / 2.0),
            vec2(width, down.step),
        );
        let spot = Spot::Own(side);
        field(ui, sheet, fields, place, Place { spot, number });
    }
    down.y += down.step;
}

/// Draws the limits.
fn limits(ui: &mut Ui, sheet: &mut Sheet<'_>, fields: &mut Fields, rect: Rect) {
    let style = sheet.style;
    let mut down = Down::new(sheet, rect);
    if down.heading(ui, sheet, "when a feed holds", "limits back to the usual") {
        sheet.intents.push(Intent::Limits(Limits::default()));
    }
    let at = rect.right() - style.px(if style.compact { 76.0 } else { 92.0 });
    for (number, text) in [
        (Number::Holds, "dry no further down than"),
        (Number::Drier, "drier by no more than"),
        (Number::Wetter, "wetter by no more than"),
        (Number::Tone, "tone changed by at most"),
        (Number::DropsOut, "drops out with the dry below"),
    ] {
        down.label(ui, sheet, text);
        let place = Rect::from_min_max(
            pos2(at, down.y - down.step / 2.0),
            pos2(rect.right() + style.px(8.0), down.y + down.step / 2.0),
        );
        let spot = Spot::Limits;
        field(ui, sheet, fields, place, Place { spot, number });
        down.y += down.step;
    }
    let at = pos2(rect.left(), down.y - style.label().size * 0.66);
    let note = "Between the two it thins. Common practice, no source.";
    write_within(ui, at, rect.width(), 2, note, style.label(), style.colours.faint);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn endings_go_both_ways() {
        for ending in [
            Ending::Stereo,
            Ending::Sum(SumLaw::Unity),
            Ending::One(Side::Left),
            Ending::One(Side::Right),
            Ending::Difference,
        ] {
            let (end, law) = end_of(ending);
            assert_eq!(ending_of(end, law), ending);
        }
    }
}
