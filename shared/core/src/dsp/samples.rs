//! The policy for invalid samples and subnormals.
//!
//! * *Invalid* is a sample that is not finite or lies above +60 dBFS (|x| > 1000): a crashed plugin, a broken driver.
//!   It is passed on as it came, counted, and kept out of every average: a frame is invalid when either channel is.
//! * *Subnormals* and everything below [`TINY`] are passed on as they came and measured as zero, so that no filter
//!   state decays into the range where processors slow down.

use multiversion::multiversion;

use crate::dsp::numbers::to_single;

/// +60 dBFS: the largest magnitude that is believed.
pub const INVALID_ABOVE: f32 = 1000.0;

/// −600 dBFS: magnitudes below are zero to every measurement.
pub const TINY: f32 = 1e-30;

/// Whether a frame is valid: both samples finite and not above +60 dBFS.
#[must_use]
#[inline]
pub fn is_valid(left: f32, right: f32) -> bool {
    // NaN fails every comparison, so this one covers all three cases.
    left.abs() <= INVALID_ABOVE && right.abs() <= INVALID_ABOVE
}

/// Whether all frames are valid (as many as the shorter slice has).
#[must_use]
pub fn all_valid(left: &[f32], right: &[f32]) -> bool {
    // No early exit at the first invalid one: that lets the compiler vectorise.
    left.iter()
        .zip(right)
        .fold(true, |all, (&l, &r)| all & is_valid(l, r))
}

/// A sample as filters and meters take it: invalid ones and those below [`TINY`] become zero.
#[must_use]
#[inline]
pub fn measured(sample: f32) -> f32 {
    let magnitude = sample.abs();
    if (TINY..=INVALID_ABOVE).contains(&magnitude) {
        sample
    } else {
        0.0
    }
}

/// The magnitude's bits as an integer: ordered as the magnitudes are, with infinity and NaN above all. Comparing these
/// always costs the same; comparing a subnormal float may take a processor a hundred times as long.
#[inline]
fn magnitude_bits(sample: f32) -> i32 {
    (sample.to_bits() & 0x7fff_ffff).cast_signed()
}

/// Writes the samples of `block` as filters and meters take them ([`measured`]) to `out`, as many as the shorter has,
/// and returns whether all of them are valid. The cost doesn't depend on the samples.
#[inline]
pub fn measure_block(block: &[f32], out: &mut [f32]) -> bool {
    let (least, most) = (magnitude_bits(TINY), magnitude_bits(INVALID_ABOVE));
    let mut room = 0;
    for (out, &sample) in out.iter_mut().zip(block) {
        let magnitude = magnitude_bits(sample);
        // `room` turns negative at the first sample above the limit.
        room |= most - magnitude;
        let believed = magnitude >= least && magnitude <= most;
        *out = f32::from_bits(if believed { sample.to_bits() } else { 0 });
    }
    room >= 0
}

/// The most frames in a [`Run`].
pub const LONGEST_RUN: usize = 512;

/// Frames as measurements take them, in double precision: all of them valid, or all of them invalid and zero.
#[derive(Clone, Copy, Debug)]
pub struct Run<'a> {
    /// The left channel, at most [`LONGEST_RUN`] frames.
    pub left: &'a [f64],
    /// The right channel, as many.
    pub right: &'a [f64],
    /// Whether these frames are valid.
    pub sound: bool,
}

/// Writes samples into a ring from `place` on (taken modulo the ring's length), as NaN if they are invalid (`sound` is
/// false).
///
/// # Panics
/// If the ring is empty.
pub(crate) fn keep(ring: &mut [f32], place: usize, samples: &[f64], sound: bool) {
    let len = ring.len();
    let (mut at, mut samples) = (place % len, samples);
    while !samples.is_empty() {
        let now;
        (now, samples) = samples.split_at(samples.len().min(len - at));
        let kept = &mut ring[at..at + now.len()];
        if sound {
            narrow(now, kept);
        } else {
            kept.fill(f32::NAN);
        }
        at = 0;
    }
}

/// Rounds samples to single precision.
#[multiversion(targets("x86_64+avx"))]
fn narrow(samples: &[f64], out: &mut [f32]) {
    let count = out.len();
    let samples = &samples[..count];
    for n in 0..count {
        out[n] = to_single(samples[n]);
    }
}

impl Run<'_> {
    /// How many frames.
    #[must_use]
    pub fn len(&self) -> usize {
        self.left.len()
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.left.is_empty()
    }
}

/// Cuts frames into [`Run`]s, so validity is judged once for all measurements. Does not allocate.
#[derive(Clone, Debug)]
pub struct Cleaner {
    left: [f64; LONGEST_RUN],
    right: [f64; LONGEST_RUN],
}

impl Default for Cleaner {
    fn default() -> Self {
        Self {
            left: [0.0; LONGEST_RUN],
            right: [0.0; LONGEST_RUN],
        }
    }
}

impl Cleaner {
    /// Calls `on_run` with all frames (as many as the shorter slice has), in order and each once.
    pub fn runs<S: Copy + Into<f64>>(&mut self, left: &[S], right: &[S], mut on_run: impl FnMut(&Run<'_>)) {
        let frames = left.len().min(right.len());
        for begin in (0..frames).step_by(LONGEST_RUN) {
            let range = begin..frames.min(begin + LONGEST_RUN);
            self.chunk(&left[range.clone()], &right[range], &mut on_run);
        }
    }

    fn chunk<S: Copy + Into<f64>>(&mut self, left: &[S], right: &[S], on_run: &mut impl FnMut(&Run<'_>)) {
        let frames = left.len();
        let (clean_left, clean_right) = (&mut self.left[..frames], &mut self.right[..frames]);
        let all_valid = take(left, clean_left) & take(right, clean_right);
        let is_valid = |n: usize| is_believed(left[n].into()) && is_believed(right[n].into());
        let mut begin = 0;
        while begin < frames {
            let sound = all_valid || is_valid(begin);
            let end = if all_valid {
                frames
            } else {
                (begin..frames).find(|&n| is_valid(n) != sound).unwrap_or(frames)
            };
            if !sound {
                clean_left[begin..end].fill(0.0);
                clean_right[begin..end].fill(0.0);
            }
            on_run(&Run {
                left: &clean_left[begin..end],
                right: &clean_right[begin..end],
                sound,
            });
            begin = end;
        }
    }
}

/// Copies a channel's samples, those below [`TINY`] as zero. Returns whether all are valid. No early exit at the first
/// invalid one: that lets the compiler vectorise.
#[multiversion(targets("x86_64+avx"))]
fn take<S: Copy + Into<f64>>(samples: &[S], out: &mut [f64]) -> bool {
    let mut believed = true;
    for (out, &sample) in out.iter_mut().zip(samples) {
        let sample: f64 = sample.into();
        believed &= is_believed(sample);
        *out = if sample.abs() >= f64::from(TINY) {
            sample
        } else {
            0.0
        };
    }
    believed
}

fn is_believed(sample: f64) -> bool {
    sample.abs() <= f64::from(INVALID_ABOVE)
}

/// A filter state, set to zero if it is below [`TINY`]; non-finite states (which valid input cannot cause) are cleared
/// too.
#[must_use]
#[inline]
pub fn settled(state: f64) -> f64 {
    let magnitude = state.abs();
    if magnitude >= f64::from(TINY) && magnitude.is_finite() {
        state
    } else {
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_are_the_frames_with_the_invalid_apart() {
        let mut left: Vec<f32> = (0..2000).map(|n| 0.25 + n as f32 / 4000.0).collect();
        let mut right: Vec<f32> = left.iter().map(|x| -x).collect();
        for n in [0, 1, 700, 701, 702, 1023, 1024, 1999] {
            if n % 2 == 0 {
                left[n] = f32::NAN;
            } else {
                right[n] = 1e30;
            }
        }
        right[30] = 1e-35;
        let mut seen = 0;
        Cleaner::default().runs(&left, &right, |run| {
            assert!(!run.is_empty() && run.len() <= LONGEST_RUN);
            for (&l, &r) in run.left.iter().zip(run.right) {
                assert_eq!(run.sound, is_valid(left[seen], right[seen]), "{seen}");
                let expected = |x: f32| if run.sound { f64::from(measured(x)) } else { 0.0 };
                assert_eq!((l, r), (expected(left[seen]), expected(right[seen])), "{seen}");
                seen += 1;
            }
        });
        assert_eq!(seen, 2000);
        assert!(all_valid(&left[2..700], &right[2..700]) && !all_valid(&left[..9], &right));
    }

    #[test]
    fn invalid_is_found_in_either_channel() {
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 1e30, -1000.1] {
            assert!(!is_valid(bad, 0.0) && !is_valid(0.0, bad));
            assert_eq!(measured(bad), 0.0);
        }
        assert!(is_valid(-1000.0, 1000.0));
        assert_eq!(measured(0.25), 0.25);
        assert_eq!(measured(f32::from_bits(1)), 0.0);
        // A block gives the same as single samples.
        let odd = [
            0.25,
            f32::NAN,
            -f32::NAN,
            f32::INFINITY,
            1e30,
            -1000.1,
            -1000.0,
            f32::from_bits(1),
            -1e-31,
            TINY,
            -0.0,
        ];
        for end in 0..=odd.len() {
            for begin in 0..end {
                let block = &odd[begin..end];
                let mut out = [7.0; 11];
                let sound = measure_block(block, &mut out);
                assert_eq!(sound, block.iter().all(|&sample| is_valid(sample, sample)));
                assert!(
                    block
                        .iter()
                        .zip(out)
                        .all(|(&sample, out)| out == measured(sample))
                );
            }
        }
        assert_eq!(settled(f64::NAN), 0.0);
        assert_eq!(settled(1e-31), 0.0);
        assert_eq!(settled(-0.5), -0.5);
    }
}
