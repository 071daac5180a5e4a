//! How dry and wet are told apart now, and the steps to an exact split: the same part, recorded two or three times.

use egui::{Align2, FontId, Id, Pos2, Rect, Ui, pos2};
use sumproof_core::session::take::Pass;
use sumproof_core::split::kind::PresetKind;

use crate::canvas::{Sheet, Word, button, width_of, write};
use crate::data::intent::{Intent, Setting};
use crate::data::own::Passes;
use crate::data::snapshot::Snapshot;
use crate::widgets::scroll::{Passage, Scroll, scrolled};
use sumproof_wording::Name;
use sumproof_wording::methods::{ask, explained, told_apart};
use sumproof_wording::numbers::duration;
use sumproof_wording::passes::failing_bands;

/// The lines below the steps.
fn said(snapshot: &Snapshot) -> Vec<String> {
    let passes = &snapshot.passes;
    let mut said = Vec::new();
    if passes.working {
        said.push(String::from(
            "The passes are being laid over one another: a few seconds.",
        ));
    }
    if let Some(line) = &passes.said {
        said.push(line.clone());
    }
    if !passes.failing.is_empty() {
        said.push(failing_bands(&passes.failing));
    }
    said.push(told_apart(&snapshot.reading));
    said.extend(snapshot.reading.asks_for.map(|asked| String::from(ask(asked))));
    said.extend(snapshot.side_chain.map(|side_chain| side_chain.sentence()));
    said.push(String::from(
        "The live figures stay as they are; the take made of the passes holds the exact ones.",
    ));
    said
}

/// One step: its pass, its content, its instruction.
struct Step {
    pass: Pass,
    what: &'static str,
    how: &'static str,
}

const STEPS: [Step; 3] = [
    Step {
        pass: Pass::Dry,
        what: "dry pass",
        how: "all effects off",
    },
    Step {
        pass: Pass::Wet,
        what: "wet pass",
        how: "the dry off, effects on; if you can\u{2019}t, the other two do",
    },
    Step {
        pass: Pass::Full,
        what: "full pass",
        how: "as it is; it checks the other two",
    },
];

/// Draws the kinds of preset to choose from: for the take picked last (`picked`, its index), or else for the live
/// preset. Returns its lower end.
fn kinds(ui: &Ui, sheet: &mut Sheet<'_>, picked: Option<usize>, rect: Rect, top: f32) -> f32 {
    let style = sheet.style;
    let take = picked.and_then(|index| Some((index, sheet.snapshot.takes.get(index)?)));
    let (what, now) = match take {
        Some((_, take)) => (
            format!("or say what \u{2018}{}\u{2019} is:", take.name),
            take.kind,
        ),
        None => (
            String::from("or say what the preset is:"),
            sheet.snapshot.settings.preset,
        ),
    };
    let height = style.label().size * 1.6;
    let left = rect.left();
    let label = write(
        ui,
        pos2(left, top + height / 2.0),
        Align2::LEFT_CENTER,
        &what,
        style.label(),
        style.colours.faint,
    );
    let (mut x, mut y) = (label.right() + style.px(12.0), top);
    for kind in PresetKind::ALL {
        let is_now = kind == now;
        let font = if is_now { style.strong() } else { style.body() };
        let width = width_of(ui, kind.name(), font.clone());
        if x + width > rect.right() {
            (x, y) = (left, y + height);
        }
        let spoken = format!("the preset is: {}", kind.name());
        let word = Word {
            text: kind.name(),
            name: &spoken,
            tip: explained(kind),
        };
        let at = pos2(x, y + height / 2.0);
        let response = button(
            ui,
            &style,
            Id::unique(("kind", kind.id())),
            at,
            Align2::LEFT_CENTER,
            font,
            &word,
        );
        x = response.rect.right() + style.px(12.0);
        if response.clicked() && !is_now {
            match take {
                Some((index, _)) => sheet.intents.push(Intent::TakeKind { index, kind }),
                None => sheet.set(Setting::Preset(kind)),
            }
        }
    }
    y + height
}

/// Draws the steps, the kind of preset, and below them the known facts; `picked` is the index of the take picked last.
pub fn apart(ui: &Ui, sheet: &mut Sheet<'_>, scroll: &mut Scroll, picked: Option<usize>, rect: Rect) {
    let style = sheet.style;
    let colours = style.colours;
    let body = style.body().size;
    let mut y = rect.top();
    write(
        ui,
        pos2(rect.left(), y),
        Align2::LEFT_TOP,
        "for an exact split, loop a part and record it again:",
        style.label(),
        colours.faint,
    );
    y += style.label().size * 1.6;
    let height = body * if style.compact { 1.7 } else { 2.7 };
    for (n, step) in STEPS.iter().enumerate() {
        let place = Rect::from_min_max(pos2(rect.left(), y), pos2(rect.right(), y + height));
        one_step(ui, sheet, place, n, step);
        y += height;
    }
    y = kinds(ui, sheet, picked, rect, y + style.px(4.0)) + style.px(8.0);
    let passages: Vec<Passage> = said(sheet.snapshot)
        .into_iter()
        .map(|text| Passage {
            text,
            font: style.body(),
            colour: colours.soft,
            after: style.px(6.0),
        })
        .collect();
    let below = Rect::from_min_max(pos2(rect.left(), y), rect.max);
    scrolled(ui, &style, Id::unique("dry and wet"), below, &passages, scroll);
}

fn one_step(ui: &Ui, sheet: &mut Sheet<'_>, rect: Rect, n: usize, step: &Step) {
    let style = sheet.style;
    let colours = style.colours;
    let snapshot = sheet.snapshot;
    let passes: &Passes = &snapshot.passes;
    let middle = rect.top() + style.body().size * if style.compact { 0.85 } else { 0.75 };
    let running = snapshot.settings.record && snapshot.settings.pass == step.pass;
    let next = !snapshot.settings.record && passes.next() == Some(step.pass);
    let strong = running || next;
    let ink = if strong { colours.ink } else { colours.soft };
    let font = if strong { style.strong() } else { style.body() };
    let (at, number) = (pos2(rect.left(), middle), format!("{}", n + 1));
    write(ui, at, Align2::LEFT_CENTER, &number, style.small(), colours.faint);
    let name = write(
        ui,
        pos2(rect.left() + style.px(20.0), middle),
        Align2::LEFT_CENTER,
        step.what,
        font,
        ink,
    );
    // The state at the right; the instruction after the name or below it.
    let state = match (running, passes.of(step.pass)) {
        (true, _) => format!("recording, {}", duration(snapshot.reading.take_s)),
        (false, Some(_)) => String::from("done"),
        (false, None) if next => String::from("next"),
        (false, None) => String::from("not yet"),
    };
    let waits = snapshot.settings.record && !running;
    let mut right = rect.right();
    if !waits {
        let font = if strong { style.strong() } else { style.body() };
        right = record_word(ui, sheet, n, step, running, pos2(right, middle), font) - style.px(12.0);
    }
    write(
        ui,
        pos2(right, middle),
        Align2::RIGHT_CENTER,
        &state,
        if running { style.strong() } else { style.label() },
        ink,
    );
    let how = match passes.of(step.pass) {
        Some(name) if !running => format!("\u{2018}{name}\u{2019}"),
        _ => String::from(step.how),
    };
    let (at, width) = if style.compact {
        let left = name.right() + style.px(12.0);
        (
            pos2(left, middle - style.small().size * 0.66),
            right - style.px(120.0) - left,
        )
    } else {
        (
            pos2(name.left(), middle + style.body().size * 0.6),
            rect.right() - name.left(),
        )
    };
    crate::canvas::write_within(ui, at, width, 1, &how, style.small(), colours.faint);
}

/// Draws the word that starts or ends a step's pass. Returns its left end.
fn record_word(
    ui: &Ui,
    sheet: &mut Sheet<'_>,
    n: usize,
    step: &Step,
    running: bool,
    right_middle: Pos2,
    font: FontId,
) -> f32 {
    let (style, snapshot) = (sheet.style, sheet.snapshot);
    let (text, spoken) = if running {
        ("stop and keep", format!("stop the {} and keep it", step.what))
    } else if snapshot.passes.of(step.pass).is_some() {
        ("again", format!("record the {} again", step.what))
    } else {
        ("record", format!("record the {}", step.what))
    };
    let word = Word {
        text,
        name: &spoken,
        tip: "Records this pass until you stop it. Play the same part each time: a loop of the recorded dry guitar is best.",
    };
    let id = Id::unique(("pass", n));
    let response = button(ui, &style, id, right_middle, Align2::RIGHT_CENTER, font, &word);
    if response.clicked() {
        if running {
            sheet.set(Setting::Record(false));
        } else {
            if snapshot.settings.pass != step.pass {
                sheet.set(Setting::Pass(step.pass));
            }
            sheet.set(Setting::Record(true));
        }
    }
    response.rect.left()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_failed_check_says_where_and_what_to_do() {
        let mut snapshot = Snapshot::default();
        snapshot.passes.failing = vec![[355.0, 447.0]];
        let all = said(&snapshot).join(" ");
        assert!(
            all.contains("355 Hz to 447 Hz") && all.contains("record them again"),
            "{all}"
        );
        snapshot.passes.failing.clear();
        assert!(!said(&snapshot).join(" ").contains("make up"));
    }
}
