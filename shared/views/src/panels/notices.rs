//! Errors and unusual conditions: one line each, which can be dismissed.

use egui::{Align2, Color32, FontId, Id, Rect, Role, Sense, Ui, WidgetInfo, pos2, vec2};

use crate::canvas::{Sheet, Word, button, width_of, write_within};
use crate::data::look::Theme;
use crate::data::snapshot::Notices;
use crate::style::Colours;

/// The notices dismissed by the player: counts as they were then, and texts.
#[derive(Clone, Debug, Default)]
pub struct PutAway {
    lost_frames: u64,
    invalid_frames: u64,
    newer_state: Option<String>,
    message: Option<String>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Lasting,
    Lost,
    Invalid,
    Newer,
    Message,
}

impl PutAway {
    fn lines(&self, notices: &Notices, rate_hz: f64) -> Vec<(Kind, String)> {
        let mut lines = Vec::new();
        if notices.panicked {
            lines.push((
                Kind::Lasting,
                "Something broke inside. Your sound passes untouched, nothing is measured: save, then reload the plugin."
                    .into(),
            ));
        }
        if notices.analysis_failed {
            lines.push((
                Kind::Lasting,
                "The analysis broke. Sound passes and your takes are kept: save, then reload the plugin."
                    .into(),
            ));
        }
        if notices.lost_frames > self.lost_frames {
            let lost = notices.lost_frames - self.lost_frames;
            let seconds = lost as f64 / if rate_hz > 0.0 { rate_hz } else { 48_000.0 };
            lines.push((
                Kind::Lost,
                format!(
                    "The computer was too busy: {seconds:.2} s of sound ({lost} frames) are missing from the readings. \
                     What you hear was not touched."
                ),
            ));
        }
        if notices.invalid_frames > self.invalid_frames {
            lines.push((
                Kind::Invalid,
                format!(
                    "{} frames were no sound (not a number, or far too loud). They passed, and were left out of the \
                     readings: look at the plugin before this one.",
                    notices.invalid_frames - self.invalid_frames
                ),
            ));
        }
        if let Some(version) = notices
            .newer_state
            .as_ref()
            .filter(|v| self.newer_state.as_ref() != Some(v))
        {
            lines.push((
                Kind::Newer,
                format!("This project was saved by version {version}. What this version does not know is kept and saved again."),
            ));
        }
        if let Some(message) = notices
            .message
            .as_ref()
            .filter(|m| self.message.as_ref() != Some(m))
        {
            lines.push((Kind::Message, message.clone()));
        }
        lines
    }

    fn put_away(&mut self, kind: Kind, notices: &Notices) {
        match kind {
            Kind::Lasting => {}
            Kind::Lost => self.lost_frames = notices.lost_frames,
            Kind::Invalid => self.invalid_frames = notices.invalid_frames,
            Kind::Newer => self.newer_state.clone_from(&notices.newer_state),
            Kind::Message => self.message.clone_from(&notices.message),
        }
    }
}

/// Most lines of text in one notice: more would cover too much of the board.
const MOST_ROWS: usize = 3;

/// The number of lines that a text needs.
fn rows_of(ui: &Ui, text: &str, width: f32, font: &FontId) -> usize {
    let galley = ui.painter().layout(
        text.to_owned(),
        font.clone(),
        Color32::PLACEHOLDER,
        width.max(1.0),
    );
    galley.rows.len().max(1)
}

/// Draws the notices at the foot of `rect`, over its contents: nothing moves because of them.
pub fn notices(ui: &Ui, sheet: &Sheet<'_>, away: &mut PutAway, rect: Rect) {
    let style = sheet.style;
    let notices = &sheet.snapshot.notices;
    // A lower count belongs to another instance, or to this one created again.
    away.lost_frames = away.lost_frames.min(notices.lost_frames);
    away.invalid_frames = away.invalid_frames.min(notices.invalid_frames);
    let lines = away.lines(notices, sheet.snapshot.reading.rate_hz);
    if lines.is_empty() {
        return;
    }
    let font = style.strong();
    let word_width = width_of(ui, WORD.text, style.body()) + style.px(16.0);
    let inset = style.px(14.0);
    let placed: Vec<(Kind, String, usize, f32)> = lines
        .into_iter()
        .map(|(kind, text)| {
            let room = rect.width() - if kind == Kind::Lasting { 0.0 } else { word_width };
            let rows = rows_of(ui, &text, room - inset, &font).min(MOST_ROWS);
            (kind, text, rows, font.size * (1.24 * rows as f32 + 0.26))
        })
        .collect();
    let height: f32 = placed.iter().map(|(.., height)| height).sum();
    let mut y = rect.bottom() - height;
    let band = Rect::from_min_max(pos2(rect.left(), y - style.px(4.0)), rect.max);
    let beyond = style.px(4.0);
    let ground = Rect::from_min_max(band.min - vec2(beyond, 0.0), band.max + vec2(beyond, beyond));
    ui.painter().rect_filled(ground, 0.0, style.colours.ground);
    ui.painter()
        .hline(band.x_range(), band.top(), style.line(1.5, style.colours.ink));
    for (kind, text, rows, height) in placed {
        let line = Rect::from_min_size(pos2(rect.left(), y), vec2(rect.width(), height));
        if one_notice(ui, sheet, line, kind, &text, rows) {
            away.put_away(kind, notices);
        }
        y += height;
    }
}

/// The word that dismisses a notice.
const WORD: Word<'static> = Word {
    text: "put away",
    name: "put this notice away",
    tip: "Puts this away until it happens again.",
};

/// Draws one notice. Returns whether it was dismissed.
fn one_notice(ui: &Ui, sheet: &Sheet<'_>, line: Rect, kind: Kind, text: &str, rows: usize) -> bool {
    let style = sheet.style;
    let font = style.strong();
    let inset = style.px(14.0);
    let mut room = line.width();
    let mut put_away = false;
    // Blocks clicks on what lies below.
    let under = ui.interact(
        line,
        Id::unique(("notice", kind as u8, text.len())),
        Sense::click(),
    );
    under.widget_info(|| WidgetInfo::labeled(Role::Label, true, format!("notice: {text}")));
    if kind != Kind::Lasting {
        let at = pos2(line.right(), line.top() + font.size * 0.75);
        let id = Id::unique(("put away", kind as u8));
        let response = button(ui, &style, id, at, Align2::RIGHT_CENTER, style.body(), &WORD);
        room -= response.rect.width() + style.px(16.0);
        put_away = response.clicked();
    }
    // A mark of ink before it, visible from afar.
    let mark = Rect::from_min_size(
        pos2(line.left(), line.top() + font.size * 0.27),
        vec2(style.px(5.0), line.height() - font.size * 0.54),
    );
    ui.painter().rect_filled(mark, 0.0, style.colours.ink);
    let at = pos2(line.left() + inset, line.top() + font.size * 0.1);
    write_within(ui, at, room - inset, rows, text, font, style.colours.ink);
    under.on_hover_text(text);
    put_away
}

/// Draws a broken window: one line, without anything that could break again.
pub fn broken(ui: &Ui) {
    let area = ui.ctx().content_rect();
    let colours = Colours::of(Theme::default());
    ui.painter().rect_filled(area, 0.0, colours.ground);
    let line = "Something broke in this window. Your sound passes and is measured, your takes are kept: save, then close the \
                window and open it again.";
    let inside = area.shrink(24.0);
    let galley = ui.painter().layout(
        line.to_owned(),
        FontId::proportional(16.0),
        colours.ink,
        inside.width().max(1.0),
    );
    ui.painter().galley(inside.min, galley, colours.ink);
    let response = ui.interact(area, Id::unique("broken"), Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Label, true, line));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_put_away_comes_back_only_when_it_happens_again() {
        let mut away = PutAway::default();
        let mut notices = Notices {
            lost_frames: 480,
            panicked: true,
            ..Notices::default()
        };
        assert_eq!(away.lines(&notices, 48_000.0).len(), 2);
        away.put_away(Kind::Lost, &notices);
        away.put_away(Kind::Lasting, &notices);
        let left = away.lines(&notices, 48_000.0);
        assert_eq!(left.len(), 1);
        assert_eq!(left[0].0, Kind::Lasting);
        notices.lost_frames += 48_000;
        let again = away.lines(&notices, 48_000.0);
        assert!(
            again[1].1.contains("1.00 s of sound (48000 frames)"),
            "{}",
            again[1].1
        );
    }
}
