//! The frequency axis shared by the plots: Hz, and the notes of the open strings.

use egui::{Align2, Rect, Ui, pos2};
use sumproof_core::dsp::numbers::to_single;

use crate::canvas::{width_of, write};
use crate::style::Style;
use sumproof_wording::numbers::OPEN_STRINGS;

/// Range drawn, Hz: from the lowest string of a baritone guitar to the upper end of its cabinet.
pub const RANGE_HZ: (f64, f64) = (50.0, 12_000.0);

const FIGURES: [(f64, &str); 6] = [
    (100.0, "100"),
    (200.0, "200"),
    (500.0, "500"),
    (1000.0, "1 kHz"),
    (2000.0, "2"),
    (5000.0, "5"),
];

/// A logarithmic axis between two positions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Axis {
    /// Left end, pixels.
    pub left: f32,
    /// Right end, pixels.
    pub right: f32,
}

impl Axis {
    /// Position of a frequency, Hz; clamped to the ends.
    pub fn x(&self, hz: f64) -> f32 {
        let (least, most) = RANGE_HZ;
        let share = (hz.clamp(least, most) / least).ln() / (most / least).ln();
        self.left + (self.right - self.left) * to_single(share)
    }

    /// The frequency at a position, Hz.
    pub fn hz(&self, x: f32) -> f64 {
        let (least, most) = RANGE_HZ;
        least * (most / least).powf(f64::from((x - self.left) / (self.right - self.left)))
    }

    /// Whether a frequency, Hz, is within the axis.
    pub fn shows(hz: f64) -> bool {
        (RANGE_HZ.0..=RANGE_HZ.1).contains(&hz)
    }

    /// Draws vertical hairlines through `rect` and figures below `base`.
    pub fn draw_hz(&self, ui: &Ui, style: &Style, rect: Rect, base: f32) {
        for (hz, text) in FIGURES {
            let x = self.x(hz);
            ui.painter().vline(x, rect.y_range(), style.hairline());
            write(
                ui,
                pos2(x, base),
                Align2::CENTER_TOP,
                text,
                style.small(),
                style.colours.faint,
            );
        }
    }

    /// Draws the open strings: a short tick each, and as many names as fit, with their baseline at `base`.
    pub fn draw_strings(&self, ui: &Ui, style: &Style, base: f32) {
        let mut free = f32::NEG_INFINITY;
        for (name, hz) in OPEN_STRINGS {
            // The letter is enough for a player; the readout includes the octave.
            let name = &name[..1];
            let x = self.x(hz);
            ui.painter().vline(
                x,
                base..=base + style.px(5.0),
                style.line(1.5, style.colours.soft),
            );
            let half = width_of(ui, name, style.small()) / 2.0;
            if x - half >= free {
                let at = write(
                    ui,
                    pos2(x, base),
                    Align2::CENTER_BOTTOM,
                    name,
                    style.small(),
                    style.colours.soft,
                );
                free = at.right() + 2.0;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_axis_goes_both_ways() {
        let axis = Axis {
            left: 10.0,
            right: 410.0,
        };
        assert_eq!(axis.x(RANGE_HZ.0), 10.0);
        assert!((axis.x(RANGE_HZ.1) - 410.0).abs() < 1e-3);
        for hz in [82.4, 440.0, 5000.0] {
            assert!((axis.hz(axis.x(hz)) / hz - 1.0).abs() < 1e-4);
        }
        assert_eq!(axis.x(1.0), 10.0);
    }
}
