//! Comparison of pictures with stored ones.

use std::path::{Path, PathBuf};

use image::RgbaImage;

/// Tolerance of a pixel's channel, of 255.
const PIXEL_TOLERANCE: u8 = 24;
/// Largest share of different pixels. The FFT behind signals and spectra selects its kernels by processor, so a figure
/// on the edge of rounding may differ in the last digit; a missing row or a moved part changes far more pixels.
const SHARE_TOLERANCE: f64 = 0.002;

/// The difference of two pictures.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Difference {
    /// Share of pixels beyond the tolerance of a pixel, 0 to 1.
    pub share: f64,
    /// Whether that's within the tolerance.
    pub within: bool,
}

/// Compares two pictures; of different sizes, they differ everywhere.
pub fn difference(a: &RgbaImage, b: &RgbaImage) -> Difference {
    if a.dimensions() != b.dimensions() {
        return Difference {
            share: 1.0,
            within: false,
        };
    }
    let off = a
        .pixels()
        .zip(b.pixels())
        .filter(|(a, b)| a.0.iter().zip(b.0).any(|(&a, b)| a.abs_diff(b) > PIXEL_TOLERANCE))
        .count();
    let share = off as f64 / a.pixels().len().max(1) as f64;
    Difference {
        share,
        within: share <= SHARE_TOLERANCE,
    }
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("golden")
}

/// Writes a picture, without alpha because the window is opaque.
///
/// # Errors
/// When it can't be written there.
pub fn write(picture: &RgbaImage, path: &Path) -> Result<(), String> {
    let opaque = image::DynamicImage::ImageRgba8(picture.clone()).into_rgb8();
    sumproof_host::picture::write(opaque.width(), opaque.height(), &opaque, path)
}

/// Compares a picture with `tests/golden/NAME.png`. With `UPDATE_GOLDEN=1` in the environment it replaces the stored
/// one if they differ.
///
/// # Errors
/// When there's no such picture, or it can't be read, or they differ by more than the tolerance: then the new one is
/// written to `target/golden/NAME.png` for inspection.
pub fn compare_with_golden(name: &str, picture: &RgbaImage) -> Result<(), String> {
    let stored = folder().join(format!("{name}.png"));
    let update = std::env::var_os("UPDATE_GOLDEN").is_some_and(|value| value == "1");
    let why = match image::open(&stored) {
        Err(error) => format!("cannot read {}: {error}", stored.display()),
        Ok(golden) => {
            let difference = difference(&golden.to_rgba8(), picture);
            if difference.within {
                return Ok(());
            }
            format!(
                "{name} differs from {} in {:.2} % of its pixels",
                stored.display(),
                difference.share * 100.0
            )
        }
    };
    if update {
        return write(picture, &stored);
    }
    let target = Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/golden");
    let new = target.join(format!("{name}.png"));
    std::fs::create_dir_all(&target)
        .map_err(|error| error.to_string())
        .and_then(|()| write(picture, &new))
        .map_err(|error| format!("{why}; and the new one can't be written: {error}"))?;
    Err(format!(
        "{why}; the new one is {}. Look at it; if it's right, run the test again with UPDATE_GOLDEN=1",
        new.display()
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::Rgba;

    #[test]
    fn small_differences_pass_and_a_missing_word_does_not() {
        let plain = RgbaImage::from_pixel(100, 100, Rgba([200, 200, 200, 255]));
        let mut other = RgbaImage::from_pixel(100, 100, Rgba([220, 200, 200, 255]));
        assert!(difference(&plain, &other).within);
        for x in 0..21 {
            other.put_pixel(x, 0, Rgba([0, 0, 0, 255]));
        }
        assert!(!difference(&plain, &other).within);
        assert_eq!(difference(&plain, &RgbaImage::new(100, 99)).share, 1.0);
    }
}
