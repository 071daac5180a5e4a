//! Pictures as PNG: the SVG of [`crate::formats::picture`], rasterised.

use std::sync::{Arc, OnceLock};

use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree, fontdb};

use crate::formats::picture::{Ink, svg};
use crate::judge::judged::Judged;

/// The font of the pictures (SIL Open Font License 1.1).
const FONT: &[u8] = sumproof_fonts::REGULAR;

/// Pixels per px of the SVG, so that it stays sharp in print.
const SCALE: f32 = 2.0;

/// The picture of a preset on paper, as a PNG file of 1440 by 720 pixels.
///
/// # Errors
/// One line, if it can't be drawn.
pub fn png(preset: &Judged<'_>) -> Result<Vec<u8>, String> {
    rasterised(&svg(preset, &Ink::PAPER)).map_err(|error| {
        format!(
            "the picture of '{}' could not be drawn ({error})",
            preset.take.name
        )
    })
}

fn rasterised(svg: &str) -> Result<Vec<u8>, String> {
    static FONTS: OnceLock<Arc<fontdb::Database>> = OnceLock::new();
    let fonts = FONTS.get_or_init(|| {
        let mut fonts = fontdb::Database::new();
        fonts.load_font_data(FONT.into());
        fonts.set_serif_family("Libertinus Serif");
        Arc::new(fonts)
    });
    let options = Options {
        fontdb: Arc::clone(fonts),
        font_family: "Libertinus Serif".into(),
        ..Options::default()
    };
    let tree = Tree::from_str(svg, &options).map_err(|error| error.to_string())?;
    let size = tree
        .size()
        .to_int_size()
        .scale_by(SCALE)
        .ok_or("it has no size")?;
    let mut pixels = Pixmap::new(size.width(), size.height()).ok_or("it is too large")?;
    resvg::render(&tree, Transform::from_scale(SCALE, SCALE), &mut pixels.as_mut());
    pixels.encode_png().map_err(|error| error.to_string())
}
