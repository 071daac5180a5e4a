//! The sum difference over frequency: stereo is the zero line.

use egui::{Align2, Id, Pos2, Rect, Role, Sense, Shape, Stroke, Ui, WidgetInfo, pos2, vec2};
use sumproof_core::dsp::numbers::to_single;
use sumproof_core::routing::feed::FeedId;
use sumproof_core::routing::line::Polarity;
use sumproof_core::session::reading::Reading;

use crate::board::{full_name, row_name};
use crate::canvas::{Sheet, width_of, write};
use crate::plots::axis::Axis;
use crate::style::Style;
use sumproof_wording::numbers::{decibels, hertz, note};
use sumproof_wording::scores::at_least_down;

/// The plot's scale, dB.
const SCALE_DB: (f32, f32) = (-30.0, 6.0);
/// Bands this far below the loudest one say little, dB.
const QUIET_DB: f32 = -30.0;

/// Whether a frequency, Hz, lies in a band that is loud enough to count.
fn is_heard(reading: &Reading, hz: f32, loudest_db: f32) -> bool {
    reading.bands[..reading.band_count]
        .iter()
        .any(|band| (band.lower_hz..band.upper_hz).contains(&hz) && band.level_db >= loudest_db + QUIET_DB)
}

/// Draws the plot with its headings.
pub fn curves(ui: &Ui, sheet: &Sheet<'_>, rect: Rect, axis: &Axis) {
    let style = sheet.style;
    let colours = style.colours;
    let reading = &sheet.snapshot.reading;
    let label = style.label().size;
    let small = style.small().size;
    let chosen = reading.selected;
    heading(ui, &style, rect, chosen, row_name(sheet.snapshot, chosen));
    let strings_base = rect.top() + label * 1.35 + small * 1.3;
    axis.draw_strings(ui, &style, strings_base);
    let plot = Rect::from_min_max(
        pos2(axis.left, strings_base + style.px(5.0)),
        pos2(axis.right, rect.bottom() - small * 1.35),
    );
    axis.draw_hz(ui, &style, plot, plot.bottom());
    let y = |db: f32| {
        plot.top()
            + plot.height() * (SCALE_DB.1 - db.clamp(SCALE_DB.0, SCALE_DB.1)) / (SCALE_DB.1 - SCALE_DB.0)
    };
    scale(ui, &style, plot, y);
    let response = ui.interact(plot, Id::unique("sum difference"), Sense::hover());
    response.widget_info(|| {
        WidgetInfo::labeled(
            Role::Image,
            true,
            format!(
                "sum difference over frequency of {}: dry, wet and both, stereo is the zero line",
                full_name(sheet.snapshot, chosen)
            ),
        )
    });
    if reading.row(FeedId::MonoWedge).score.is_none() {
        write(
            ui,
            plot.center(),
            Align2::CENTER_CENTER,
            "no reading",
            style.label(),
            colours.faint,
        );
        return;
    }
    notches(ui, &style, reading, axis, plot);
    let loudest = reading.bands[..reading.band_count]
        .iter()
        .map(|band| band.level_db)
        .fold(f32::NEG_INFINITY, f32::max);
    let pen = Pen {
        ui,
        style: &style,
        reading,
        axis,
        loudest_db: loudest,
        y: &y,
    };
    lines(&pen, chosen, plot);
    if let Some(at) = response.hover_pos() {
        readout(ui, &style, reading, axis, plot, at);
    }
}

/// Draws the level lines and their figures.
fn scale(ui: &Ui, style: &Style, plot: Rect, y: impl Fn(f32) -> f32) {
    let colours = style.colours;
    for (db, text) in [(0.0, "0"), (-10.0, "\u{2212}10"), (-20.0, "\u{2212}20")] {
        let stroke = if db == 0.0 {
            Stroke::new(1.0, colours.soft)
        } else {
            style.hairline()
        };
        ui.painter().hline(plot.x_range(), y(db), stroke);
        let at = pos2(plot.left() - style.px(6.0), y(db));
        write(ui, at, Align2::RIGHT_CENTER, text, style.small(), colours.faint);
    }
}

/// Draws the curves of the chosen feed over those of the wedge.
fn lines(pen: &Pen<'_>, chosen: FeedId, plot: Rect) {
    let Pen { style, reading, .. } = pen;
    let colours = style.colours;
    let floor = floor_db(reading);
    // If the wet's figure is unknown, a curve would rest on an assumption.
    let known = |id: FeedId| reading.row(id).score.is_some_and(|score| score.wet_db.is_some());
    if chosen != FeedId::MonoWedge {
        let wedge = &reading.wedge_curves;
        pen.line(&wedge.dry_db, style.line(1.3, colours.dry), true, floor);
        if known(FeedId::MonoWedge) {
            pen.line(&wedge.wet_db, style.line(1.3, colours.wet), true, None);
        }
    }
    let selected = &reading.selected_curves;
    pen.line(&selected.total_db, style.line(1.2, colours.soft), false, None);
    if known(chosen) {
        pen.line(&selected.wet_db, style.line(2.0, colours.wet), false, None);
    }
    let below = pen.line(&selected.dry_db, style.line(2.0, colours.dry), false, floor);
    if let (Some(x), Some(floor)) = (below, floor) {
        // Written once, where the line below the floor begins: an estimate can't tell how far down the dry really is.
        let text = at_least_down(f64::from(floor));
        let width = width_of(pen.ui, &text, style.small());
        let at = pos2(
            x.min(plot.right() - width).max(plot.left()),
            (pen.y)(floor) + style.px(3.0),
        );
        write(pen.ui, at, Align2::LEFT_TOP, &text, style.small(), colours.dry);
    }
}

fn heading(ui: &Ui, style: &Style, rect: Rect, chosen: FeedId, name: &str) {
    let colours = style.colours;
    let mut x = rect.left();
    let mut say = |text: &str, colour| {
        let at = write(
            ui,
            pos2(x, rect.top()),
            Align2::LEFT_TOP,
            text,
            style.label(),
            colour,
        );
        x = at.right();
    };
    say("against stereo: ", colours.faint);
    say(name, colours.ink);
    say("   dry", colours.dry);
    say(" wet", colours.wet_text);
    let dashed = "   dashed: wedge";
    if chosen != FeedId::MonoWedge && rect.right() - x > width_of(ui, dashed, style.label()) {
        write(
            ui,
            pos2(x, rect.top()),
            Align2::LEFT_TOP,
            dashed,
            style.label(),
            colours.faint,
        );
    }
}

/// How far down a cancelled dry can be measured, dB; anything below is drawn as a row of dots at this height.
fn floor_db(reading: &Reading) -> Option<f32> {
    reading.method.floor_db().map(to_single)
}

/// Style of a piece of a curve.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Piece {
    /// Drawn normally.
    Plain,
    /// In a quiet band: thin and faint.
    Faint,
    /// Somewhere below the floor: dots, as on the board.
    Below,
}

/// Drawing context for curves.
struct Pen<'a> {
    ui: &'a Ui,
    style: &'a Style,
    reading: &'a Reading,
    axis: &'a Axis,
    loudest_db: f32,
    y: &'a dyn Fn(f32) -> f32,
}

impl Pen<'_> {
    /// Draws a curve and returns the position where it first goes below the floor.
    fn line(&self, values: &[f32], stroke: Stroke, dashed: bool, floor_db: Option<f32>) -> Option<f32> {
        let mut points: Vec<Pos2> = Vec::with_capacity(self.reading.curve_points);
        let mut before = Piece::Plain;
        let mut below = None;
        for (&hz, &db) in self.reading.curve_hz[..self.reading.curve_points]
            .iter()
            .zip(values)
        {
            if db.is_nan() || !Axis::shows(f64::from(hz)) {
                self.draw(&mut points, before, stroke, dashed);
                points.clear();
                continue;
            }
            let x = self.axis.x(f64::from(hz));
            let (piece, db) = match floor_db {
                _ if !is_heard(self.reading, hz, self.loudest_db) => {
                    (Piece::Faint, floor_db.map_or(db, |floor| db.max(floor)))
                }
                Some(floor) if db < floor => (Piece::Below, floor),
                _ => (Piece::Plain, db),
            };
            if piece == Piece::Below && below.is_none() {
                below = Some(x);
            }
            if piece != before {
                self.draw(&mut points, before, stroke, dashed);
                before = piece;
            }
            points.push(pos2(x, (self.y)(db)));
        }
        self.draw(&mut points, before, stroke, dashed);
        below
    }

    /// Draws a piece; the next one begins where it ended.
    fn draw(&self, points: &mut Vec<Pos2>, piece: Piece, stroke: Stroke, dashed: bool) {
        let keep = points.last().copied();
        let taken = std::mem::take(points);
        points.extend(keep);
        if taken.len() < 2 {
            return;
        }
        let painter = self.ui.painter();
        let px = |at_default| self.style.px(at_default);
        match piece {
            Piece::Faint => {
                let faint = Stroke::new(1.0, stroke.color.gamma_multiply(0.35));
                painter.add(Shape::line(taken, faint));
            }
            Piece::Below => painter.extend(Shape::dashed_line(&taken, stroke, px(2.5), px(3.5))),
            Piece::Plain if dashed => painter.extend(Shape::dashed_line(&taken, stroke, px(4.0), px(4.0))),
            Piece::Plain => {
                painter.add(Shape::line(taken, stroke));
            }
        }
    }
}

/// Notch frequencies of a mono sum for the delay found between the channels, Hz: odd multiples of 1/2τ, or multiples of
/// 1/τ when one channel is flipped.
fn notch_hz(delay_s: f64, polarity: Polarity) -> impl Iterator<Item = f64> {
    let step = 1.0 / delay_s.abs();
    let first = match polarity {
        Polarity::Normal => 0.5,
        Polarity::Flipped => 1.0,
    };
    (0..400).map(move |k| step * (first + f64::from(k)))
}

/// A shorter delay has its first notch above a guitar's range, s.
const SHORTEST_DELAY_S: f64 = 0.000_03;

fn notches(ui: &Ui, style: &Style, reading: &Reading, axis: &Axis, plot: Rect) {
    let Some(delay) = reading
        .delay
        .filter(|delay| delay.delay_s.abs() >= SHORTEST_DELAY_S)
    else {
        return;
    };
    let mut before = f32::NEG_INFINITY;
    for hz in notch_hz(delay.delay_s, delay.polarity).take_while(|&hz| Axis::shows(hz) || hz < 50.0) {
        let x = axis.x(hz);
        // Crowded notches are a comb: no single one can be made out.
        if !Axis::shows(hz) || x - before < style.px(3.0) {
            continue;
        }
        before = x;
        let base = plot.bottom();
        ui.painter().add(Shape::convex_polygon(
            vec![
                pos2(x, base - style.px(9.0)),
                pos2(x + style.px(3.0), base),
                pos2(x - style.px(3.0), base),
            ],
            style.colours.soft,
            Stroke::NONE,
        ));
    }
}

fn readout(ui: &Ui, style: &Style, reading: &Reading, axis: &Axis, plot: Rect, at: Pos2) {
    let colours = style.colours;
    let hz = axis.hz(at.x);
    let Some((index, _)) = reading.curve_hz[..reading.curve_points]
        .iter()
        .enumerate()
        .min_by(|a, b| {
            let off = |x: &f32| (f64::from(*x) / hz).ln().abs();
            off(a.1).total_cmp(&off(b.1))
        })
    else {
        return;
    };
    ui.painter()
        .vline(at.x, plot.y_range(), Stroke::new(1.0, colours.ink));
    let note = note(hz).map_or_else(String::new, |(name, cents)| {
        if cents == 0 {
            format!(", {name}")
        } else {
            format!(", {name} {cents:+} cents").replace('-', "\u{2212}")
        }
    });
    let value = |values: &[f32], floor: Option<f32>| {
        let db = values[index];
        match floor {
            _ if db.is_nan() => String::from("–"),
            Some(floor) if db < floor => format!("at least {:.0} down", -floor),
            _ => decibels(f64::from(db)),
        }
    };
    let curves = &reading.selected_curves;
    let lines = [
        format!("{}{note}", hertz(hz)),
        format!(
            "dry {}  wet {}",
            value(&curves.dry_db, floor_db(reading)),
            value(&curves.wet_db, None)
        ),
    ];
    beside(ui, style, plot, at, &lines);
}

/// Draws lines of text beside a point of the plot, on a ground of their own.
fn beside(ui: &Ui, style: &Style, plot: Rect, at: Pos2, lines: &[String; 2]) {
    let colours = style.colours;
    let width = lines
        .iter()
        .map(|line| width_of(ui, line, style.small()))
        .fold(0.0, f32::max);
    let height = style.small().size * 1.3;
    let left = if at.x + width + style.px(16.0) > plot.right() {
        at.x - width - style.px(10.0)
    } else {
        at.x + style.px(10.0)
    };
    let corner = pos2(left, plot.bottom() - height * 2.0 - style.px(10.0));
    ui.painter().rect_filled(
        Rect::from_min_size(corner, vec2(width, height * 2.0)).expand(style.px(4.0)),
        0.0,
        colours.ground,
    );
    for (n, line) in lines.iter().enumerate() {
        write(
            ui,
            corner + vec2(0.0, height * n as f32),
            Align2::LEFT_TOP,
            line,
            style.small(),
            colours.ink,
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn notches_lie_where_the_comb_has_them() {
        let normal: Vec<f64> = notch_hz(0.001, Polarity::Normal).take(3).collect();
        assert_eq!(normal, [500.0, 1500.0, 2500.0]);
        let flipped: Vec<f64> = notch_hz(-0.001, Polarity::Flipped).take(3).collect();
        assert_eq!(flipped, [1000.0, 2000.0, 3000.0]);
    }
}
