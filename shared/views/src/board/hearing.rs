//! What is heard: large, and always in the same place.

use egui::{Align2, Id, Rect, Ui, pos2};
use sumproof_wording::Name;

use crate::board::full_name;
use crate::canvas::{Sheet, Word, button, width_of, write, write_within};
use crate::data::intent::Setting;
use crate::data::snapshot::Hearing;
use crate::style::Style;

/// Draws what is heard; in reverse as long as that isn't stereo.
pub fn hearing(ui: &Ui, sheet: &mut Sheet<'_>, rect: Rect) {
    let style = sheet.style;
    let colours = style.colours;
    let snapshot = sheet.snapshot;
    let inset = style.px(12.0);
    let middle = rect.center().y;
    match snapshot.hearing {
        Hearing::Feed(id) => {
            ui.painter().rect_filled(rect, 0.0, colours.ink);
            // Everything in here is set in reverse, the button too.
            let mut reverse = colours;
            (
                reverse.ink,
                reverse.soft,
                reverse.faint,
                reverse.ground,
                reverse.hairline,
            ) = (
                colours.ground,
                colours.ground,
                colours.ground,
                colours.ink,
                colours.ground,
            );
            let style = Style {
                colours: reverse,
                ..style
            };
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
                .map_or_else(String::new, |side| format!(" (the {})", side.name()));
            let name = format!("You are hearing {}{worse}", full_name(snapshot, id));
            let room = end - width_of(ui, back.text, style.body()) - inset * 3.0 - rect.left();
            let top = middle - style.hearing().size * 0.66;
            let said = write_within(
                ui,
                pos2(rect.left() + inset, top),
                room,
                1,
                &name,
                style.hearing(),
                reverse.ink,
            );
            let warning = if snapshot.settings.loudness_match {
                "at the loudness of stereo · it would be printed in a bounce"
            } else {
                "it would be printed in a bounce"
            };
            let from = said.right() + style.px(16.0);
            if from + width_of(ui, warning, style.label()) < rect.left() + inset + room {
                write(
                    ui,
                    pos2(from, middle),
                    Align2::LEFT_CENTER,
                    warning,
                    style.label(),
                    reverse.ink,
                );
            }
        }
        Hearing::Test => {
            ui.painter().rect_filled(rect, 0.0, colours.ink);
            write_within(
                ui,
                pos2(rect.left() + inset, middle - style.hearing().size * 0.66),
                rect.width() - inset * 2.0,
                1,
                "The test signal goes out. Any key stops it.",
                style.hearing(),
                colours.ground,
            );
        }
        waiting @ (Hearing::Held | Hearing::HeldBack | Hearing::Loaded) => {
            let text = match waiting {
                Hearing::Held => "Nothing passes: the line check holds your sound back.",
                Hearing::Loaded => {
                    "Stereo passes: the project was saved with the audition on. Click a feed to hear it."
                }
                _ => "Stereo passes: the audition waits while the host bounces or records.",
            };
            ui.painter()
                .rect_stroke(rect, 0.0, style.line(1.5, colours.ink), egui::StrokeKind::Inside);
            write_within(
                ui,
                pos2(rect.left() + inset, middle - style.strong().size * 0.66),
                rect.width() - inset * 2.0,
                1,
                text,
                style.strong(),
                colours.ink,
            );
        }
        Hearing::Stereo => {
            let text = if snapshot.settings.bypass {
                "Bypassed: stereo passes, nothing is measured."
            } else {
                "You are hearing stereo, untouched. Click a feed or press 1 to 9 to hear what arrives there."
            };
            write_within(
                ui,
                pos2(rect.left(), middle - style.label().size * 0.66),
                rect.width(),
                1,
                text,
                style.label(),
                colours.faint,
            );
        }
    }
}
