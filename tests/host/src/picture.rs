//! Pictures to disk, whole or not at all.

use image::RgbaImage;
use image::codecs::png::{CompressionType, FilterType, PngEncoder};
use std::path::Path;

/// Writes a picture as small as PNG makes it: the window is opaque, and the stored pictures are kept for ever. It appears
/// whole or not at all.
///
/// # Errors
/// When it can't be written there.
pub fn write(picture: &RgbaImage, path: &Path) -> Result<(), String> {
    let opaque = image::DynamicImage::ImageRgba8(picture.clone()).into_rgb8();
    let mut bytes = Vec::new();
    let encoder = PngEncoder::new_with_quality(&mut bytes, CompressionType::Best, FilterType::Adaptive);
    let unfinished = path.with_extension("unfinished");
    opaque
        .write_with_encoder(encoder)
        .map_err(|error| error.to_string())
        .and_then(|()| std::fs::write(&unfinished, &bytes).map_err(|error| error.to_string()))
        .and_then(|()| std::fs::rename(&unfinished, path).map_err(|error| error.to_string()))
        .map_err(|error| format!("cannot write {}: {error}", path.display()))
}
