//! The board: one row a feed.

pub(crate) mod compare;
pub(crate) mod hearing;

use egui::{Align2, Id, Rect, Role, Sense, Stroke, Ui, WidgetInfo, pos2, vec2};
use sumproof_core::routing::feed::FeedId;
use sumproof_core::score::board::{FEEDS, Row};
use sumproof_core::score::verdict::Verdict;
use sumproof_wording::Name;
use sumproof_wording::feeds::{explanation, short_name};
use sumproof_wording::scores::{spoken, unknown_wet, word};

use crate::canvas::{Sheet, outcome_stroke, write, write_within};
use crate::data::intent::Setting;
use crate::data::snapshot::{Hearing, Snapshot};
use crate::style::Style;
use sumproof_wording::numbers::{decibels, hertz, signed};

/// The name of a feed in its row, the player's own by what he calls it.
pub fn row_name(snapshot: &Snapshot, id: FeedId) -> &str {
    match id {
        FeedId::Own => snapshot.own.name(),
        other => short_name(other),
    }
}

/// The name of a feed in full, the player's own by what he calls it.
pub fn full_name(snapshot: &Snapshot, id: FeedId) -> &str {
    match id {
        FeedId::Own => snapshot.own.name(),
        other => other.name(),
    }
}

/// The feeds that begin a group: a rule goes before them.
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

/// The key that lets the row's feed be heard, 1 to 9.
fn key_of(index: usize) -> Option<char> {
    u32::try_from(index + 1)
        .ok()
        .and_then(|n| char::from_digit(n, 10))
}

/// Where the columns are.
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
    more: bool,
}

impl Columns {
    fn new(style: &Style, rect: Rect) -> Self {
        let px = |at_default: f32| style.px(at_default);
        let more = !style.compact;
        let key = rect.left();
        let stroke = key + px(24.0);
        let outcome = stroke + px(42.0);
        let name = outcome + px(if style.compact { 84.0 } else { 104.0 });
        let name_end = name + px(if style.compact { 180.0 } else { 192.0 });
        let dry = name_end + px(48.0);
        let wet = dry + px(52.0);
        let bars_end = if more {
            rect.right() - px(208.0)
        } else {
            rect.right()
        };
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
        }
    }

    /// Where a change in dB stands on the bars' scale.
    fn x(&self, db: f64) -> f32 {
        let (least, most) = SCALE_DB;
        let share = ((db.clamp(least, most) - least) / (most - least)) as f32;
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
    heading(ui, &style, rect.top() + head, &columns, body, explained);
    let height = body.height() / FEEDS as f32;
    for (index, row) in rows.iter().enumerate() {
        let top = body.top() + height * index as f32;
        let place = Rect::from_min_max(pos2(body.left(), top), pos2(body.right(), top + height));
        feed_row(ui, sheet, &columns, place, index, row);
    }
}

fn heading(ui: &Ui, style: &Style, base: f32, columns: &Columns, body: Rect, explained: bool) {
    let colours = style.colours;
    let y = base - style.px(4.0);
    let say = |x: f32, align: Align2, text: &str, colour| {
        write(ui, pos2(x, y), align, text, style.label(), colour);
    };
    say(
        columns.key,
        Align2::LEFT_BOTTOM,
        "what each listener gets",
        colours.faint,
    );
    ui.painter().hline(body.x_range(), base, style.hairline());
    if explained {
        // Nothing was played yet: the rows explain themselves where the figures will be.
        return;
    }
    say(columns.dry, Align2::RIGHT_BOTTOM, "dry", colours.dry);
    say(columns.wet, Align2::RIGHT_BOTTOM, "wet", colours.wet_text);
    let wide = columns.bars.1 - columns.bars.0 > style.px(150.0);
    for (db, text) in [(-20.0, "\u{2212}20"), (-10.0, "\u{2212}10"), (0.0, "0 dB")] {
        let x = columns.x(db);
        ui.painter().vline(x, body.y_range(), style.hairline());
        if db == -10.0 && !wide {
            continue;
        }
        write(
            ui,
            pos2(x, y),
            Align2::CENTER_BOTTOM,
            text,
            style.small(),
            colours.faint,
        );
    }
    if columns.more {
        say(columns.level, Align2::RIGHT_BOTTOM, "LU", colours.faint);
        say(columns.tone, Align2::RIGHT_BOTTOM, "tone", colours.faint);
        say(columns.dip, Align2::LEFT_BOTTOM, "deepest dip", colours.faint);
    }
}

fn feed_row(ui: &Ui, sheet: &mut Sheet<'_>, columns: &Columns, rect: Rect, index: usize, row: &Row) {
    let style = sheet.style;
    let id = row.id;
    let snapshot = sheet.snapshot;
    let heard = snapshot.hearing == Hearing::Feed(id);
    let chosen = snapshot.settings.feed == id;
    let response = ui.interact(rect, Id::unique(("feed", id.id())), Sense::click());
    let full = full_name(snapshot, id);
    response.widget_info(|| WidgetInfo::selected(Role::Button, true, heard, spoken(row, full)));

    // Before the first sound there are no outcomes: name and explanation have their room too.
    let first_run = row.score.is_none() && !snapshot.history.ever_heard();
    let name_left = if first_run { columns.stroke } else { columns.name };
    let name_width = columns.name_end - columns.name;

    // The one that's heard is set in reverse: the only such row there is.
    let mut colours = style.colours;
    if heard {
        ui.painter().rect_filled(
            Rect::from_min_max(
                pos2(columns.key - style.px(6.0), rect.top()),
                pos2(name_left + name_width - style.px(4.0), rect.bottom()),
            ),
            0.0,
            colours.ink,
        );
        (colours.ink, colours.soft, colours.faint) = (colours.ground, colours.ground, colours.ground);
    }
    let middle = rect.center().y;
    if let Some(key) = key_of(index) {
        let mut text = [0; 4];
        write(
            ui,
            pos2(columns.key, middle),
            Align2::LEFT_CENTER,
            key.encode_utf8(&mut text),
            style.small(),
            colours.faint,
        );
    }
    if let Some(outcome) = row.outcome {
        outcome_stroke(
            ui,
            pos2(columns.stroke, middle + style.px(1.0)),
            style.px(34.0),
            outcome,
            // What is only likely has a thin stroke as well as its question mark.
            style.line(if is_plain(row) { 3.5 } else { 1.5 }, colours.ink),
        );
    }
    if row.score.is_some() {
        write(
            ui,
            pos2(columns.outcome, middle),
            Align2::LEFT_CENTER,
            &word(row),
            style.outcome(),
            colours.ink,
        );
    }
    let name_rect = write_within(
        ui,
        pos2(name_left, middle - style.body().size * 0.62),
        name_width,
        1,
        row_name(snapshot, id),
        style.body(),
        if response.hovered() || chosen {
            colours.ink
        } else {
            colours.soft
        },
    );
    if chosen && !heard {
        ui.painter().hline(
            name_rect.x_range(),
            name_rect.bottom() - name_rect.height() * 0.1,
            style.line(1.5, style.colours.ink),
        );
    } else if response.hovered() && !heard {
        ui.painter().hline(
            name_rect.x_range(),
            name_rect.bottom() - name_rect.height() * 0.1,
            style.hairline(),
        );
    }
    if row.score.is_some() {
        figures(ui, &style, columns, middle, row);
        bars(ui, &style, columns, rect, snapshot.reading.row(id));
    } else if first_run {
        let left = name_left + name_width + style.px(8.0);
        let size = style.label().size;
        write_within(
            ui,
            pos2(left, middle - size * 0.6),
            rect.right() - left,
            1,
            explanation(id),
            style.label(),
            style.colours.soft,
        );
    } else {
        write(
            ui,
            pos2(columns.outcome, middle),
            Align2::LEFT_CENTER,
            "no reading",
            style.label(),
            colours.faint,
        );
    }
    if begins_group(id) {
        ui.painter().hline(
            name_left..=rect.right(),
            rect.top(),
            Stroke::new(1.0, style.colours.hairline.gamma_multiply(0.6)),
        );
    }
    crate::canvas::focus_mark(ui, &style, &response);
    if response.clicked() {
        if heard {
            sheet.set(Setting::Audition(false));
        } else {
            audition(sheet, id);
        }
    } else if response.secondary_clicked() && !chosen {
        sheet.set(Setting::Feed(id));
    }
    response.on_hover_text_at_pointer(tip(row, full));
}

/// Whether a row's word is given by all that is known.
fn is_plain(row: &Row) -> bool {
    row.verdict.is_none_or(Verdict::is_plain)
}

/// Chooses a feed and lets it be heard.
pub fn audition(sheet: &mut Sheet<'_>, id: FeedId) {
    if sheet.snapshot.settings.feed != id {
        sheet.set(Setting::Feed(id));
    }
    if !sheet.snapshot.settings.audition {
        sheet.set(Setting::Audition(true));
    }
}

fn tip(row: &Row, name: &str) -> String {
    format!(
        "{}\n{}.\nClick to hear it, right-click to see its curve only.",
        explanation(row.id),
        spoken(row, name)
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
    // A dip of less than 3 dB is an ordinary response.
    if let Some(dip) = score.dip.filter(|dip| dip.depth_db <= -3.0) {
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

/// Two strokes on one scale: how much of the dry and of the wet is left. The gap between their ends is the balance shift.
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
            // Somewhere below: a few points instead of a stroke that ends at a figure nobody knows.
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
