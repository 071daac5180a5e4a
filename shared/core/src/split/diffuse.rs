//! The direct-plus-diffuse model of two channels.
//!
//! `x1 = s + n1`, `x2 = a·s + n2`, all three mutually unrelated, both `n` of equal power (Faller, "Multiple-Loudspeaker
//! Playback of Stereo Signals", JAES 54(11), 2006). The powers follow from the eigenvalues of the channels' 2×2
//! covariance, which needs no division by the cross term.

/// The diffuse power in *each* channel: the smaller eigenvalue of `[[p1, c], [c*, p2]]`, from the channels' powers and
/// the squared magnitude of their cross term. Both channels together hold twice that; the rest is direct.
///
/// Never negative, and never more than the weaker channel's power.
#[must_use]
pub fn diffuse_per_channel(left: f64, right: f64, cross_squared: f64) -> f64 {
    let sum = left + right;
    let root = ((left - right).powi(2) + 4.0 * cross_squared).sqrt();
    // (sum − root)/2 cancels when the channels are nearly equal; the product of the eigenvalues doesn't.
    let larger = 0.5 * (sum + root);
    if larger <= 0.0 {
        0.0
    } else {
        ((left * right - cross_squared) / larger).clamp(0.0, left.min(right))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// CHECKS DW-1 in closed form: powers 1 + N and a² + N, cross term a.
    #[test]
    fn direct_over_diffuse_of_the_model() {
        for (a, n, expected_db) in [
            (1.0, 0.1, 10.0),
            (1.0, 1.0, 0.0),
            (0.5, 0.1, 7.96),
            (-1.0, 0.1, 10.0),
            (0.1, 0.1, 7.03),
        ] {
            let (left, right, cross) = (1.0 + n, a * a + n, a);
            let diffuse = 2.0 * diffuse_per_channel(left, right, cross * cross);
            let ratio_db = crate::dsp::db::from_power((left + right - diffuse) / diffuse);
            assert!((ratio_db - expected_db).abs() < 0.01, "a {a}, n {n}: {ratio_db}");
        }
    }

    #[test]
    fn the_ends() {
        assert_eq!(diffuse_per_channel(1.0, 1.0, 1.0), 0.0);
        assert_eq!(diffuse_per_channel(0.0, 0.0, 0.0), 0.0);
        assert_eq!(diffuse_per_channel(1.0, 0.0, 0.0), 0.0);
        assert_eq!(diffuse_per_channel(1.0, 1.0, 0.0), 1.0);
        assert_eq!(diffuse_per_channel(1.0, 1.0, 1.1), 0.0);
    }
}
