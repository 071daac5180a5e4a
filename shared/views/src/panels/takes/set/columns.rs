//! Positions of the table's columns, and their headings.

use egui::{Align2, Id, Rect, Role, Sense, Shape, Ui, WidgetInfo, pos2, vec2};

use super::SetSheet;
use super::lines::Column;
use crate::canvas::{focus_mark, write};
use crate::style::Style;

/// Explains a take's loudness.
pub const LOUDNESS: &str = "K-weighted (ITU-R BS.1770) over the whole take, with no gate: pauses and tails count, so that it can read lower \
                            than what \u{2018}sumproof check\u{2019} measures with gates. The wedge counts as played by both loudspeakers. \
                            The middle is the median of all full takes.";

/// Left ends of words, right ends of figures.
pub struct Columns {
    /// Right end of the number.
    pub order: f32,
    /// Left ends of name and outcomes.
    pub name: f32,
    pub worst: f32,
    pub wedge: f32,
    pub flipped: f32,
    /// Right ends of the loudness figures.
    pub figures: [f32; 4],
}

impl Columns {
    pub fn new(style: &Style, rect: Rect) -> Self {
        let from_right = |at: f32| rect.right() - style.px(at);
        let (outcomes, figures) = if style.compact {
            ([452.0, 366.0, 284.0], [154.0, 106.0, 54.0, 8.0])
        } else {
            ([880.0, 560.0, 430.0], [236.0, 168.0, 90.0, 16.0])
        };
        let [worst, wedge, flipped] = outcomes.map(from_right);
        let order = rect.left() + style.px(if style.compact { 26.0 } else { 40.0 });
        Self {
            order,
            name: order + style.px(if style.compact { 10.0 } else { 16.0 }),
            worst,
            wedge,
            flipped,
            figures: figures.map(from_right),
        }
    }

    /// Anchor of a column's heading, and its alignment.
    fn anchor(&self, column: Column) -> (f32, Align2) {
        let (left, right) = (Align2::LEFT_BOTTOM, Align2::RIGHT_BOTTOM);
        match column {
            Column::Order => (self.order, right),
            Column::Name => (self.name, left),
            Column::Worst => (self.worst, left),
            Column::Wedge => (self.wedge, left),
            Column::Flipped => (self.flipped, left),
            Column::Stereo => (self.figures[0], right),
            Column::StereoOff => (self.figures[1], right),
            Column::WedgeLoudness => (self.figures[2], right),
            Column::WedgeOff => (self.figures[3], right),
        }
    }
}

/// A column's heading, long and short; its name for a screen reader; and its tip.
fn words(column: Column) -> (&'static str, &'static str, &'static str, &'static str) {
    let off = "How far that is above or below the middle of the set, LU.";
    match column {
        Column::Order => ("no.", "no.", "playing order", "Playing order."),
        Column::Name => ("name", "name", "name", "By the alphabet."),
        Column::Worst => (
            "worst feed",
            "worst",
            "the worst feed",
            "The worst of the feeds in which nobody made a mistake: no line flipped, late, padded or unplugged, no wrong plug.",
        ),
        Column::Wedge => (
            "mono wedge",
            "wedge",
            "the mono wedge",
            "What the mono wedge does.",
        ),
        Column::Flipped => (
            "one line flipped",
            "flipped",
            "one line flipped",
            "What the mono wedge does with one line flipped.",
        ),
        Column::Stereo => ("stereo", "stereo", "loudness in stereo", LOUDNESS),
        Column::StereoOff => ("off", "off", "loudness in stereo against the middle", off),
        Column::WedgeLoudness => ("wedge", "wedge", "loudness in the wedge", LOUDNESS),
        Column::WedgeOff => ("off", "off", "loudness in the wedge against the middle", off),
    }
}

/// Draws the headings, whose line ends at `base`; a click sorts.
pub fn headings(ui: &Ui, style: &Style, columns: &Columns, base: f32, body: Rect, state: &mut SetSheet) {
    let colours = style.colours;
    ui.painter().hline(body.x_range(), base, style.hairline());
    let y = base - style.px(4.0);
    let above = y - style.label().size * 1.2;
    let group = |x: f32, align: Align2, text: &str| {
        write(ui, pos2(x, above), align, text, style.label(), colours.faint);
    };
    group(columns.worst, Align2::LEFT_BOTTOM, "outcome in");
    let loudness = if style.compact {
        "LUFS, and LU off the middle"
    } else {
        "LUFS, and how many LU off the set\u{2019}s middle"
    };
    group(columns.figures[3], Align2::RIGHT_BOTTOM, loudness);
    for column in Column::ALL {
        let (x, align) = columns.anchor(column);
        let (full, short, name, tip) = words(column);
        let text = if style.compact { short } else { full };
        let sorted = state.by == column;
        let font = style.label();
        let galley = ui.painter().layout_no_wrap(text.to_owned(), font, colours.faint);
        let place = align.anchor_size(pos2(x, y), galley.size());
        let response = ui.interact(
            place.expand2(vec2(3.0, 2.0)),
            Id::unique(("sort", name)),
            Sense::click(),
        );
        let said = match (sorted, state.falling) {
            (false, _) => format!("sort by {name}"),
            (true, false) => format!("sorted by {name}, rising"),
            (true, true) => format!("sorted by {name}, falling"),
        };
        response.widget_info(|| WidgetInfo::selected(Role::Button, true, sorted, &said));
        let colour = if sorted || response.hovered() {
            colours.ink
        } else {
            colours.faint
        };
        ui.painter()
            .galley_with_override_text_color(place.min, galley, colour);
        if sorted {
            mark(ui, style, place, state.falling);
        }
        focus_mark(ui, style, &response);
        if response.clicked() {
            state.sort(column);
        }
        response.on_hover_text(format!("{tip} Click to sort by it, and again for the other way."));
    }
}

/// Draws a wedge below the heading of the sorted column: it widens in the direction in which the figures grow.
fn mark(ui: &Ui, style: &Style, place: Rect, falling: bool) {
    let y = place.bottom() + style.px(1.0);
    let high = style.px(3.5);
    let (left, right) = if falling { (high, 0.0) } else { (0.0, high) };
    let points = vec![
        pos2(place.left(), y),
        pos2(place.right(), y),
        pos2(place.right(), y - right),
        pos2(place.left(), y - left),
    ];
    ui.painter().add(Shape::convex_polygon(
        points,
        style.colours.ink,
        egui::Stroke::NONE,
    ));
}
