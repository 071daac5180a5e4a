//! The line check's sheet: two steps, the signal's progress, the findings.

use egui::{Align2, Event, Id, Rect, Role, Sense, Ui, WidgetInfo, pos2, vec2};
use sumproof_core::dsp::numbers::to_single;
use sumproof_core::line_check::{Mode, Part, Plan, SignalSettings};
use sumproof_wording::line_check::advice;

use crate::canvas::{Sheet, Word, button, choice, write, write_within};
use crate::data::check::{CheckWish, LineCheck, Sending};
use crate::data::intent::Intent;
use crate::style::Style;
use crate::widgets::scroll::{Passage, Scroll, scrolled};
use sumproof_wording::numbers::signed;

/// The level at first, dBFS: soft enough for a desk that was left open (common practice, no source).
const FIRST_DBFS: f64 = -40.0;
const LEVELS_DBFS: [f64; 5] = [-50.0, -40.0, -30.0, -20.0, -10.0];
const PAUSES_S: [f64; 3] = [8.0, 15.0, 30.0];
/// Time between frames while the check is active, s: the signal ends when frames stop.
const FRAME_S: f64 = 0.05;

/// State of the sheet between frames.
#[derive(Clone, Copy, Debug)]
pub struct CheckSheet {
    mono: bool,
    pause_s: f64,
    level_dbfs: f64,
    /// Whether the first step was taken for the next signal.
    armed: bool,
    scroll: Scroll,
}

impl Default for CheckSheet {
    fn default() -> Self {
        Self {
            mono: false,
            pause_s: PAUSES_S[0],
            level_dbfs: FIRST_DBFS,
            armed: false,
            scroll: Scroll::default(),
        }
    }
}

impl CheckSheet {
    /// Closes the sheet. The next check starts at the soft level again.
    pub fn put_away(&mut self) {
        self.armed = false;
        self.level_dbfs = FIRST_DBFS;
    }

    fn settings(&self) -> SignalSettings {
        SignalSettings {
            mode: if self.mono {
                Mode::Mono {
                    pause_s: self.pause_s,
                }
            } else {
                Mode::Stereo
            },
            level_dbfs: self.level_dbfs,
            ..SignalSettings::default()
        }
    }
}

/// Consumes every key press and returns whether there was one: it stops the signal, and has no other effect.
pub fn any_key(ui: &Ui) -> bool {
    let is_key = |event: &Event| {
        matches!(
            event,
            Event::Key {
                pressed: true,
                repeat: false,
                ..
            } | Event::Text(_)
                | Event::Paste(_)
                | Event::Copy
                | Event::Cut
        )
    };
    ui.input_mut(|input| {
        let any = input.events.iter().any(is_key);
        input
            .events
            .retain(|event| !is_key(event) && !matches!(event, Event::Key { .. }));
        any
    })
}

/// Draws the sheet.
pub fn line_check(ui: &Ui, sheet: &mut Sheet<'_>, state: &mut CheckSheet, rect: Rect) {
    let style = sheet.style;
    let check = &sheet.snapshot.check;
    if check.held || check.on || check.reading {
        ui.ctx()
            .request_repaint_after(std::time::Duration::from_secs_f64(FRAME_S));
    }
    if !check.held || check.on {
        state.armed = false;
    }
    let step = style.body().size * if style.compact { 1.5 } else { 1.75 };
    let mut y = rect.top() + step / 2.0;
    let busy = check.on || check.sending.is_some() || check.reading;
    if busy {
        what_goes_out(ui, sheet, rect, &mut y, step);
    } else {
        what_is_set(ui, sheet, state, rect, &mut y, step);
        first_step(ui, sheet, state, rect, y);
        y += step;
        second_step(ui, sheet, state, rect, y);
        y += step;
    }
    if check.found.is_some() && !busy {
        save(ui, sheet, rect, y);
        y += step;
    }
    let below = Rect::from_min_max(pos2(rect.left(), y - step / 2.0 + style.px(6.0)), rect.max);
    let passages = passages(sheet, state, busy);
    scrolled(
        ui,
        &style,
        Id::unique("line check"),
        below,
        &passages,
        &mut state.scroll,
    );
}

/// The paragraphs of the sheet.
fn passages(sheet: &Sheet<'_>, state: &CheckSheet, busy: bool) -> Vec<Passage> {
    let style = sheet.style;
    let colours = style.colours;
    let check = &sheet.snapshot.check;
    let soft = |text: String| Passage {
        text,
        font: style.body(),
        colour: colours.soft,
        after: style.px(5.0),
    };
    let strong = |text: String| Passage {
        font: style.strong(),
        colour: colours.ink,
        ..soft(text)
    };
    if busy {
        let is_mono = check
            .sending
            .is_some_and(|sending| sending.settings.mode != Mode::Stereo);
        let lines: &[&str] = if check.reading {
            &["What arrived is being read."]
        } else if is_mono {
            &[
                "Any key stops it, and so does leaving this sheet or closing the window.",
                "Phantom power off and the channel muted before you move a plug; leave all else as it is.",
            ]
        } else {
            &[
                "Any key stops it, and so does leaving this sheet or closing the window.",
                "Don\u{2019}t move anything meanwhile.",
            ]
        };
        return lines.iter().map(|line| soft(String::from(*line))).collect();
    }
    let mut all: Vec<Passage> = check.said.iter().map(|line| strong(line.clone())).collect();
    if state.armed || check.found.is_none() {
        all.extend(before(state).into_iter().map(
            |(text, is_caution)| {
                if is_caution { strong(text) } else { soft(text) }
            },
        ));
    }
    if let Some(found) = &check.found {
        all.push(strong(format!("Tell the engineer: {}", found.sentence)));
        all.extend(
            found
                .lines
                .iter()
                .map(|(label, text)| soft(format!("{label}: {text}"))),
        );
    }
    all
}

/// The lines shown before anything is sent; cautions are marked `true`.
fn before(state: &CheckSheet) -> Vec<(String, bool)> {
    let advice = advice(state.settings().mode);
    let mut all: Vec<(String, bool)> = advice
        .iter()
        .take(2)
        .map(|line| (String::from(*line), line.starts_with("Caution")))
        .collect();
    all.push((
        String::from(
            "Put this plugin on a track whose outputs are your two lines and whose input is what arrives: the desk\u{2019}s \
             output, or a microphone at the wedge. It listens on its inputs while it sends.",
        ),
        false,
    ));
    if state.mono {
        all.extend(
            advice
                .get(2)
                .map(|line| (String::from(*line), line.contains("Phantom"))),
        );
    }
    all
}

fn label(ui: &Ui, sheet: &Sheet<'_>, rect: Rect, y: f32, text: &str) {
    write(
        ui,
        pos2(rect.left(), y),
        Align2::LEFT_CENTER,
        text,
        sheet.style.label(),
        sheet.style.colours.faint,
    );
}

fn what_is_set(ui: &Ui, sheet: &Sheet<'_>, state: &mut CheckSheet, rect: Rect, y: &mut f32, step: f32) {
    let style = sheet.style;
    let at = rect.left() + style.px(if style.compact { 66.0 } else { 56.0 });
    label(ui, sheet, rect, *y, "sends");
    let (mono, end) = choice(
        ui,
        &style,
        Id::unique("line check signal"),
        pos2(at, *y),
        "line check sends",
        "Left and right to a line each; or one signal that reaches both lines alike, three times, with pauses in which you \
         unplug each line by hand.",
        &[("left and right", false), ("one source, plugs by hand", true)],
        state.mono,
    );
    state.mono = mono.unwrap_or(state.mono);
    // In a small window both choices share one line.
    let mut pause_at = pos2(at, *y + step);
    if style.compact {
        pause_at = pos2(end + style.px(44.0), *y);
    }
    if state.mono {
        let labelled = pos2(if style.compact { end } else { rect.left() }, pause_at.y);
        let (font, colour) = (style.label(), style.colours.faint);
        write(ui, labelled, Align2::LEFT_CENTER, "pause", font, colour);
        let pauses = PAUSES_S.map(|seconds| format!("{seconds:.0} s"));
        let words: Vec<(&str, f64)> = pauses.iter().map(String::as_str).zip(PAUSES_S).collect();
        let (pause_s, _) = choice(
            ui,
            &style,
            Id::unique("line check pause"),
            pause_at,
            "line check pause",
            "How long you have to change the plugs.",
            &words,
            state.pause_s,
        );
        state.pause_s = pause_s.unwrap_or(state.pause_s);
    }
    *y = if state.mono { pause_at.y } else { *y } + step;
    level_choice(ui, sheet, state, rect, *y, at);
    *y += step;
}

/// Draws the choice of the output level.
fn level_choice(ui: &Ui, sheet: &Sheet<'_>, state: &mut CheckSheet, rect: Rect, y: f32, at: f32) {
    let style = sheet.style;
    label(ui, sheet, rect, y, "peak");
    let levels = LEVELS_DBFS.map(|level| format!("\u{2212}{:.0}", -level));
    let words: Vec<(&str, f64)> = levels.iter().map(String::as_str).zip(LEVELS_DBFS).collect();
    let (level, end) = choice(
        ui,
        &style,
        Id::unique("line check level"),
        pos2(at, y),
        "line check peak, dBFS",
        "How loud it goes out, peak. Begin low, and turn it up only as far as what arrives needs.",
        &words,
        state.level_dbfs,
    );
    state.level_dbfs = level.unwrap_or(state.level_dbfs);
    let unit = pos2(end - style.px(4.0), y);
    write(
        ui,
        unit,
        Align2::LEFT_CENTER,
        "dBFS",
        style.label(),
        style.colours.faint,
    );
}

/// Draws a numbered step: its instruction and its state. The word at the right end, if there is one, carries it out.
fn step_line(
    ui: &Ui,
    sheet: &Sheet<'_>,
    rect: Rect,
    y: f32,
    (number, text, is_next): (&str, &str, bool),
    word: Option<&Word<'_>>,
) -> bool {
    let style = sheet.style;
    let colours = style.colours;
    write(
        ui,
        pos2(rect.left(), y),
        Align2::LEFT_CENTER,
        number,
        style.small(),
        colours.faint,
    );
    let mut right = rect.right();
    let mut clicked = false;
    if let Some(word) = word {
        let font = if is_next { style.strong() } else { style.body() };
        let response = button(
            ui,
            &style,
            Id::unique(("line check step", number)),
            pos2(rect.right(), y),
            Align2::RIGHT_CENTER,
            font,
            word,
        );
        right = response.rect.left() - style.px(10.0);
        clicked = response.clicked();
    }
    let left = rect.left() + style.px(20.0);
    let font = style.body();
    let top = y - font.size * 0.66;
    let ink = if is_next { colours.ink } else { colours.soft };
    write_within(ui, pos2(left, top), right - left, 1, text, font, ink);
    clicked
}

fn first_step(ui: &Ui, sheet: &mut Sheet<'_>, state: &mut CheckSheet, rect: Rect, y: f32) {
    let held = sheet.snapshot.check.held;
    let ready = Word {
        text: "hold the sound back",
        name: "line check, first step: hold the sound back",
        tip: "From now on nothing that comes in passes, or it would go round in a loop. Nothing sounds yet.",
    };
    let back = Word {
        text: "let the sound pass",
        name: "line check: let the sound pass again",
        tip: "Ends this: what comes in passes again.",
    };
    let text = if state.armed || held {
        "your sound is held back"
    } else {
        "hold your sound back"
    };
    if state.armed {
        if step_line(ui, sheet, rect, y, ("1", text, false), Some(&back)) {
            sheet.intents.push(Intent::Check(CheckWish::Release));
            state.armed = false;
        }
    } else if step_line(ui, sheet, rect, y, ("1", text, true), Some(&ready)) {
        sheet.intents.push(Intent::Check(CheckWish::Hold));
        state.armed = true;
        state.scroll = Scroll::default();
    }
}

fn second_step(ui: &Ui, sheet: &mut Sheet<'_>, state: &mut CheckSheet, rect: Rect, y: f32) {
    let settings = state.settings();
    let seconds = Plan::new(settings).map_or(0.0, |plan| plan.seconds());
    let text = format!("{seconds:.0} s at {} dBFS", signed(settings.level_dbfs, 0));
    if !state.armed {
        let back = Word {
            text: "let the sound pass",
            name: "line check: let the sound pass again",
            tip: "Ends this: what comes in passes again.",
        };
        let held = sheet.snapshot.check.held;
        if step_line(ui, sheet, rect, y, ("2", &text, false), held.then_some(&back)) {
            sheet.intents.push(Intent::Check(CheckWish::Release));
        }
        return;
    }
    let send = Word {
        text: "send it now",
        name: "line check, second step: send it now",
        tip: "Sends the signal on this plugin\u{2019}s outputs. Any key stops it.",
    };
    if step_line(ui, sheet, rect, y, ("2", &text, true), Some(&send)) {
        sheet.intents.push(Intent::Check(CheckWish::Send(settings)));
        state.armed = false;
    }
}

/// The part that sounds at a time, and the beginning of the next one, s.
fn part_at(parts: &[Part], end_s: f64, at_s: f64) -> (&'static str, f64) {
    let index = parts.iter().rposition(|part| part.start_s <= at_s).unwrap_or(0);
    let until = parts.get(index + 1).map_or(end_s, |part| part.start_s);
    (parts.get(index).map_or("", |part| part.name), until)
}

/// The part that sounds now, the progress (0 to 1), and the beginnings of the parts.
fn how_far(check: &LineCheck) -> (String, f64, Vec<f64>) {
    match &check.sending {
        Some(Sending { settings, at_s }) => {
            let (parts, end_s) =
                Plan::new(*settings).map_or((Vec::new(), 1.0), |plan| (plan.parts(), plan.seconds()));
            let (name, until) = part_at(&parts, end_s, *at_s);
            let text = if *at_s >= end_s {
                String::from("waiting for what is still on its way")
            } else if name.starts_with("pause") {
                format!("{name}: {:.0} s", until - at_s)
            } else {
                format!("{name}, {:.0} s to the end", end_s - at_s)
            };
            let shares: Vec<f64> = parts.iter().map(|part| part.start_s / end_s).collect();
            (text, (at_s / end_s).clamp(0.0, 1.0), shares)
        }
        None if check.reading => (String::from("reading"), 1.0, Vec::new()),
        None => (String::from("about to begin"), 0.0, Vec::new()),
    }
}

/// Draws the signal's progress: the part that sounds, a bar, and a word that stops it.
fn what_goes_out(ui: &Ui, sheet: &mut Sheet<'_>, rect: Rect, y: &mut f32, step: f32) {
    let style = sheet.style;
    let colours = style.colours;
    let (text, share, parts) = how_far(&sheet.snapshot.check);
    let reading = sheet.snapshot.check.reading;
    let mut right = rect.right();
    if !reading {
        let stop = Word {
            text: "stop",
            name: "line check: stop the signal",
            tip: "Ends the signal. Any key does the same.",
        };
        let response = button(
            ui,
            &style,
            Id::unique("line check stop"),
            pos2(rect.right(), *y),
            Align2::RIGHT_CENTER,
            style.strong(),
            &stop,
        );
        right = response.rect.left() - style.px(10.0);
        if response.clicked() {
            sheet.intents.push(Intent::Check(CheckWish::Stop));
        }
    }
    let font = style.strong();
    let rows = if style.compact { 1 } else { 2 };
    let said = write_within(
        ui,
        pos2(rect.left(), *y - font.size * 0.66),
        right - rect.left(),
        rows,
        &text,
        font,
        colours.ink,
    );
    *y = said.bottom().max(*y + step / 2.0) + style.px(6.0);
    let bar = Rect::from_min_size(pos2(rect.left(), *y), vec2(rect.width(), style.px(12.0)));
    progress(ui, &style, bar, &text, share, &parts);
    *y = bar.bottom() + step / 2.0 + style.px(4.0);
}

/// Draws a bar, filled up to the signal's progress, with the parts' beginnings.
fn progress(ui: &Ui, style: &Style, bar: Rect, text: &str, share: f64, parts: &[f64]) {
    let colours = style.colours;
    let response = ui.interact(bar, Id::unique("line check progress"), Sense::hover());
    response.widget_info(|| {
        let mut info = WidgetInfo::labeled(Role::ProgressIndicator, true, text);
        info.value = Some(100.0 * share);
        info
    });
    ui.painter()
        .rect_stroke(bar, 0.0, style.line(1.0, colours.soft), egui::StrokeKind::Inside);
    let done = Rect::from_min_size(bar.min, vec2(bar.width() * to_single(share), bar.height()));
    ui.painter().rect_filled(done, 0.0, colours.ink);
    for &part in parts.iter().skip(1) {
        let x = bar.left() + bar.width() * to_single(part);
        let colour = if part <= share {
            colours.ground
        } else {
            colours.soft
        };
        ui.painter().vline(x, bar.y_range(), style.line(1.0, colour));
    }
}

/// Draws the word that stores the finding as the user's own feed.
fn save(ui: &Ui, sheet: &mut Sheet<'_>, rect: Rect, y: f32) {
    let style = sheet.style;
    let check = &sheet.snapshot.check;
    let can_save = check.found.as_ref().is_some_and(|found| found.can_save);
    label(
        ui,
        sheet,
        rect,
        y,
        if check.saved {
            "on the board, as your own feed"
        } else if can_save && check.found.as_ref().is_some_and(|found| !found.is_sure) {
            "what was found (likely only)"
        } else if can_save {
            "what was found"
        } else {
            "what was found (not all of it can be told: no feed)"
        },
    );
    if check.saved || !can_save {
        return;
    }
    let word = Word {
        text: "make it my own feed",
        name: "line check: make what was found your own feed",
        tip: "Puts what was found in the place of your own feed: it stands on the board, and you can hear your presets through it.",
    };
    let response = button(
        ui,
        &style,
        Id::unique("line check save"),
        pos2(rect.right(), y),
        Align2::RIGHT_CENTER,
        style.body(),
        &word,
    );
    if response.clicked() {
        sheet.intents.push(Intent::Check(CheckWish::Save));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_begins_low_and_begins_low_again() {
        let mut state = CheckSheet::default();
        assert_eq!(state.settings().level_dbfs, -40.0);
        state.level_dbfs = -10.0;
        state.armed = true;
        state.put_away();
        assert_eq!((state.settings().level_dbfs, state.armed), (-40.0, false));
        for level_dbfs in LEVELS_DBFS {
            state.level_dbfs = level_dbfs;
            assert!(Plan::new(state.settings()).is_ok());
        }
    }

    #[test]
    fn both_kinds_say_what_they_need() {
        let mut state = CheckSheet::default();
        let said = |state: &CheckSheet| {
            let all: Vec<String> = before(state).into_iter().map(|(text, _)| text).collect();
            all.join(" ")
        };
        assert!(said(&state).starts_with("Caution: this is loud") && !said(&state).contains("file"));
        assert!(!said(&state).contains("unplug"));
        state.mono = true;
        assert!(said(&state).contains("unplug the right line") && said(&state).contains("Phantom power off"));
    }

    #[test]
    fn the_part_that_sounds_is_named() {
        let plan = Plan::new(SignalSettings::mono()).expect("the usual");
        let parts = plan.parts();
        assert!(part_at(&parts, plan.seconds(), 0.0).0.starts_with("a soft tone"));
        let pause_s = plan.pauses_s()[0];
        let (name, until) = part_at(&parts, plan.seconds(), pause_s + 0.1);
        assert!(name.starts_with("pause: unplug the right line") && (until - pause_s - 8.0).abs() < 0.3);
        assert_eq!(part_at(&parts, plan.seconds(), 1e9).1, plan.seconds());
    }
}
