//! The policy for samples no measurement may believe.
//!
//! * *Garbage* is a sample that is not finite or lies above +60 dBFS (|x| > 1000): a crashed plugin, a broken driver. It
//!   is passed on as it came, counted, and kept out of every average: a frame is garbage when either channel is.
//! * *Subnormals* and everything below [`TINY`] are passed on as they came and measured as zero, so that no filter state
//!   decays into the range where processors slow down.

/// +60 dBFS: the largest magnitude that is believed.
pub const GARBAGE_ABOVE: f32 = 1000.0;

/// −600 dBFS: magnitudes below are zero to every measurement.
pub const TINY: f32 = 1e-30;

/// Whether a frame is believed: both samples finite and not above +60 dBFS.
#[must_use]
#[inline]
pub fn is_sound(left: f32, right: f32) -> bool {
    // NaN fails every comparison, so this one covers all three cases.
    left.abs() <= GARBAGE_ABOVE && right.abs() <= GARBAGE_ABOVE
}

/// A sample as filters and meters take it: garbage and the inaudibly small become zero.
#[must_use]
#[inline]
pub fn measured(sample: f32) -> f32 {
    let magnitude = sample.abs();
    if (TINY..=GARBAGE_ABOVE).contains(&magnitude) {
        sample
    } else {
        0.0
    }
}

/// The magnitude's bits as a whole number: ordered as the magnitudes are, with infinity and what is no number above all.
/// Comparing these costs the same whatever is compared; a processor may take a hundredfold for a subnormal float.
#[inline]
fn magnitude_bits(sample: f32) -> i32 {
    (sample.to_bits() & 0x7fff_ffff).cast_signed()
}

/// Writes what filters and meters take of `block` ([`measured`]) to `out`, as many samples as the shorter has, and says
/// whether none of them was garbage. The same cost whatever the samples are.
#[inline]
pub fn measure_block(block: &[f32], out: &mut [f32]) -> bool {
    let (least, most) = (magnitude_bits(TINY), magnitude_bits(GARBAGE_ABOVE));
    let mut room = 0;
    for (out, &sample) in out.iter_mut().zip(block) {
        let magnitude = magnitude_bits(sample);
        // The sign of the room is set where there is none.
        room |= most - magnitude;
        let believed = magnitude >= least && magnitude <= most;
        *out = f32::from_bits(if believed { sample.to_bits() } else { 0 });
    }
    room >= 0
}

/// A filter state with the inaudibly small taken off; non-finite states (which sound input cannot make) are cleared too.
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
    fn garbage_is_found_in_either_channel() {
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 1e30, -1000.1] {
            assert!(!is_sound(bad, 0.0) && !is_sound(0.0, bad));
            assert_eq!(measured(bad), 0.0);
        }
        assert!(is_sound(-1000.0, 1000.0));
        assert_eq!(measured(0.25), 0.25);
        assert_eq!(measured(f32::from_bits(1)), 0.0);
        // A block is the same, whatever is in it.
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
                assert_eq!(sound, block.iter().all(|&sample| is_sound(sample, sample)));
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
