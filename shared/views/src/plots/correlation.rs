//! Correlation: the present value, the lowest recent one, the values per band, and the last 20 s of these.

use egui::{
    Align2, Color32, ColorImage, Id, Mesh, Rect, Role, Sense, Shape, Stroke, TextureHandle, TextureOptions,
    Ui, WidgetInfo, pos2, vec2,
};
use sumproof_core::dsp::numbers::to_single;
use sumproof_core::session::reading::{BandNow, Reading};
use sumproof_core::spectrum::bands::MAX_THIRDS;

use crate::canvas::{Sheet, width_of, write};
use crate::data::history::{COLUMNS, History};
use crate::data::look::Theme;
use crate::plots::axis::Axis;
use crate::plots::palette;
use crate::style::Style;
use sumproof_wording::numbers;

/// The ribbon's picture, redrawn only when a column was added.
#[derive(Default)]
pub struct Ribbon {
    texture: Option<TextureHandle>,
    made_of: Option<(u64, Theme)>,
}

impl std::fmt::Debug for Ribbon {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Ribbon")
            .field("made_of", &self.made_of)
            .finish_non_exhaustive()
    }
}

impl Ribbon {
    fn texture(&mut self, ui: &Ui, theme: Theme, nothing: Color32, history: &History) -> &TextureHandle {
        let made_of = (history.stamp(), theme);
        let stale = self.made_of != Some(made_of);
        self.made_of = Some(made_of);
        let image = || {
            let mut pixels = Vec::with_capacity(MAX_THIRDS * COLUMNS);
            for age in 0..COLUMNS {
                for band in 0..MAX_THIRDS {
                    pixels.push(
                        history
                            .band(age, band)
                            .map_or(nothing, |value| palette::correlation(theme, value)),
                    );
                }
            }
            ColorImage::new([MAX_THIRDS, COLUMNS], pixels)
        };
        if let Some(texture) = self.texture.as_mut()
            && stale
        {
            texture.set(image(), TextureOptions::NEAREST);
        }
        self.texture.get_or_insert_with(|| {
            ui.ctx()
                .load_texture("correlation ribbon", image(), TextureOptions::NEAREST)
        })
    }
}

/// Draws the correlation's figures, bands and ribbon.
pub fn correlation(ui: &Ui, sheet: &Sheet<'_>, ribbon: &mut Ribbon, rect: Rect, axis: &Axis) {
    let style = sheet.style;
    let head = style.outcome().size * 1.3;
    figures(ui, sheet, Rect::from_min_size(rect.min, vec2(rect.width(), head)));
    let foot = style.small().size * 1.35;
    let rest = rect.height() - head - foot;
    let top = rect.top() + head;
    let bands = Rect::from_min_max(
        pos2(axis.left, top + style.px(4.0)),
        pos2(axis.right, top + (rest * 0.42).max(40.0)),
    );
    per_band(ui, sheet, bands, axis);
    let past = Rect::from_min_max(
        pos2(axis.left, bands.bottom() + style.px(8.0)),
        pos2(axis.right, rect.bottom() - foot),
    );
    history(ui, sheet, ribbon, past, axis);
    key(ui, &style, pos2(axis.left, rect.bottom()), axis.right);
}

fn figures(ui: &Ui, sheet: &Sheet<'_>, rect: Rect) {
    let style = sheet.style;
    let colours = style.colours;
    let history = &sheet.snapshot.history;
    let base = rect.bottom() - style.px(4.0);
    let label = write(
        ui,
        pos2(rect.left(), base),
        Align2::LEFT_BOTTOM,
        "correlation",
        style.label(),
        colours.faint,
    );
    let x = label.right() + style.px(10.0);
    let said = match history.now() {
        Some(now) => numbers::correlation(f64::from(now)),
        None => String::from("no reading"),
    };
    let response = ui.interact(rect, Id::unique("correlation now"), Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Label, true, format!("correlation now: {said}")));
    match history.now() {
        Some(_) => {
            // The figure has a fixed place, so that nothing moves when its sign changes.
            let end = x + width_of(ui, "\u{2212}0.00", style.outcome());
            write(
                ui,
                pos2(end, base + style.px(3.0)),
                Align2::RIGHT_BOTTOM,
                &said,
                style.outcome(),
                colours.ink,
            );
            if let Some(lowest) = history.lowest() {
                write(
                    ui,
                    pos2(end + style.px(18.0), base),
                    Align2::LEFT_BOTTOM,
                    &format!("lowest lately {}", numbers::correlation(f64::from(lowest))),
                    style.body(),
                    colours.soft,
                );
            }
        }
        None => {
            write(
                ui,
                pos2(x, base),
                Align2::LEFT_BOTTOM,
                &said,
                style.label(),
                colours.soft,
            );
        }
    }
    response.on_hover_text(
        "How alike left and right are: +1 the same, 0 nothing in common, \u{2212}1 each the other's negative. It says \
         nothing of levels: a padded line leaves it as it is.",
    );
}

/// Left and right end of a band on the axis; `None` where it lies outside.
fn span(axis: &Axis, band: &BandNow) -> Option<(f32, f32)> {
    let (lower, upper) = (f64::from(band.lower_hz), f64::from(band.upper_hz));
    let seen = upper > crate::plots::axis::RANGE_HZ.0 && lower < crate::plots::axis::RANGE_HZ.1;
    seen.then(|| (axis.x(lower), axis.x(upper)))
}

fn per_band(ui: &Ui, sheet: &Sheet<'_>, rect: Rect, axis: &Axis) {
    let style = sheet.style;
    let colours = style.colours;
    let reading = &sheet.snapshot.reading;
    let zero = rect.center().y;
    let y = |value: f32| zero - value.clamp(-1.0, 1.0) * rect.height() / 2.0;
    scale(ui, &style, rect, y);
    for band in &reading.bands[..reading.band_count] {
        let (Some((left, right)), Some(value)) = (span(axis, band), band.correlation) else {
            continue;
        };
        // A value within twice the spread that unrelated sound has by chance is no finding.
        let sure = value.abs() > 2.0 * band.spread;
        let stroke = if sure {
            style.line(3.0, colours.ink)
        } else {
            style.line(1.0, colours.faint)
        };
        let inset = ((right - left) * 0.14).min(style.px(3.0));
        ui.painter().hline(left + inset..=right - inset, y(value), stroke);
        let middle = (left + right) / 2.0;
        ui.painter().line_segment(
            [pos2(middle, zero), pos2(middle, y(value))],
            Stroke::new(1.0, colours.hairline),
        );
    }
    hint(ui, sheet, rect, axis);
}

/// The lines at +1, 0 and −1.
fn scale(ui: &Ui, style: &Style, rect: Rect, y: impl Fn(f32) -> f32) {
    let colours = style.colours;
    for (value, text) in [(1.0, "+1"), (0.0, "0"), (-1.0, "\u{2212}1")] {
        let stroke = if value == 0.0 {
            Stroke::new(1.0, colours.soft)
        } else {
            style.hairline()
        };
        ui.painter().hline(rect.x_range(), y(value), stroke);
        write(
            ui,
            pos2(rect.left() - style.px(6.0), y(value)),
            Align2::RIGHT_CENTER,
            text,
            style.small(),
            colours.faint,
        );
    }
}

/// Shows the reading of the third-octave band under the pointer.
fn hint(ui: &Ui, sheet: &Sheet<'_>, rect: Rect, axis: &Axis) {
    let reading = &sheet.snapshot.reading;
    let response = ui.interact(rect, Id::unique("correlation per band"), Sense::hover());
    response
        .widget_info(|| WidgetInfo::labeled(Role::Image, true, "correlation of each third of an octave now"));
    if let Some(said) = response
        .hover_pos()
        .and_then(|at| band_at(reading, to_single(axis.hz(at.x))))
    {
        response.on_hover_text_at_pointer(said);
    }
}

/// A band's range and its reading, as text.
fn band_at(reading: &Reading, hz: f32) -> Option<String> {
    let band = reading.bands[..reading.band_count]
        .iter()
        .find(|band| (band.lower_hz..band.upper_hz).contains(&hz))?;
    let value = band.correlation.map_or_else(
        || String::from("no reading"),
        |c| numbers::correlation(f64::from(c)),
    );
    let [lower, upper] = [band.lower_hz, band.upper_hz].map(|hz| numbers::hertz(f64::from(hz)));
    Some(format!("{lower} to {upper}: {value}"))
}

fn history(ui: &Ui, sheet: &Sheet<'_>, ribbon: &mut Ribbon, rect: Rect, axis: &Axis) {
    let style = sheet.style;
    let snapshot = sheet.snapshot;
    let reading = &snapshot.reading;
    ui.painter().rect_filled(rect, 0.0, style.colours.nothing);
    if !snapshot.history.is_empty() {
        let texture = ribbon.texture(ui, style.theme, style.colours.nothing, &snapshot.history);
        let mut mesh = Mesh::with_texture(texture.id());
        for (index, band) in reading.bands[..reading.band_count].iter().enumerate() {
            if let Some((left, right)) = span(axis, band) {
                let u = (index as f32 + 0.5) / MAX_THIRDS as f32;
                mesh.add_rect_with_uv(
                    Rect::from_min_max(pos2(left, rect.top()), pos2(right, rect.bottom())),
                    Rect::from_min_max(pos2(u, 0.0), pos2(u, 1.0)),
                    Color32::WHITE,
                );
            }
        }
        ui.painter().add(Shape::mesh(mesh));
    }
    for (text, align, y) in [
        ("now", Align2::RIGHT_TOP, rect.top()),
        ("\u{2212}20 s", Align2::RIGHT_BOTTOM, rect.bottom()),
    ] {
        write(
            ui,
            pos2(rect.left() - style.px(6.0), y),
            align,
            text,
            style.small(),
            style.colours.faint,
        );
    }
    let response = ui.interact(rect, Id::unique("correlation ribbon"), Sense::hover());
    response.widget_info(|| {
        WidgetInfo::labeled(
            Role::Image,
            true,
            "correlation of each third of an octave over the last 20 seconds, the latest on top",
        )
    });
}

/// Draws the key to the ribbon's colours.
fn key(ui: &Ui, style: &Style, left_bottom: egui::Pos2, right: f32) {
    let colours = style.colours;
    let middle = left_bottom.y - style.small().size * 0.62;
    let say = |x: f32, align: Align2, text: &str| {
        write(ui, pos2(x, middle), align, text, style.small(), colours.faint)
    };
    let mut x = say(left_bottom.x, Align2::LEFT_CENTER, "\u{2212}1").right() + style.px(5.0);
    let height = style.px(9.0);
    let step = style.px(3.5);
    for n in 0..=40 {
        let value = n as f32 / 20.0 - 1.0;
        let cell = Rect::from_min_size(pos2(x, middle - height / 2.0), vec2(step + 0.5, height));
        ui.painter()
            .rect_filled(cell, 0.0, palette::correlation(style.theme, value));
        if n == 20 {
            ui.painter().vline(
                x + step / 2.0,
                middle - height / 2.0 - style.px(3.0)..=middle + height / 2.0 + style.px(3.0),
                Stroke::new(1.0, colours.ink),
            );
        }
        x += step;
    }
    x = say(x + style.px(5.0), Align2::LEFT_CENTER, "+1").right() + style.px(18.0);
    if right - x > style.px(90.0) {
        ui.painter().rect_filled(
            Rect::from_min_size(pos2(x, middle - height / 2.0), vec2(style.px(14.0), height)),
            0.0,
            colours.nothing,
        );
        say(x + style.px(20.0), Align2::LEFT_CENTER, "no reading");
    }
}
