//! The kinds of box on the lines: the effect of each, and which is on which line.

use egui::{Align2, Id, Rect, Ui, pos2, vec2};
use sumproof_core::dsp::numbers::to_single;
use sumproof_core::routing::boxes::{Kind, Source};
use sumproof_core::routing::feed::Side;
use sumproof_core::routing::line::Line;
use sumproof_wording::Name;

use crate::canvas::{Sheet, choice, write, write_within};
use crate::data::intent::{Intent, Setting};
use crate::data::own::line_through;
use crate::data::snapshot::LineSettings;
use sumproof_wording::numbers::{hertz, signed};

/// The name people read, 'by hand' for `None`.
pub fn name(kind: Option<Kind>) -> &'static str {
    kind.map_or("by hand", Name::name)
}

/// A description, in the player's words.
fn tip(kind: Option<Kind>) -> &'static str {
    match kind {
        None => "No box you care about: the line is what you set it to. Choosing this sets it straight.",
        Some(Kind::AdapterCable) => {
            "A cable from your jack to an XLR. Nothing keeps the desk's ground or its phantom power from your board."
        }
        Some(Kind::LineIsolator) => {
            "A transformer that leaves the level as it is and parts the grounds: the cure for hum between board and desk."
        }
        Some(Kind::PassiveDirectBox) => {
            "A transformer that brings your level down to a microphone's and parts the grounds. Needs no power."
        }
        Some(Kind::ActiveDirectBox) => {
            "Electronics that bring your sound to the desk. Most want phantom power, and few part the grounds."
        }
        Some(Kind::Wireless) => "A transmitter on your board, a receiver at the desk: no wire between them.",
        Some(Kind::StageBoxLine) => "Straight into a line input of the stage box, where there is one free.",
    }
}

/// Its effect, in figures.
fn about(kind: Option<Kind>, source: &Source) -> String {
    let Some(kind) = kind else {
        return String::from("gain, delay and transformer as you set them");
    };
    let (line, spec) = (line_through(Some(kind), source), kind.spec());
    let mut about = format!("{} dB", signed(line.gain_db, 1));
    if line.high_pass_hz[0] >= 1.0 {
        about += &format!(", lows from {}", hertz(line.high_pass_hz[0]));
    }
    if line.delay_s > 0.0 {
        about += &format!(", {:.1} ms late", line.delay_s * 1000.0);
    }
    about += if spec.isolation.isolates() {
        ", grounds parted"
    } else {
        ", grounds joined"
    };
    about += match spec.phantom {
        sumproof_core::routing::boxes::Phantom::Needed => ", phantom on",
        sumproof_core::routing::boxes::Phantom::Harmless => "",
        sumproof_core::routing::boxes::Phantom::MustBeOff => ", phantom OFF",
    };
    about
}

/// Whether the line's settings are still those of its box on such an output.
pub fn as_made(kind: Option<Kind>, source: &Source, line: &LineSettings) -> bool {
    let Some(kind) = kind else { return true };
    let made = line_through(Some(kind), source);
    // To the precision the window shows.
    (made.gain_db - f64::from(line.gain_db)).abs() < 0.06
        && (made.high_pass_hz[0] - f64::from(line.corner_hz)).abs() < 0.06
}

/// Puts a box on a line: sets its effect as parameters, and remembers the kind.
fn put(sheet: &mut Sheet<'_>, side: Side, kind: Option<Kind>) {
    let source = sheet.snapshot.card.source();
    let before = line_through(sheet.snapshot.boxes.on(side), &source);
    let line = line_through(kind, &source);
    gain_and_corner(sheet, side, &line);
    // A delay set by the player stays, unless a box with a delay was added or removed.
    if line.delay_s != before.delay_s {
        sheet.set(Setting::DelayMs(side, to_single(line.delay_s * 1000.0)));
    }
    sheet.intents.push(Intent::Box(side, kind));
}

fn gain_and_corner(sheet: &mut Sheet<'_>, side: Side, line: &Line) {
    let tenth = |value: f64| to_single((value * 10.0).round()) / 10.0;
    sheet.set(Setting::GainDb(side, tenth(line.gain_db)));
    sheet.set(Setting::CornerHz(side, tenth(line.high_pass_hz[0])));
}

/// The outputs' figures changed, and with them the effect of a box. Lines that the player has changed by hand stay as
/// they are.
pub fn put_again(sheet: &mut Sheet<'_>, source: &Source) {
    let before = sheet.snapshot.card.source();
    for side in Side::BOTH {
        let kind = sheet.snapshot.boxes.on(side);
        let set = sheet.snapshot.settings.line(side);
        let line = line_through(kind, source);
        if kind.is_some() && as_made(kind, &before, set) && !as_made(kind, source, set) {
            gain_and_corner(sheet, side, &line);
        }
    }
}

/// Draws the kinds, one below the other, and puts one on a line where it is chosen.
pub fn boxes(ui: &Ui, sheet: &mut Sheet<'_>, rect: Rect) {
    let style = sheet.style;
    let kinds: Vec<Option<Kind>> = [None].into_iter().chain(Kind::ALL.map(Some)).collect();
    // The figures go beside the name where there is room, else below it.
    let wide = style.compact;
    let foot = style.label().size * 1.25 * if wide { 2.0 } else { 3.0 };
    let step =
        ((rect.height() - foot) / kinds.len() as f32).min(style.body().size * if wide { 2.0 } else { 3.2 });
    for (n, &kind) in kinds.iter().enumerate() {
        let top = rect.top() + step * n as f32;
        let place = Rect::from_min_size(pos2(rect.left(), top), vec2(rect.width(), step));
        one_kind(ui, sheet, place, n, kind);
    }
    let note = "As they usually are (common practice, no source): a data sheet beats it. Phantom power off before you plug.";
    let at = pos2(rect.left(), rect.top() + step * kinds.len() as f32);
    write_within(ui, at, rect.width(), 3, note, style.label(), style.colours.faint);
}

fn one_kind(ui: &Ui, sheet: &mut Sheet<'_>, rect: Rect, n: usize, kind: Option<Kind>) {
    let style = sheet.style;
    let colours = style.colours;
    let wide = style.compact;
    let choices = rect.right() - style.px(if wide { 124.0 } else { 142.0 });
    let middle = if wide {
        rect.center().y
    } else {
        rect.top() + style.body().size * 0.7
    };
    let on = Side::BOTH.map(|side| sheet.snapshot.boxes.on(side) == kind);
    let (font, ink) = if on[0] || on[1] {
        (style.strong(), colours.ink)
    } else {
        (style.body(), colours.soft)
    };
    let at = pos2(rect.left(), middle);
    write(ui, at, Align2::LEFT_CENTER, name(kind), font, ink);
    let mut x = choices;
    let lines = [
        ("left", on[0], &Side::BOTH[..1]),
        ("right", on[1], &Side::BOTH[1..]),
        ("both", on[0] && on[1], &Side::BOTH[..]),
    ];
    for (index, (text, chosen, sides)) in lines.into_iter().enumerate() {
        // Two choices: this kind is on this line, or it is not.
        let (made, end) = choice(
            ui,
            &style,
            Id::unique(("box", n, index)),
            pos2(x, middle),
            &format!("box, {}", name(kind)),
            tip(kind),
            &[(text, true)],
            chosen,
        );
        if made.is_some() {
            for &side in sides {
                put(sheet, side, kind);
            }
        }
        x = end;
    }
    let (at, width) = if wide {
        let left = rect.left() + style.px(130.0);
        let at = pos2(left, middle - style.small().size * 0.66);
        (at, choices - left - style.px(10.0))
    } else {
        (pos2(rect.left(), middle + style.body().size * 0.62), rect.width())
    };
    write_within(
        ui,
        at,
        width,
        1,
        &about(kind, &sheet.snapshot.card.source()),
        style.small(),
        colours.faint,
    );
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_says_what_it_does() {
        for kind in Kind::ALL.map(Some) {
            let about = about(kind, &Source::default());
            assert!(about.contains(" dB, "), "{about}");
            assert!(tip(kind).ends_with('.'));
        }
        let about = |kind| about(Some(kind), &Source::default());
        assert!(about(Kind::AdapterCable).contains("phantom OFF"));
        assert!(about(Kind::PassiveDirectBox).contains("grounds parted"));
    }

    #[test]
    fn a_line_set_otherwise_is_no_longer_the_boxs() {
        let usual = Source::default();
        let made = line_through(Some(Kind::PassiveDirectBox), &usual);
        let mut line = LineSettings {
            gain_db: (made.gain_db * 10.0).round() as f32 / 10.0,
            corner_hz: (made.high_pass_hz[0] * 10.0).round() as f32 / 10.0,
            ..LineSettings::default()
        };
        assert!(as_made(Some(Kind::PassiveDirectBox), &usual, &line));
        line.gain_db += 1.0;
        assert!(!as_made(Some(Kind::PassiveDirectBox), &usual, &line));
        assert!(as_made(None, &usual, &line));
    }
}
