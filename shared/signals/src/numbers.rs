//! Numbers made from others that may not fit, as `core::dsp::numbers` has them: this crate depends on no other one here.

/// A number of samples, or a place among them: the whole part, 0 for negative numbers and NaN, `usize::MAX` for larger
/// ones.
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "cut off and limited, as its comment says"
)]
#[inline(always)]
pub(crate) const fn to_index(number: f64) -> usize {
    number as usize
}

/// A sample of a file: the nearest single, ±∞ from about 3.4e38 on, NaN for NaN.
#[allow(clippy::cast_possible_truncation, reason = "rounded, as its comment says")]
#[inline(always)]
pub(crate) const fn to_single(number: f64) -> f32 {
    number as f32
}

#[cfg(test)]
mod tests {
    use super::{to_index, to_single};

    #[test]
    fn the_whole_part_within_the_range() {
        assert_eq!(
            [0.02 * 44_100.0, 2.999, -0.5, -7.0, f64::NAN].map(to_index),
            [882, 2, 0, 0, 0]
        );
        assert_eq!(
            [f64::NEG_INFINITY, 1e300, f64::INFINITY].map(to_index),
            [0, usize::MAX, usize::MAX]
        );
    }

    #[test]
    fn the_nearest_single() {
        assert_eq!(
            [0.1, 1.0 + 2f64.powi(-24), -1e39].map(to_single),
            [0.1, 1.0, f32::NEG_INFINITY]
        );
        assert!(to_single(f64::NAN).is_nan());
    }
}
