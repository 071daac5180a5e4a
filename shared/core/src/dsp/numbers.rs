//! Numbers made from others that may not fit: seconds times a rate into samples, hertz into bins, doubles into singles.
//!
//! Every conversion is what `as` does, to the bit, and costs nothing else: the part behind the point is cut off, whatever
//! the sign; what is outside the result's range becomes its nearest end, infinities too; NaN becomes 0. Round, `floor` or
//! `ceil` first if something else is wanted. They are here so that a cast with `as` elsewhere is an exception that states
//! its reason. Between signed and unsigned integers of one width, use `cast_signed` and `cast_unsigned`.

/// A number of samples or cells, or a place among them: the whole part, 0 for negative numbers and NaN, `usize::MAX` for
/// larger ones.
///
/// ```
/// use sumproof_core::dsp::numbers::to_index;
///
/// assert_eq!(to_index(0.02 * 44_100.0), 882);
/// assert_eq!(to_index(2.999), 2);
/// assert_eq!([-0.5, -7.0, f64::NEG_INFINITY, f64::NAN].map(to_index), [0; 4]);
/// assert_eq!([1e300, f64::INFINITY].map(to_index), [usize::MAX; 2]);
/// ```
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "cut off and limited, as its comment says"
)]
#[inline(always)]
pub const fn to_index(number: f64) -> usize {
    number as usize
}

/// A count of frames, or of bytes: the whole part, 0 for negative numbers and NaN, `u64::MAX` for larger ones.
///
/// ```
/// use sumproof_core::dsp::numbers::to_frames;
///
/// assert_eq!(to_frames(0.5 * 44_101.0), 22_050);
/// assert_eq!([-0.5, -7.0, f64::NEG_INFINITY, f64::NAN].map(to_frames), [0; 4]);
/// assert_eq!([1e300, f64::INFINITY].map(to_frames), [u64::MAX; 2]);
/// ```
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "cut off and limited, as its comment says"
)]
#[inline(always)]
pub const fn to_frames(number: f64) -> u64 {
    number as u64
}

/// A small count, or a rate in whole hertz: the whole part, 0 for negative numbers and NaN, `u32::MAX` for larger ones.
///
/// ```
/// use sumproof_core::dsp::numbers::to_count;
///
/// assert_eq!(to_count(47_999.9), 47_999);
/// assert_eq!([-0.5, -7.0, f64::NEG_INFINITY, f64::NAN].map(to_count), [0; 4]);
/// assert_eq!([5e9, f64::INFINITY].map(to_count), [u32::MAX; 2]);
/// ```
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "cut off and limited, as its comment says"
)]
#[inline(always)]
pub const fn to_count(number: f64) -> u32 {
    number as u32
}

/// A lag in samples or cells, of either sign: cut off towards 0, 0 for NaN, `isize::MIN` and `isize::MAX` for what is
/// beyond them.
///
/// ```
/// use sumproof_core::dsp::numbers::to_lag;
///
/// assert_eq!([2.9, -2.9, -0.9].map(to_lag), [2, -2, 0]);
/// assert_eq!(to_lag(f64::NAN), 0);
/// assert_eq!([f64::NEG_INFINITY, f64::INFINITY].map(to_lag), [isize::MIN, isize::MAX]);
/// ```
#[allow(
    clippy::cast_possible_truncation,
    reason = "cut off and limited, as its comment says"
)]
#[inline(always)]
pub const fn to_lag(number: f64) -> isize {
    number as isize
}

/// A whole number of either sign: cut off towards 0, 0 for NaN, `i32::MIN` and `i32::MAX` for what is beyond them.
///
/// ```
/// use sumproof_core::dsp::numbers::to_integer;
///
/// assert_eq!([2.9, -2.9, -0.9].map(to_integer), [2, -2, 0]);
/// assert_eq!(to_integer(f64::NAN), 0);
/// assert_eq!([-1e10, f64::INFINITY].map(to_integer), [i32::MIN, i32::MAX]);
/// ```
#[allow(
    clippy::cast_possible_truncation,
    reason = "cut off and limited, as its comment says"
)]
#[inline(always)]
pub const fn to_integer(number: f64) -> i32 {
    number as i32
}

/// A single, for samples on their way out, for stored evidence and for drawing: the nearest one (of two equally near the
/// one with an even last bit), ±∞ from about 3.4e38 on, NaN for NaN. Below the smallest subnormal it is ±0.
///
/// ```
/// use sumproof_core::dsp::numbers::to_single;
///
/// assert_eq!(to_single(0.1), 0.1f32);
/// assert_eq!(to_single(1.0 + 2f64.powi(-24)), 1.0);
/// assert_eq!([-1e39, 1e39, 1e-60].map(to_single), [f32::NEG_INFINITY, f32::INFINITY, 0.0]);
/// assert!(to_single(f64::NAN).is_nan());
/// ```
#[allow(clippy::cast_possible_truncation, reason = "rounded, as its comment says")]
#[inline(always)]
pub const fn to_single(number: f64) -> f32 {
    number as f32
}

/// A small count as a signed number, such as an exponent for `powi`: the same number, `i32::MAX` for larger ones.
///
/// ```
/// use sumproof_core::dsp::numbers::to_signed;
///
/// assert_eq!(to_signed(4096), 4096);
/// assert_eq!(to_signed(usize::MAX), i32::MAX);
/// ```
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_possible_wrap,
    reason = "limited to the result's range before"
)]
#[inline(always)]
pub const fn to_signed(number: usize) -> i32 {
    if number > i32::MAX as usize {
        i32::MAX
    } else {
        number as i32
    }
}

/// Place of the entry number `count` in a ring of `len` entries that are written in turn.
///
/// # Panics
/// If `len` is 0.
///
/// ```
/// use sumproof_core::dsp::numbers::ring_place;
///
/// assert_eq!([0, 6, 7, 15].map(|count| ring_place(count, 7)), [0, 6, 0, 1]);
/// ```
#[allow(clippy::cast_possible_truncation, reason = "the remainder is below `len`")]
#[inline(always)]
pub const fn ring_place(count: u64, len: usize) -> usize {
    (count % len as u64) as usize
}

/// How many entries a ring of `len` holds after `count` have been written.
///
/// ```
/// use sumproof_core::dsp::numbers::ring_filled;
///
/// assert_eq!([0, 6, 7, u64::MAX].map(|count| ring_filled(count, 7)), [0, 6, 7, 7]);
/// ```
#[allow(
    clippy::cast_possible_truncation,
    reason = "smaller than `len` where it is cast"
)]
#[inline(always)]
pub const fn ring_filled(count: u64, len: usize) -> usize {
    if count < len as u64 { count as usize } else { len }
}

/// Place of a lag of either sign in a circular array of `len` values, such as a correlation from a transform: lag 0 comes
/// first, lag −1 last.
///
/// # Panics
/// If `len` is 0.
///
/// ```
/// use sumproof_core::dsp::numbers::circular_place;
///
/// assert_eq!([0, 3, 8, -1, -8, -9].map(|lag| circular_place(lag, 8)), [0, 3, 0, 7, 0, 7]);
/// ```
#[inline(always)]
pub const fn circular_place(lag: isize, len: usize) -> usize {
    lag.rem_euclid(len.cast_signed()).cast_unsigned()
}
