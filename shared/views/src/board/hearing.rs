//! States what is heard and what is recorded: large, and always in the same place.

use egui::{Align2, Id, Rect, Role, Sense, Ui, WidgetInfo, pos2};
use sumproof_core::routing::feed::FeedId;
use sumproof_wording::{Name, hearing};

use crate::board::full_name;
use crate::canvas::{Sheet, Word, button, width_of, write, write_within};
use crate::data::intent::Setting;
use crate::data::snapshot::Hearing;
use crate::panels::takes::is_recording;
use crate::style::Style;

/// Draws what is heard, in reverse unless that is stereo, and what is recorded. The recording has half of the place or,
/// while stereo passes, all of it.
pub fn hearing(ui: &Ui, sheet: &mut Sheet<'_>, mut rect: Rect) {
    if is_recording(sheet.snapshot) {
        let mut place = rect;
        if sheet.snapshot.hearing != Hearing::Stereo {
            place.min.x = rect.center().x + sheet.style.px(6.0);
            rect.max.x = rect.center().x - sheet.style.px(6.0);
        }
        recording(ui, sheet, place);
        if sheet.snapshot.hearing == Hearing::Stereo {
            return;
        }
    }
    match sheet.snapshot.hearing {
        Hearing::Feed(id) => feed(ui, sheet, rect, id),
        Hearing::Test => {
            ui.painter().rect_filled(rect, 0.0, sheet.style.colours.ink);
            large(ui, sheet, rect, hearing::TEST);
        }
        Hearing::Held => waiting(ui, sheet, rect, hearing::HELD),
        Hearing::Loaded => waiting(ui, sheet, rect, hearing::LOADED),
        Hearing::HeldBack => waiting(ui, sheet, rect, hearing::HELD_BACK),
        Hearing::Stereo => stereo(ui, sheet, rect),
    }
}

/// Label of the word that opens the sheet explaining marks and words.
const EXPLAIN: &str = "what is what";

/// Draws the word that opens the explanations, at the end of the place while nothing else is shown there. Drawn after
/// all else, because the keyboard must get to 'record' first. Returns whether it was clicked.
pub fn explain(ui: &Ui, sheet: &Sheet<'_>, rect: Rect) -> bool {
    if is_recording(sheet.snapshot) || sheet.snapshot.hearing != Hearing::Stereo {
        return false;
    }
    let style = sheet.style;
    let word = Word {
        text: EXPLAIN,
        name: "what marks and short words mean",
        tip: "LU, tone, dips, margin, strokes, question marks, keys: a line each. The key F7 does the same.",
    };
    let end = pos2(rect.right(), rect.center().y);
    let id = Id::unique("explain");
    button(ui, &style, id, end, Align2::RIGHT_CENTER, style.body(), &word).clicked()
}

/// Draws what is recorded, and the word that ends it.
fn recording(ui: &Ui, sheet: &mut Sheet<'_>, rect: Rect) {
    let style = sheet.style;
    let snapshot = sheet.snapshot;
    let colours = style.colours;
    let (inset, middle) = (style.px(12.0), rect.center().y);
    ui.painter()
        .rect_stroke(rect, 0.0, style.line(2.0, colours.ink), egui::StrokeKind::Inside);
    let word = Word {
        text: "stop and keep",
        name: "stop recording",
        tip: "Ends the take and keeps it.",
    };
    let id = Id::unique("stop recording");
    let end = pos2(rect.right() - inset, middle);
    let stop = button(ui, &style, id, end, Align2::RIGHT_CENTER, style.body(), &word);
    let said = hearing::recording(
        snapshot.settings.pass,
        snapshot.names.next_name(),
        snapshot.reading.take_s,
    );
    let size = style.hearing().size;
    let dot = pos2(rect.left() + inset + size * 0.3, middle);
    ui.painter().circle_filled(dot, size * 0.3, colours.ink);
    let left = dot.x + size * 0.6;
    let room = stop.rect.left() - inset - left;
    let place = Rect::from_min_max(pos2(left, rect.top()), pos2(left + room, rect.bottom()));
    let label = ui.interact(place, Id::unique("recording"), Sense::hover());
    label.widget_info(|| WidgetInfo::labeled(Role::Label, true, &said));
    write_within(
        ui,
        pos2(left, middle - size * 0.66),
        room,
        1,
        &said,
        style.hearing(),
        colours.ink,
    );
    label.on_hover_text(said);
    if stop.clicked() {
        sheet.set(Setting::Record(false));
    }
}

/// Draws the feed heard in place of stereo, and the way back.
fn feed(ui: &Ui, sheet: &mut Sheet<'_>, rect: Rect, id: FeedId) {
    let snapshot = sheet.snapshot;
    ui.painter().rect_filled(rect, 0.0, sheet.style.colours.ink);
    let style = reversed(&sheet.style);
    let inset = style.px(12.0);
    let middle = rect.center().y;
    let back = Word {
        text: "back to stereo",
        name: "back to stereo",
        tip: "Lets the stereo pass again. The keys 0 and Escape do the same.",
    };
    let end = rect.right() - inset;
    let response = button(
        ui,
        &style,
        Id::unique("back to stereo"),
        pos2(end, middle),
        Align2::RIGHT_CENTER,
        style.body(),
        &back,
    );
    if response.clicked() {
        sheet.set(Setting::Audition(false));
    }
    let worse = snapshot
        .reading
        .row(id)
        .worse
        .map_or_else(String::new, |side| format!(" (it is the {} line)", side.name()));
    let name = format!("You are hearing {}{worse}", full_name(snapshot, id));
    let room = end - width_of(ui, back.text, style.body()) - inset * 3.0 - rect.left();
    let top = middle - style.hearing().size * 0.66;
    let place = pos2(rect.left() + inset, top);
    let said = write_within(ui, place, room, 1, &name, style.hearing(), style.colours.ink);
    let settings = &snapshot.settings;
    let warning = hearing::in_a_bounce(settings.audition_in_bounces, settings.loudness_match);
    let from = said.right() + style.px(16.0);
    if from + width_of(ui, &warning, style.label()) < rect.left() + inset + room {
        let at = pos2(from, middle);
        write(
            ui,
            at,
            Align2::LEFT_CENTER,
            &warning,
            style.label(),
            style.colours.ink,
        );
    }
}

/// Everything on the filled band is set in reverse, its button too.
fn reversed(style: &Style) -> Style {
    let mut colours = style.colours;
    let ground = colours.ground;
    colours.ground = colours.ink;
    (colours.ink, colours.soft, colours.faint, colours.hairline) = (ground, ground, ground, ground);
    Style { colours, ..*style }
}

fn large(ui: &Ui, sheet: &Sheet<'_>, rect: Rect, text: &str) {
    let style = sheet.style;
    let inset = style.px(12.0);
    let place = pos2(rect.left() + inset, rect.center().y - style.hearing().size * 0.66);
    let room = rect.width() - inset * 2.0;
    write_within(ui, place, room, 1, text, style.hearing(), style.colours.ground);
}

/// Stereo or silence, although something else was asked for: drawn in outline.
fn waiting(ui: &Ui, sheet: &Sheet<'_>, rect: Rect, text: &str) {
    let style = sheet.style;
    let colours = style.colours;
    let inset = style.px(12.0);
    ui.painter()
        .rect_stroke(rect, 0.0, style.line(1.5, colours.ink), egui::StrokeKind::Inside);
    let place = pos2(rect.left() + inset, rect.center().y - style.strong().size * 0.66);
    write_within(
        ui,
        place,
        rect.width() - inset * 2.0,
        1,
        text,
        style.strong(),
        colours.ink,
    );
}

fn stereo(ui: &Ui, sheet: &Sheet<'_>, rect: Rect) {
    let style = sheet.style;
    let text = if sheet.snapshot.settings.bypass {
        hearing::BYPASSED
    } else {
        hearing::STEREO
    };
    let place = pos2(rect.left(), rect.center().y - style.label().size * 0.66);
    write_within(
        ui,
        place,
        rect.width() - width_of(ui, EXPLAIN, style.body()) - style.px(14.0),
        1,
        text,
        style.label(),
        style.colours.faint,
    );
}
