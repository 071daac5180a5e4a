//! The averaged cross-spectrum of a pair of channels, from which every figure is computed.

use crate::Complex;
use crate::spectrum::bands::BandMap;
use crate::spectrum::grid::Grid;

/// `S_LL`, `S_RR` and `S_LR = E[X_L·conj(X_R)]` per cell of a [`Grid`], one-sided: `ll` adds up to the left channel's
/// mean square.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CrossSpectrum {
    /// Power of the left channel per cell.
    pub ll: Vec<f64>,
    /// Power of the right channel per cell.
    pub rr: Vec<f64>,
    /// Cross term per cell, with a delay of [`Self::delay_s`] between the channels taken out.
    pub lr: Vec<Complex<f64>>,
    /// How much later the right channel is than `lr` shows, seconds: the true cross term is `lr·e^(+j2πf·delay)`. Zero
    /// for a spectrum of FFT bins; a stored take, whose cells are wide, keeps it apart so that combs survive.
    pub delay_s: f64,
    /// With a delay kept apart: the part of the cross term that lies nearer to no delay than to that one, kept as it
    /// is. The true cross term is `lr·e^(+j2πf·delay) + near`; wide cells would average out whichever isn't kept
    /// separately. Empty otherwise.
    pub near: Vec<Complex<f64>>,
    /// Number of independent averages the cross term amounts to. With 1 every coherence is 1.
    pub averages: f64,
}

impl CrossSpectrum {
    /// Silence on `cells` cells.
    #[must_use]
    pub fn silent(cells: usize) -> Self {
        Self {
            ll: vec![0.0; cells],
            rr: vec![0.0; cells],
            lr: vec![Complex::new(0.0, 0.0); cells],
            delay_s: 0.0,
            near: Vec::new(),
            averages: 0.0,
        }
    }

    /// Sets all cells to silence, without allocating.
    pub fn silence(&mut self) {
        self.ll.fill(0.0);
        self.rr.fill(0.0);
        self.lr.fill(Complex::new(0.0, 0.0));
        self.delay_s = 0.0;
        self.near.clear();
        self.averages = 0.0;
    }

    /// Number of cells.
    #[must_use]
    pub fn len(&self) -> usize {
        self.ll.len()
    }

    /// Whether there are no cells.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.ll.is_empty()
    }

    /// Overwrites this spectrum with another of the same length, without allocating unless the other keeps a delay
    /// apart.
    ///
    /// # Panics
    /// If the lengths differ.
    pub fn copy_from(&mut self, other: &Self) {
        self.ll.copy_from_slice(&other.ll);
        self.rr.copy_from_slice(&other.rr);
        self.lr.copy_from_slice(&other.lr);
        self.delay_s = other.delay_s;
        self.near.clear();
        self.near.extend_from_slice(&other.near);
        self.averages = other.averages;
    }

    /// Mean squares of the left and right channel.
    #[must_use]
    pub fn powers(&self) -> (f64, f64) {
        (self.ll.iter().sum(), self.rr.iter().sum())
    }

    /// Mean power of both channels, `(S_LL + S_RR) / 2`, all cells.
    #[must_use]
    pub fn mean_power(&self) -> f64 {
        let (left, right) = self.powers();
        (left + right) / 2.0
    }

    /// Power, correlation and coherence of one band.
    ///
    /// # Panics
    /// If the band doesn't exist or the lengths don't match.
    #[must_use]
    pub fn band(&self, grid: &Grid, map: &BandMap, band: usize) -> BandReading {
        let as_it_is = self.delay_s == 0.0 && self.near.is_empty();
        // The coherence is weighted by the cells' power, so the empty cells of a harmonic sound don't count.
        let [left, right, cross, weighted, weight] = map.sums(band, |k| {
            let (left, right, cross) = (self.ll[k], self.rr[k], self.lr[k]);
            let weight = (left * right).sqrt();
            let weighted = if left * right > 0.0 {
                // With a delay kept apart, the two parts of the cross term count separately.
                let near = self.near.get(k).map_or(0.0, Complex::norm_sqr);
                (cross.norm_sqr() + near) / weight
            } else {
                0.0
            };
            let cross = if as_it_is {
                cross.re
            } else {
                self.cross(grid, k, 0.0).re
            };
            [left, right, cross, weighted, weight]
        });
        let both = (left * right).sqrt();
        let raw = if weight > 0.0 {
            (weighted / weight).clamp(0.0, 1.0)
        } else {
            0.0
        };
        BandReading {
            left,
            right,
            correlation: (both > 0.0).then(|| (cross / both).clamp(-1.0, 1.0)),
            coherence: (weight > 0.0 && self.averages > 1.0).then(|| unbiased_coherence(raw, self.averages)),
        }
    }

    /// The cross term of a cell, the right line late by `late_s` more.
    #[must_use]
    pub fn cross(&self, grid: &Grid, cell: usize, late_s: f64) -> Complex<f64> {
        let cross = self.lr[cell] * mean_phasor(grid, cell, self.delay_s + late_s);
        match self.near.get(cell) {
            Some(near) => cross + near * mean_phasor(grid, cell, late_s),
            None => cross,
        }
    }
}

/// `e^(+j2πf·τ)` averaged over the width of a cell: the phase at its middle times `sinc(width·τ)`, for a power spread
/// evenly over the cell. FFT bins are samples of a spectrum, not cells of it: for them it is the phase alone.
#[must_use]
pub fn mean_phasor(grid: &Grid, cell: usize, delay_s: f64) -> Complex<f64> {
    if delay_s == 0.0 {
        return Complex::new(1.0, 0.0);
    }
    let (lower, upper) = (grid.edges_hz()[cell], grid.edges_hz()[cell + 1]);
    let half_turn = core::f64::consts::PI * (upper - lower) * delay_s;
    let shrink = if half_turn.abs() < 1e-9 || grid.block_len().is_some() {
        1.0
    } else {
        half_turn.sin() / half_turn
    };
    let angle = if grid.block_len().is_some() {
        core::f64::consts::TAU * grid.centres_hz()[cell] * delay_s
    } else {
        core::f64::consts::PI * (upper + lower) * delay_s
    };
    Complex::from_polar(1.0, angle) * shrink
}

/// Magnitude-squared coherence with the bias of few averages removed: `(n·C − 1) / (n − 1)`, not below 0. An estimate
/// from `n` independent averages of two unrelated sounds reads `1/n` (Carter, Knapp & Nuttall 1973).
#[must_use]
pub fn unbiased_coherence(coherence: f64, averages: f64) -> f64 {
    if averages <= 1.0 {
        return 0.0;
    }
    ((averages * coherence - 1.0) / (averages - 1.0)).clamp(0.0, 1.0)
}

/// The reading of one band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BandReading {
    /// Mean square of the left channel in the band.
    pub left: f64,
    /// Mean square of the right channel in the band.
    pub right: f64,
    /// Correlation at lag zero, −1 to +1; `None` where a channel is empty.
    pub correlation: Option<f64>,
    /// Magnitude-squared coherence, 0 to 1, bias removed; `None` where a channel is empty or with a single average.
    pub coherence: Option<f64>,
}

impl BandReading {
    /// The sum difference for two straight lines: the average sum over the mean power of both channels, dB.
    #[must_use]
    pub fn sum_difference_db(&self) -> Option<f64> {
        self.difference_db(1.0)
    }

    /// The same with one line flipped.
    #[must_use]
    pub fn flipped_difference_db(&self) -> Option<f64> {
        self.difference_db(-1.0)
    }

    fn difference_db(&self, sign: f64) -> Option<f64> {
        let both = self.left + self.right;
        let cross = self.correlation? * (self.left * self.right).sqrt();
        Some(crate::dsp::db::from_power(
            (both + sign * 2.0 * cross) / (2.0 * both),
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bias_of_few_averages_is_taken_off() {
        assert_eq!(unbiased_coherence(1.0, 1.0), 0.0);
        assert!((unbiased_coherence(1.0 / 16.0, 16.0)).abs() < 1e-15);
        assert_eq!(unbiased_coherence(1.0, 16.0), 1.0);
        assert_eq!(unbiased_coherence(0.01, 16.0), 0.0);
    }

    #[test]
    fn a_delay_in_a_wide_cell_shrinks_its_cross_term() {
        let grid = Grid::twenty_fourth_octave(48_000.0);
        let cell = grid.centres_hz().partition_point(|&hz| hz < 1000.0);
        let (lower, upper) = (grid.edges_hz()[cell], grid.edges_hz()[cell + 1]);
        // A slow, direct mean over the cell.
        let steps = 20_000;
        let slow: Complex<f64> = (0..steps)
            .map(|i| {
                let hz = lower + (upper - lower) * (f64::from(i) + 0.5) / f64::from(steps);
                Complex::from_polar(1.0, core::f64::consts::TAU * hz * 0.012)
            })
            .sum::<Complex<f64>>()
            / f64::from(steps);
        assert!((mean_phasor(&grid, cell, 0.012) - slow).norm() < 1e-6);
    }
}
