//! Ink, paper and type.

use std::sync::Arc;

use egui::{Color32, FontData, FontDefinitions, FontFamily, FontId, Stroke, Visuals};

use crate::data::look::Theme;

/// The colours of a theme. Text is `ink`, `soft`, `faint` or a `*_text` colour, each at least 4.5:1 against `ground`
/// (WCAG 2.2, 1.4.3); lines and marks at least 3:1 (1.4.11). `hairline` carries no meaning and may be weaker.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Colours {
    /// The paper's colour.
    pub ground: Color32,
    /// Strong ink.
    pub ink: Color32,
    /// Weaker ink: figures, labels.
    pub soft: Color32,
    /// The weakest ink that still carries text.
    pub faint: Color32,
    /// Rules.
    pub hairline: Color32,
    /// Dry: the blue of Okabe & Ito 2008 (`#0072B2`), lightened at night.
    pub dry: Color32,
    /// Wet: their orange (`#E69F00`), darkened on paper.
    pub wet: Color32,
    /// 'wet' as a word.
    pub wet_text: Color32,
    /// Colour of 'no reading' in the ribbon.
    pub nothing: Color32,
}

impl Colours {
    /// Ink on paper.
    pub const PAPER: Self = Self {
        ground: Color32::from_rgb(0xf7, 0xf4, 0xec),
        ink: Color32::from_rgb(0x1a, 0x19, 0x15),
        soft: Color32::from_rgb(0x4a, 0x47, 0x3f),
        faint: Color32::from_rgb(0x69, 0x65, 0x5b),
        hairline: Color32::from_rgb(0xc6, 0xc0, 0xb1),
        dry: Color32::from_rgb(0x00, 0x6d, 0xaa),
        wet: Color32::from_rgb(0xc2, 0x72, 0x00),
        wet_text: Color32::from_rgb(0x98, 0x58, 0x00),
        nothing: Color32::from_rgb(0xe3, 0xde, 0xd1),
    };

    /// Ink reversed, for a dark stage.
    pub const NIGHT: Self = Self {
        ground: Color32::from_rgb(0x13, 0x13, 0x11),
        ink: Color32::from_rgb(0xf0, 0xeb, 0xdf),
        soft: Color32::from_rgb(0xc0, 0xba, 0xac),
        faint: Color32::from_rgb(0x96, 0x91, 0x85),
        hairline: Color32::from_rgb(0x45, 0x42, 0x3b),
        dry: Color32::from_rgb(0x4c, 0xa6, 0xe4),
        wet: Color32::from_rgb(0xe6, 0x9f, 0x00),
        wet_text: Color32::from_rgb(0xe6, 0x9f, 0x00),
        nothing: Color32::from_rgb(0x2b, 0x2a, 0x26),
    };

    /// The colours of a theme.
    #[must_use]
    pub fn of(theme: Theme) -> Self {
        match theme {
            Theme::Paper => Self::PAPER,
            Theme::Night => Self::NIGHT,
        }
    }
}

/// The smallest text size, logical pixels. Libertinus has a small x-height, so this is above the 12 asked for.
pub const SMALLEST_TEXT: f32 = 14.0;

/// Colours and sizes for one window size.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Style {
    /// The theme's colours.
    pub colours: Colours,
    /// The theme.
    pub theme: Theme,
    /// Everything grows with the window by this factor; 1 at the default size.
    pub scale: f32,
    /// Whether there is too little room for everything: then one page at a time is shown.
    pub compact: bool,
}

/// The font family for strong words.
pub const STRONG: &str = "strong";
const SLANTED: &str = "slanted";

impl Style {
    /// A length that scales with the window.
    #[must_use]
    pub fn px(&self, at_default: f32) -> f32 {
        at_default * self.scale
    }

    fn text_px(&self, at_default: f32) -> f32 {
        // Multiples of half a pixel keep the number of glyph sizes small while a window is being dragged.
        ((at_default * self.scale).max(SMALLEST_TEXT) * 2.0).round() / 2.0
    }

    /// The sentence.
    #[must_use]
    pub fn sentence(&self) -> FontId {
        let size = if self.compact { 17.0 } else { 27.0 };
        FontId::new(self.text_px(size), FontFamily::Name(STRONG.into()))
    }

    /// An outcome on the board. Like its feed's name it must be readable from a guitarist's seat: at least 11 px
    /// x-height in a window of the default size. The typeface's x-height is 0.43 of its size.
    #[must_use]
    pub fn outcome(&self) -> FontId {
        let size = if self.compact { 18.0 } else { 26.0 };
        FontId::new(self.text_px(size), FontFamily::Name(STRONG.into()))
    }

    /// The name of a feed on the board.
    #[must_use]
    pub fn feed(&self) -> FontId {
        let size = if self.compact { 16.0 } else { 26.0 };
        FontId::new(self.text_px(size), FontFamily::Proportional)
    }

    /// The feed being heard.
    #[must_use]
    pub fn hearing(&self) -> FontId {
        let size = if self.compact { 18.0 } else { 23.0 };
        FontId::new(self.text_px(size), FontFamily::Name(STRONG.into()))
    }

    /// Names and figures.
    #[must_use]
    pub fn body(&self) -> FontId {
        let size = if self.compact { 16.0 } else { 18.0 };
        FontId::new(self.text_px(size), FontFamily::Proportional)
    }

    /// A strong word among names and figures.
    #[must_use]
    pub fn strong(&self) -> FontId {
        FontId::new(self.body().size, FontFamily::Name(STRONG.into()))
    }

    /// Headings and labels.
    #[must_use]
    pub fn label(&self) -> FontId {
        FontId::new(
            self.text_px(if self.compact { 14.5 } else { 16.0 }),
            FontFamily::Name(SLANTED.into()),
        )
    }

    /// Axis figures.
    #[must_use]
    pub fn small(&self) -> FontId {
        FontId::new(self.text_px(14.5), FontFamily::Proportional)
    }

    /// A hairline.
    #[must_use]
    pub fn hairline(&self) -> Stroke {
        Stroke::new(1.0, self.colours.hairline)
    }

    /// A line of that colour; its width scales with the window.
    #[must_use]
    pub fn line(&self, width: f32, colour: Color32) -> Stroke {
        Stroke::new(self.px(width).max(1.0), colour)
    }
}

/// The three cuts of Libertinus Serif (SIL Open Font License 1.1). Its default figures are tabular and lining; a test
/// checks that.
pub fn fonts() -> FontDefinitions {
    let mut fonts = FontDefinitions::default();
    let cuts: [(&str, &[u8], FontFamily); 3] = [
        (
            "Libertinus Serif Regular",
            sumproof_fonts::REGULAR,
            FontFamily::Proportional,
        ),
        (
            "Libertinus Serif Semibold",
            sumproof_fonts::SEMIBOLD,
            FontFamily::Name(STRONG.into()),
        ),
        (
            "Libertinus Serif Italic",
            sumproof_fonts::ITALIC,
            FontFamily::Name(SLANTED.into()),
        ),
    ];
    for (name, bytes, family) in cuts {
        fonts
            .font_data
            .insert(name.into(), Arc::new(FontData::from_static(bytes)));
        fonts.families.entry(family).or_default().insert(0, name.into());
    }
    fonts
}

/// egui's own elements (text fields, tooltips, selections) in our colours, without shadows and round corners.
pub fn visuals(theme: Theme) -> Visuals {
    let colours = Colours::of(theme);
    let mut visuals = match theme {
        Theme::Paper => Visuals::light(),
        Theme::Night => Visuals::dark(),
    };
    visuals.override_text_color = Some(colours.ink);
    visuals.panel_fill = colours.ground;
    visuals.window_fill = colours.ground;
    visuals.extreme_bg_color = colours.ground;
    visuals.text_edit_bg_color = Some(colours.ground);
    visuals.window_stroke = Stroke::new(1.0, colours.soft);
    visuals.popup_shadow = egui::Shadow::NONE;
    visuals.window_shadow = egui::Shadow::NONE;
    visuals.menu_corner_radius = egui::CornerRadius::ZERO;
    visuals.window_corner_radius = egui::CornerRadius::ZERO;
    visuals.selection.bg_fill = colours.hairline;
    visuals.selection.stroke = Stroke::new(1.0, colours.ink);
    visuals
}

/// Relative luminance of a colour (WCAG 2.2, definition of relative luminance).
#[must_use]
pub fn luminance(colour: Color32) -> f64 {
    let linear = |byte: u8| {
        let value = f64::from(byte) / 255.0;
        if value <= 0.040_45 {
            value / 12.92
        } else {
            ((value + 0.055) / 1.055).powf(2.4)
        }
    };
    0.2126 * linear(colour.r()) + 0.7152 * linear(colour.g()) + 0.0722 * linear(colour.b())
}

/// Contrast ratio of two colours, 1 to 21 (WCAG 2.2, definition of contrast ratio).
#[must_use]
pub fn contrast(a: Color32, b: Color32) -> f64 {
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn contrast_is_that_of_the_standard() {
        assert!((contrast(Color32::BLACK, Color32::WHITE) - 21.0).abs() < 1e-9);
        // #767676 is the lightest grey that passes on white: 4.54 (common knowledge, from memory).
        assert!((contrast(Color32::from_rgb(0x76, 0x76, 0x76), Color32::WHITE) - 4.54).abs() < 0.01);
    }

    #[test]
    fn text_and_marks_stand_out_in_both_themes() {
        for theme in [Theme::Paper, Theme::Night] {
            let c = Colours::of(theme);
            for text in [c.ink, c.soft, c.faint, c.dry, c.wet_text] {
                assert!(contrast(text, c.ground) >= 4.5, "{theme:?} {text:?}");
            }
            assert!(contrast(c.wet, c.ground) >= 3.0, "{theme:?} wet");
            assert!(contrast(c.ground, c.ink) >= 7.0);
        }
    }
}
