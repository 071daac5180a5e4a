//! A feed's effect on a power by its direction in the pair: four numbers, linear in the Stokes parameters.

/// A feed's effect on a power of 1 (both channels together) with given Stokes parameters, without the gain to make up:
/// `p = left·(1 + q)/2 + right·(1 − q)/2 + (re·u + im·v)/2`, times two, is the change as a power ratio.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct FeedWeights {
    /// Weight of the left channel's power.
    pub left: f64,
    /// Weight of the right channel's power.
    pub right: f64,
    /// Weight of the in-phase cross term.
    pub re: f64,
    /// Weight of the quadrature cross term.
    pub im: f64,
}

impl FeedWeights {
    /// The change, as a power ratio, of a power with these Stokes parameters.
    #[must_use]
    pub fn of(&self, [q, u, v]: [f64; 3]) -> f64 {
        (self.left * (1.0 + q) + self.right * (1.0 - q) + self.re * u + self.im * v).max(0.0)
    }

    /// The least and the largest change, as power ratios, over directions within a tolerance of an angle.
    #[must_use]
    pub fn within(&self, angle_rad: f64, tolerance_rad: f64) -> [f64; 2] {
        // Over twice the angle the change is a mean plus a cosine.
        let (mean, a, b) = (self.left + self.right, self.left - self.right, self.re);
        let size = a.hypot(b);
        let top = b.atan2(a);
        let at = |double: f64| (mean + size * (double - top).cos()).max(0.0);
        let (from, to) = (
            2.0 * (angle_rad - tolerance_rad),
            2.0 * (angle_rad + tolerance_rad),
        );
        let (one, other) = (at(from), at(to));
        let passes = |double: f64| {
            let ahead = (double - from).rem_euclid(core::f64::consts::TAU);
            ahead <= to - from
        };
        let low = if passes(top + core::f64::consts::PI) {
            (mean - size).max(0.0)
        } else {
            one.min(other)
        };
        let high = if passes(top) { mean + size } else { one.max(other) };
        [low, high]
    }

    /// The least and the largest change of any power, as power ratios.
    #[must_use]
    pub fn ends(&self) -> [f64; 2] {
        let mean = self.left + self.right;
        let size = ((self.left - self.right).powi(2) + self.re * self.re + self.im * self.im).sqrt();
        [(mean - size).max(0.0), mean + size]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::f64::consts::FRAC_PI_4;

    /// The average sum of two straight lines: |cos a + sin a|²/2 by algebra.
    #[test]
    fn a_mono_sum_by_direction() {
        let wedge = FeedWeights {
            left: 0.25,
            right: 0.25,
            re: 0.5,
            im: 0.0,
        };
        for degrees in [-45.0f64, 0.0, 20.0, 45.0, 90.0] {
            let (sin, cos) = degrees.to_radians().sin_cos();
            let stokes = [cos * cos - sin * sin, 2.0 * cos * sin, 0.0];
            assert!(
                (wedge.of(stokes) - 0.5 * (cos + sin).powi(2)).abs() < 1e-12,
                "{degrees}"
            );
        }
        let [low, high] = wedge.within(FRAC_PI_4, 0.02);
        assert!((high - 1.0).abs() < 1e-12 && low < 1.0 && low > 0.999);
        let [low, high] = wedge.within(-FRAC_PI_4, 0.02);
        assert!(low == 0.0 && high < 0.001);
        assert_eq!(wedge.ends(), [0.0, 1.0]);
    }
}
