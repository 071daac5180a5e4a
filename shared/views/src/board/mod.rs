//! The board: one row a feed.

pub(crate) mod afar;
pub(crate) mod compare;
pub(crate) mod hearing;

use egui::{Align2, Id, Rect, Role, Sense, Stroke, Ui, WidgetInfo, pos2, vec2};
use sumproof_core::dsp::numbers::to_single;
use sumproof_core::routing::feed::FeedId;
use sumproof_core::score::board::{FEEDS, Row};
use sumproof_core::score::outcome::Outcome;
use sumproof_core::score::verdict::Verdict;
use sumproof_wording::Name;
use sumproof_wording::feeds::{explanation, short_name};
use sumproof_wording::phrase::of_what;
use sumproof_wording::scores::{at_worst, spoken, unknown_wet, word};

use crate::canvas::{Sheet, outcome_stroke, write, write_within};
use crate::data::intent::Setting;
use crate::data::snapshot::{Hearing, Snapshot};
use crate::style::{Colours, Style};
use sumproof_wording::numbers::{decibels, hertz, signed};

/// The name of a feed in its row; for the player's own feed, the name he gave it.
pub fn row_name(snapshot: &Snapshot, id: FeedId) -> &str {
    match id {
        FeedId::Own => snapshot.own.name(),
        other => short_name(other),
    }
}

/// The name of a feed in full; for the player's own feed, the name he gave it.
pub fn full_name(snapshot: &Snapshot, id: FeedId) -> &str {
    match id {
        FeedId::Own => snapshot.own.name(),
        other => other.name(),
    }
}

/// Whether a feed has a row: the player's own one only once it is defined, or chosen.
pub fn is_shown(snapshot: &Snapshot, id: FeedId) -> bool {
    id != FeedId::Own || snapshot.own.is_defined() || snapshot.settings.feed == FeedId::Own
}

/// The number of rows shown.
pub fn shown_rows(snapshot: &Snapshot) -> usize {
    FeedId::ALL.iter().filter(|id| is_shown(snapshot, **id)).count()
}

/// The feeds that begin a group: a rule is drawn above them.
fn begins_group(id: FeedId) -> bool {
    matches!(
        id,
        FeedId::MonoWedge
            | FeedId::LeftLineOnly
            | FeedId::WedgeLineFlipped
            | FeedId::BalancedJackDifference
            | FeedId::MonoSubs
            | FeedId::Own
    )
}

/// The key that auditions the row's feed: 1 to 9, and F1 to F4.
fn key_of(index: usize) -> String {
    if index < 9 {
        format!("{}", index + 1)
    } else {
        format!("F{}", index - 8)
    }
}

/// Positions of the columns, pixels.
struct Columns {
    key: f32,
    stroke: f32,
    outcome: f32,
    name: f32,
    name_end: f32,
    /// Right ends of the figures of dry and wet.
    dry: f32,
    wet: f32,
    bars: (f32, f32),
    /// Right ends of level and tone, left end of the dip.
    level: f32,
    tone: f32,
    dip: f32,
    /// Whether there is room for level and tone; and for the dip.
    more: bool,
    has_dip: bool,
}

impl Columns {
    fn new(style: &Style, rect: Rect) -> Self {
        let px = |at_default: f32| style.px(at_default);
        let more = !style.compact;
        let key = rect.left();
        let stroke = key + px(24.0);
        let outcome = stroke + px(42.0);
        let name = outcome + px(if style.compact { 84.0 } else { 122.0 });
        let name_end = name + px(if style.compact { 180.0 } else { 244.0 });
        let dry = name_end + px(48.0);
        let wet = dry + px(52.0);
        // A column that doesn't fit is left out: a row shows its dip when the pointer is on it, and so do the curves.
        let has_dip = more && rect.width() > px(920.0);
        let bars_end = rect.right()
            - px(match (more, has_dip) {
                (false, _) => 0.0,
                (true, false) => 90.0,
                (true, true) => 208.0,
            });
        Self {
            key,
            stroke,
            outcome,
            name,
            name_end,
            dry,
            wet,
            bars: (wet + px(14.0), bars_end),
            level: bars_end + px(48.0),
            tone: bars_end + px(86.0),
            dip: bars_end + px(101.0),
            more,
            has_dip,
        }
    }

    /// Position of a change in dB on the bars' scale; values outside it are drawn at its ends.
    fn x(&self, db: f64) -> f32 {
        let (least, most) = SCALE_DB;
        let share = to_single((db.clamp(least, most) - least) / (most - least));
        self.bars.0 + (self.bars.1 - self.bars.0) * share
    }
}

/// The bars' scale, dB.
const SCALE_DB: (f64, f64) = (-24.0, 3.0);

/// Draws the board. `rows` are the figures to print, which may lag behind the bars.
pub fn board(ui: &Ui, sheet: &mut Sheet<'_>, rect: Rect, rows: &[Row; FEEDS]) {
    let style = sheet.style;
    let head = style.px(if style.compact { 20.0 } else { 26.0 });
    let columns = Columns::new(&style, rect);
    let body = Rect::from_min_max(rect.min + vec2(0.0, head), rect.max);
    let explained = !sheet.snapshot.history.ever_heard() && rows.iter().all(|row| row.score.is_none());
    let of_what = of_what(
        &sheet.snapshot.reading.phrase,
        sheet.snapshot.settings.integration.over(),
    );
    heading(
        ui,
        &style,
        rect.top() + head,
        &columns,
        body,
        (&of_what, explained),
    );
    let snapshot = sheet.snapshot;
    let height = body.height() / shown_rows(snapshot) as f32;
    let shown = rows.iter().enumerate();
    for (index, row) in shown.filter(|(_, row)| is_shown(snapshot, row.id)) {
        let top = body.top() + height * index as f32;
        let place = Rect::from_min_max(pos2(body.left(), top), pos2(body.right(), top + height));
        feed_row(ui, sheet, &columns, place, index, row);
    }
}

fn heading(
    ui: &Ui,
    style: &Style,
    base: f32,
    columns: &Columns,
    body: Rect,
    (of_what, explained): (&str, bool),
) {
    let colours = style.colours;
    let y = base - style.px(4.0);
    let say = |x: f32, align: Align2, text: &str, colour| {
        write(ui, pos2(x, y), align, text, style.label(), colour);
    };
    let gets = if of_what.is_empty() {
        String::from("what each listener gets")
    } else {
        format!("what each listener gets: {of_what}")
    };
    say(columns.key, Align2::LEFT_BOTTOM, &gets, colours.faint);
    ui.painter().hline(body.x_range(), base, style.hairline());
    if explained {
        // Before the first sound the rows explain themselves where the figures will be.
        return;
    }
    let said = [
        (columns.dry, Align2::RIGHT_BOTTOM, "dry", colours.dry),
        (columns.wet, Align2::RIGHT_BOTTOM, "wet", colours.wet_text),
        (columns.level, Align2::RIGHT_BOTTOM, "LU", colours.faint),
        (columns.tone, Align2::RIGHT_BOTTOM, "tone", colours.faint),
        (columns.dip, Align2::LEFT_BOTTOM, "deepest dip", colours.faint),
    ];
    let shown = match (columns.more, columns.has_dip) {
        (false, _) => 2,
        (true, false) => 4,
        (true, true) => 5,
    };
    for (x, align, text, colour) in said.into_iter().take(shown) {
        let place = write(ui, pos2(x, y), align, text, style.label(), colour);
        ui.interact(place, Id::unique(("column", text)), Sense::hover())
            .on_hover_text(sumproof_wording::scores::column(text));
    }
    scale(ui, style, columns, body, y);
}

/// The bars' scale.
fn scale(ui: &Ui, style: &Style, columns: &Columns, body: Rect, y: f32) {
    let wide = columns.bars.1 - columns.bars.0 > style.px(150.0);
    for (db, text) in [(-20.0, "\u{2212}20"), (-10.0, "\u{2212}10"), (0.0, "0 dB")] {
        let x = columns.x(db);
        ui.painter().vline(x, body.y_range(), style.hairline());
        if db == -10.0 && !wide {
            continue;
        }
        let (at, colour) = (pos2(x, y), style.colours.faint);
        write(ui, at, Align2::CENTER_BOTTOM, text, style.small(), colour);
    }
}

/// One row as it is being drawn.
struct RowSheet<'a> {
    style: Style,
    columns: &'a Columns,
    rect: Rect,
    row: &'a Row,
    /// The row's worst outcome in this phrase, where it is worse than the present one.
    worst: Option<Outcome>,
    /// Whether it is the row being heard: the only one set in reverse.
    heard: bool,
    chosen: bool,
    /// Before the first sound there are no outcomes: name and explanation take their room.
    first_run: bool,
}

impl RowSheet<'_> {
    fn middle(&self) -> f32 {
        self.rect.center().y
    }

    /// Where the name begins.
    fn name_left(&self) -> f32 {
        if self.first_run {
            self.columns.stroke
        } else {
            self.columns.name
        }
    }

    fn name_width(&self) -> f32 {
        self.columns.name_end - self.columns.name
    }

    /// The colours on the row's ground.
    fn colours(&self) -> Colours {
        let mut colours = self.style.colours;
        if self.heard {
            (colours.ink, colours.soft, colours.faint) = (colours.ground, colours.ground, colours.ground);
        }
        colours
    }
}

fn feed_row(ui: &Ui, sheet: &mut Sheet<'_>, columns: &Columns, rect: Rect, index: usize, row: &Row) {
    let id = row.id;
    let snapshot = sheet.snapshot;
    let drawn = RowSheet {
        style: sheet.style,
        columns,
        rect,
        row,
        worst: snapshot.reading.worst.get(index).copied().flatten(),
        heard: snapshot.hearing == Hearing::Feed(id),
        chosen: snapshot.settings.feed == id,
        first_run: row.score.is_none() && !snapshot.history.ever_heard(),
    };
    let response = ui.interact(rect, Id::unique(("feed", id.id())), Sense::click());
    let full = full_name(snapshot, id);
    let said = spoken(row, full) + &drawn.worst.map_or_else(String::new, at_worst);
    response.widget_info(|| WidgetInfo::selected(Role::Button, true, drawn.heard, &said));
    key_and_word(ui, &drawn, index);
    name(ui, &drawn, row_name(snapshot, id), response.hovered());
    if row.score.is_some() {
        figures(ui, &drawn.style, columns, drawn.middle(), row);
        bars(ui, &drawn.style, columns, rect, snapshot.reading.row(id));
    } else {
        without_figures(ui, &drawn);
    }
    if begins_group(id) {
        let stroke = Stroke::new(1.0, drawn.style.colours.hairline.gamma_multiply(0.6));
        ui.painter()
            .hline(drawn.name_left()..=rect.right(), rect.top(), stroke);
    }
    crate::canvas::focus_mark(ui, &drawn.style, &response);
    if response.clicked() {
        if drawn.heard {
            sheet.set(Setting::Audition(false));
        } else {
            audition(sheet, id);
        }
    } else if response.secondary_clicked() && !drawn.chosen {
        sheet.set(Setting::Feed(id));
    }
    response.on_hover_text_at_pointer(tip(id, &said));
}

/// Draws the row's key and its outcome, a stroke and a word, and beside them the worst outcome of the phrase.
fn key_and_word(ui: &Ui, drawn: &RowSheet<'_>, index: usize) {
    let (style, columns, colours) = (&drawn.style, drawn.columns, drawn.colours());
    let middle = drawn.middle();
    if drawn.heard {
        let end = drawn.name_left() + drawn.name_width() - style.px(4.0);
        let band = Rect::from_min_max(
            pos2(columns.key - style.px(6.0), drawn.rect.top()),
            pos2(end, drawn.rect.bottom()),
        );
        ui.painter().rect_filled(band, 0.0, style.colours.ink);
    }
    let at = pos2(columns.key, middle);
    write(
        ui,
        at,
        Align2::LEFT_CENTER,
        &key_of(index),
        style.small(),
        colours.faint,
    );
    if let Some(outcome) = drawn.row.outcome {
        let at = pos2(columns.stroke, middle + style.px(1.0));
        // An outcome that is only likely has a thin stroke as well as its question mark.
        let stroke = style.line(if is_plain(drawn.row) { 3.5 } else { 1.5 }, colours.ink);
        outcome_stroke(ui, at, style.px(34.0), outcome, stroke);
    }
    if drawn.row.score.is_none() {
        return;
    }
    let at = pos2(columns.outcome, middle);
    let text = word(drawn.row);
    write(ui, at, Align2::LEFT_CENTER, &text, style.outcome(), colours.ink);
    if let Some(worst) = drawn.worst {
        // A thin stroke below the row's own; the row's tip says it in words.
        let at = pos2(columns.stroke, middle + style.px(8.0));
        outcome_stroke(ui, at, style.px(34.0), worst, style.line(1.2, colours.soft));
    }
}

fn name(ui: &Ui, drawn: &RowSheet<'_>, text: &str, hovered: bool) {
    let (style, colours) = (&drawn.style, drawn.colours());
    let font = style.feed();
    let at = pos2(drawn.name_left(), drawn.middle() - font.size * 0.62);
    let colour = if hovered || drawn.chosen {
        colours.ink
    } else {
        colours.soft
    };
    let written = write_within(ui, at, drawn.name_width(), 1, text, font, colour);
    let stroke = match (drawn.heard, drawn.chosen, hovered) {
        (false, true, _) => style.line(1.5, style.colours.ink),
        (false, false, true) => style.hairline(),
        _ => return,
    };
    let base = written.bottom() - written.height() * 0.1;
    ui.painter().hline(written.x_range(), base, stroke);
}

/// Draws a row without a reading: its explanation, before the first sound.
fn without_figures(ui: &Ui, drawn: &RowSheet<'_>) {
    let (style, middle) = (&drawn.style, drawn.middle());
    let font = style.label();
    if drawn.first_run {
        let left = drawn.name_left() + drawn.name_width() + style.px(8.0);
        let at = pos2(left, middle - font.size * 0.6);
        let (room, text) = (drawn.rect.right() - left, explanation(drawn.row.id));
        write_within(ui, at, room, 1, text, font, style.colours.soft);
    } else {
        let at = pos2(drawn.columns.outcome, middle);
        let colour = drawn.colours().faint;
        write(ui, at, Align2::LEFT_CENTER, "no reading", font, colour);
    }
}

/// Whether a row's outcome follows from everything known.
fn is_plain(row: &Row) -> bool {
    row.verdict.is_none_or(Verdict::is_plain)
}

/// Chooses a feed and auditions it.
pub fn audition(sheet: &mut Sheet<'_>, id: FeedId) {
    if sheet.snapshot.settings.feed != id {
        sheet.set(Setting::Feed(id));
    }
    if !sheet.snapshot.settings.audition {
        sheet.set(Setting::Audition(true));
    }
}

fn tip(id: FeedId, said: &str) -> String {
    format!(
        "{}\n{said}.\nClick to hear it, right-click to see its curve only.",
        explanation(id)
    )
}

fn figures(ui: &Ui, style: &Style, columns: &Columns, middle: f32, row: &Row) {
    let Some(score) = row.score else { return };
    let colours = style.colours;
    let right = |x: f32, text: &str, colour| {
        write(
            ui,
            pos2(x, middle),
            Align2::RIGHT_CENTER,
            text,
            style.body(),
            colour,
        );
    };
    let change = |value: Option<f64>, at_floor: bool| match value {
        None => String::from("–"),
        Some(_) if at_floor => String::from("<\u{2212}20"),
        Some(db) => decibels(db),
    };
    right(
        columns.dry,
        &change(score.dry_db, score.dry_at_floor),
        colours.ink,
    );
    let wet = unknown_wet(&score).map_or_else(|| change(score.wet_db, false), |_| String::from("?"));
    right(columns.wet, &wet, colours.ink);
    if !columns.more {
        return;
    }
    right(columns.level, &decibels(score.level_lu), colours.soft);
    if let Some(tone) = score.tone_db {
        right(columns.tone, &format!("{tone:.1}"), colours.soft);
    }
    // A dip of less than 3 dB belongs to an ordinary response.
    if let Some(dip) = score.dip.filter(|dip| columns.has_dip && dip.depth_db <= -3.0) {
        let depth = if dip.depth_db < -40.0 {
            String::from("<\u{2212}40")
        } else {
            signed(dip.depth_db, 0)
        };
        write(
            ui,
            pos2(columns.dip, middle),
            Align2::LEFT_CENTER,
            &format!("{depth} at {}", hertz(dip.hz)),
            style.body(),
            colours.soft,
        );
    }
}

/// Draws two strokes on one scale: how much of the dry and of the wet is left. The gap between their ends is the
/// balance shift.
fn bars(ui: &Ui, style: &Style, columns: &Columns, rect: Rect, row: &Row) {
    let Some(score) = row.score else { return };
    let gap = (rect.height() * 0.17).min(style.px(7.0));
    for (value, at_floor, dy, colour) in [
        (score.dry_db, score.dry_at_floor, -gap, style.colours.dry),
        (score.wet_db, false, gap, style.colours.wet),
    ] {
        let Some(db) = value else { continue };
        let y = rect.center().y + dy;
        let (from, to) = (columns.bars.0, columns.x(db));
        if at_floor {
            // Somewhere below the floor: a few dots instead of a stroke that would end at an unknown figure.
            for n in 0..3 {
                let x = from + style.px(3.0 + 6.0 * n as f32);
                ui.painter()
                    .hline(x..=x + style.px(2.5), y, style.line(3.0, colour));
            }
        } else if to > from {
            ui.painter().hline(from..=to, y, style.line(3.0, colour));
            ui.painter()
                .vline(to, y - style.px(4.0)..=y + style.px(4.0), style.line(2.0, colour));
        }
    }
}
