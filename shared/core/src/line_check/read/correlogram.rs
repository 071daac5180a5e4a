//! Where, and with which sign, one thing is found in another.

use crate::Complex;
use crate::dsp::numbers::{circular_place, to_lag};
use crate::line_check::response::Transforms;
use crate::line_check::response::bands::BinGrid;

/// How much finer than the samples it is.
const FINER: usize = 2;

/// A correlation over lags: ±1 where two things are equal or opposite.
pub(super) struct Correlogram {
    values: Vec<f64>,
    rate_hz: f64,
}

impl Correlogram {
    /// Of a weighted cross spectrum that would add up to `total` if all of it were in phase.
    pub fn new(transforms: &mut Transforms, grid: &BinGrid, cross: Vec<Complex<f64>>, total: f64) -> Self {
        let len = FINER * grid.len;
        let scale = len as f64 / (2.0 * total).max(1e-300);
        let mut values = transforms.inverse(cross, len);
        values.iter_mut().for_each(|x| *x *= scale);
        Self {
            values,
            rate_hz: FINER as f64 * grid.rate_hz,
        }
    }

    fn at(&self, lag: isize) -> f64 {
        self.values[circular_place(lag, self.values.len())]
    }

    fn lags(&self, from_s: f64, to_s: f64) -> core::ops::RangeInclusive<isize> {
        to_lag((from_s * self.rate_hz).floor())..=to_lag((to_s * self.rate_hz).ceil())
    }

    /// The largest magnitude between two lags: its lag (seconds), and it with its sign.
    pub fn best(&self, from_s: f64, to_s: f64) -> (f64, f64) {
        let mut best = (0, 0.0f64);
        for lag in self.lags(from_s, to_s) {
            if self.at(lag).abs() > best.1.abs() {
                best = (lag, self.at(lag));
            }
        }
        (best.0 as f64 / self.rate_hz, best.1)
    }

    /// Root mean square between two lags, where nothing is expected.
    pub fn rms(&self, from_s: f64, to_s: f64) -> f64 {
        let lags = self.lags(from_s, to_s);
        let count = lags.clone().count().max(1) as f64;
        (lags.map(|lag| self.at(lag).powi(2)).sum::<f64>() / count).sqrt()
    }
}
