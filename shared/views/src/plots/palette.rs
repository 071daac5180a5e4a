//! The colours of a correlation: brown for −1, blue-green for +1.
//!
//! The hues are those of `BrBG`, a diverging scheme its authors mark as safe for colour-blind readers (Harrower &
//! Brewer 2003, ColorBrewer.org, The Cartographic Journal 40(1); eleven classes, values from memory). On paper the
//! middle is light, as published. At night the lightness runs the other way: the middle is dark, and values far from
//! zero still stand out.

use egui::Color32;
use sumproof_core::dsp::numbers::to_index;

use crate::data::look::Theme;

/// `BrBG`, eleven classes, from −1 to +1.
const BRBG: [[u8; 3]; 11] = [
    [0x54, 0x30, 0x05],
    [0x8c, 0x51, 0x0a],
    [0xbf, 0x81, 0x2d],
    [0xdf, 0xc2, 0x7d],
    [0xf6, 0xe8, 0xc3],
    [0xf5, 0xf5, 0xf5],
    [0xc7, 0xea, 0xe5],
    [0x80, 0xcd, 0xc1],
    [0x35, 0x97, 0x8f],
    [0x01, 0x66, 0x5e],
    [0x00, 0x3c, 0x30],
];

/// Its middle at night.
const NIGHT_MIDDLE: [u8; 3] = [0x1b, 0x1b, 0x19];

/// The colour of a correlation, −1 to +1 (clamped), interpolated linearly in sRGB between the classes.
pub fn correlation(theme: Theme, value: f32) -> Color32 {
    let value = if value.is_nan() {
        0.0
    } else {
        value.clamp(-1.0, 1.0)
    };
    let class = |at: usize| match (theme, at) {
        (Theme::Paper, _) => BRBG[at],
        (Theme::Night, 5) => NIGHT_MIDDLE,
        // The dark ends follow the middle first, the light classes last: 4, 3, 2, 1, 0 become 0, 1, 2, 3, 4.
        (Theme::Night, 0..5) => BRBG[4 - at],
        (Theme::Night, _) => BRBG[16 - at],
    };
    let place = (value + 1.0) * 5.0;
    let below = to_index(f64::from(place.floor())).min(9);
    let share = place - below as f32;
    let (a, b) = (class(below), class(below + 1));
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "whole, and between two shades, or at the nearer end of their range"
    )]
    let mix = |n: usize| (f32::from(a[n]) + (f32::from(b[n]) - f32::from(a[n])) * share).round() as u8;
    Color32::from_rgb(mix(0), mix(1), mix(2))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::style::luminance;

    #[test]
    fn the_classes_are_met_and_the_sides_differ() {
        assert_eq!(
            correlation(Theme::Paper, -1.0),
            Color32::from_rgb(0x54, 0x30, 0x05)
        );
        assert_eq!(
            correlation(Theme::Paper, 1.0),
            Color32::from_rgb(0x00, 0x3c, 0x30)
        );
        assert_eq!(
            correlation(Theme::Paper, 0.0),
            Color32::from_rgb(0xf5, 0xf5, 0xf5)
        );
        assert_eq!(correlation(Theme::Night, 9.0), correlation(Theme::Night, 1.0));
    }

    /// In either theme the lightness alone shows how far from zero a value is, for readers who see no hue at all.
    #[test]
    fn lightness_moves_one_way_from_the_middle() {
        for (theme, darker) in [(Theme::Paper, true), (Theme::Night, false)] {
            for sign in [-1.0, 1.0] {
                // The published scheme's first step from the middle changes almost only the hue.
                let steps: Vec<f64> = (0..=4)
                    .map(|n| luminance(correlation(theme, sign * n as f32 / 4.0)))
                    .collect();
                for pair in steps.windows(2) {
                    assert_eq!(pair[1] < pair[0], darker, "{theme:?} {sign} {steps:?}");
                }
            }
        }
    }
}
