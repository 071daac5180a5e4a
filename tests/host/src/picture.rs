//! Writes pictures atomically.

use std::path::Path;

use png::{BitDepth, ColorType, Compression, Encoder};

/// Writes red, green and blue, row by row from the top left, as a PNG at the highest compression, because stored
/// pictures are kept for ever. The file appears whole or not at all.
///
/// # Errors
/// When the number of bytes doesn't match the size, or the file can't be written: one line.
pub fn write(width: u32, height: u32, rgb: &[u8], path: &Path) -> Result<(), String> {
    let unfinished = path.with_extension("unfinished");
    encoded(width, height, rgb)
        .map_err(|error| error.to_string())
        .and_then(|bytes| std::fs::write(&unfinished, bytes).map_err(|error| error.to_string()))
        .and_then(|()| std::fs::rename(&unfinished, path).map_err(|error| error.to_string()))
        .map_err(|error| format!("cannot write {}: {error}", path.display()))
}

fn encoded(width: u32, height: u32, rgb: &[u8]) -> Result<Vec<u8>, png::EncodingError> {
    let mut bytes = Vec::new();
    let mut encoder = Encoder::new(&mut bytes, width, height);
    encoder.set_color(ColorType::Rgb);
    encoder.set_depth(BitDepth::Eight);
    encoder.set_compression(Compression::High);
    let mut writer = encoder.write_header()?;
    writer.write_image_data(rgb)?;
    writer.finish()?;
    Ok(bytes)
}
