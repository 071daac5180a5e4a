//! The effect of two lines on what both channels share.

use crate::dsp::db;
use crate::routing::line::Line;

use super::formulas::phase_lead_deg;

/// The low E of a guitar in standard tuning, Hz (equal temperament, A4 = 440 Hz).
pub const LOW_E_HZ: f64 = 82.406_889_228_217_48;
/// A frequency at which the low end's high-passes no longer matter, Hz.
const MIDDLE_HZ: f64 = 1000.0;

/// Two lines side by side, and what a mono sum of them does to equal channels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PairOfLines {
    /// Left over right, dB; infinite with one unplugged, NaN with both.
    pub level_difference_db: f64,
    /// How much later the right line is, seconds.
    pub right_late_s: f64,
    /// Whether exactly one of them is flipped.
    pub one_flipped: bool,
    /// Phase of the left high-pass minus that of the right at the low E, degrees.
    pub low_e_phase_deg: f64,
    /// Level of the sum of equal channels at the low E, against lines that differ in level only, dB.
    pub low_e_db: f64,
    /// The same at 1 kHz, without the delay: 0, or less when one line is flipped.
    pub middle_db: f64,
    /// Lowest frequency the delay cancels in the sum (lines of the same polarity), Hz; `None` without a delay or with
    /// one line only.
    pub first_notch_hz: Option<f64>,
}

impl PairOfLines {
    /// Compares two lines.
    #[must_use]
    pub fn new(left: &Line, right: &Line) -> Self {
        let (l, r) = (left.amplitude(), right.amplitude());
        let both = l != 0.0 && r != 0.0;
        let right_late_s = if both { right.delay_s - left.delay_s } else { 0.0 };
        let flipped = both && (l < 0.0) != (r < 0.0);
        let lead = |line: &Line| {
            line.high_pass_hz
                .iter()
                .map(|&hz| phase_lead_deg(hz, LOW_E_HZ))
                .sum::<f64>()
        };
        // The level of the sum at a frequency, over that of both lines in phase and unfiltered.
        let sum_db = |hz: f64, delay_s: f64| {
            let turn = crate::Complex::from_polar(1.0, -core::f64::consts::TAU * hz * delay_s);
            let sum = high_pass(left, hz) * l + high_pass(right, hz) * turn * r;
            db::from_amplitude(sum.norm() / (l.abs() + r.abs()))
        };
        let apart_s = (right_late_s.abs() > 0.0).then_some(right_late_s.abs());
        Self {
            level_difference_db: db::from_amplitude(l) - db::from_amplitude(r),
            right_late_s,
            one_flipped: flipped,
            low_e_phase_deg: lead(left) - lead(right),
            low_e_db: sum_db(LOW_E_HZ, right_late_s),
            middle_db: sum_db(MIDDLE_HZ, 0.0),
            first_notch_hz: apart_s.map(|s| if flipped { 1.0 / s } else { 0.5 / s }),
        }
    }

    /// Whether the lines are practically equal in a sum: within half a decibel, a tenth of a millisecond and 10 degrees
    /// at the low E. Common practice, no source.
    #[must_use]
    pub fn alike(&self) -> bool {
        self.level_difference_db.abs() <= 0.5
            && self.right_late_s.abs() <= 1e-4
            && !self.one_flipped
            && self.low_e_phase_deg.abs() <= 10.0
    }
}

/// The response of a line's high-passes at a frequency, `jf/(jf + fc)` each.
fn high_pass(line: &Line, hz: f64) -> crate::Complex<f64> {
    line.high_pass_hz
        .iter()
        .filter(|&&corner| corner > 0.0)
        .map(|&corner| crate::Complex::new(0.0, hz) / crate::Complex::new(corner, hz))
        .product()
}
