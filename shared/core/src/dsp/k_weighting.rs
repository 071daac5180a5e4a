//! K-weighting of ITU-R BS.1770-5, Annex 1, as a power response.
//!
//! At 48 kHz the recommendation prints the two filters' coefficients; at other rates they are the bilinear images of
//! the analogue prototypes that give those coefficients (a shelf at 1681.97 Hz with 4.0 dB, a high-pass at 38.14 Hz).

use core::f64::consts::{PI, TAU};

use crate::Complex;

/// A second-order section's coefficients, `a0 = 1`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Section {
    /// Numerator.
    pub b: [f64; 3],
    /// Denominator, without its leading 1.
    pub a: [f64; 2],
}

impl Section {
    fn power(&self, hz: f64, rate_hz: f64) -> f64 {
        let z = Complex::from_polar(1.0, -TAU * hz / rate_hz);
        let top = Complex::new(self.b[0], 0.0) + z * self.b[1] + z * z * self.b[2];
        let bottom = Complex::new(1.0, 0.0) + z * self.a[0] + z * z * self.a[1];
        top.norm_sqr() / bottom.norm_sqr()
    }
}

/// The shelf and the high-pass for a sample rate.
#[must_use]
pub fn sections(rate_hz: f64) -> [Section; 2] {
    let shelf = {
        let k = (PI * 1681.974450955533 / rate_hz).tan();
        let q = 0.7071752369554196;
        let high = 10f64.powf(3.999843853973347 / 20.0);
        let middle = high.powf(0.4996667741545416);
        let norm = 1.0 + k / q + k * k;
        Section {
            b: [
                (high + middle * k / q + k * k) / norm,
                2.0 * (k * k - high) / norm,
                (high - middle * k / q + k * k) / norm,
            ],
            a: [2.0 * (k * k - 1.0) / norm, (1.0 - k / q + k * k) / norm],
        }
    };
    let high_pass = {
        let k = (PI * 38.13547087602444 / rate_hz).tan();
        let q = 0.5003270373238773;
        let norm = 1.0 + k / q + k * k;
        Section {
            b: [1.0, -2.0, 1.0],
            a: [2.0 * (k * k - 1.0) / norm, (1.0 - k / q + k * k) / norm],
        }
    };
    [shelf, high_pass]
}

/// The K-weighting's power response at `hz`, 0 to half the rate.
#[must_use]
pub fn power(hz: f64, rate_hz: f64) -> f64 {
    sections(rate_hz)
        .iter()
        .map(|section| section.power(hz, rate_hz))
        .product()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_coefficients_of_the_recommendation() {
        // ITU-R BS.1770-5 Annex 1, tables 1 and 2.
        let [shelf, high_pass] = sections(48_000.0);
        let expected = [1.53512485958697, -2.69169618940638, 1.19839281085285];
        assert!(
            shelf
                .b
                .iter()
                .zip(expected)
                .all(|(got, want)| (got - want).abs() < 1e-8),
            "{shelf:?}"
        );
        assert!((shelf.a[0] + 1.69065929318241).abs() < 1e-8 && (shelf.a[1] - 0.73248077421585).abs() < 1e-8);
        assert!(
            (high_pass.a[0] + 1.99004745483398).abs() < 1e-8
                && (high_pass.a[1] - 0.99007225036621).abs() < 1e-8
        );
    }

    #[test]
    fn the_magnitudes_at_48_khz() {
        // Combined magnitude of those tables, dB (computed with scipy from the printed coefficients).
        let rows = [
            (20.0, -13.275),
            (50.0, -3.934),
            (100.0, -1.133),
            (500.0, 0.042),
            (997.0, 0.691),
            (2_000.0, 3.071),
            (8_000.0, 4.039),
            (16_000.0, 4.043),
        ];
        for (hz, expected) in rows {
            let got = crate::dsp::db::from_power(power(hz, 48_000.0));
            assert!((got - expected).abs() < 0.001, "{hz} Hz: {got}");
        }
    }
}
