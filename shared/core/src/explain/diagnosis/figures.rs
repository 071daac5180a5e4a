//! Figures of a whole sound, for spectra on any grid.

use crate::dsp::db;
use crate::routing::feed::Side;
use crate::spectrum::bands::BandMap;
use crate::spectrum::cross_spectrum::CrossSpectrum;
use crate::spectrum::grid::Grid;
use crate::spectrum::welch::window_autocorrelation;

/// Lowest frequency examined, Hz: rumble must not decide a diagnosis.
pub(super) const LOWEST_HZ: f64 = 40.0;
/// A channel at least this far below the other, dB, with nothing in common with it, is noise on a silent channel.
pub(super) const NOISE_ONLY_DB: f64 = 20.0;
/// Correlation below which channels have nothing in common.
const NOISE_COMMON: f64 = 0.1;

/// Examines spectra on one grid; holds its bands.
#[derive(Clone, Debug)]
pub struct Diagnoser {
    pub(super) grid: Grid,
    pub(super) map: BandMap,
    first_cell: usize,
}

/// The figures of one sound.
pub(super) struct Figures {
    pub left: f64,
    pub right: f64,
    pub correlation: f64,
    pub spread: f64,
    pub seconds: f64,
}

impl Figures {
    /// Level of the left channel over the right one's, dB.
    pub fn difference_db(&self) -> f64 {
        db::from_power(self.left / self.right.max(f64::MIN_POSITIVE))
    }
}

impl Diagnoser {
    /// Creates one for spectra on a grid.
    #[must_use]
    pub fn new(grid: Grid) -> Self {
        let map = BandMap::thirds(&grid);
        let first_cell = grid
            .centres_hz()
            .partition_point(|&hz| hz < LOWEST_HZ)
            .min(grid.len() - 1);
        Self {
            grid,
            map,
            first_cell,
        }
    }

    pub(super) fn figures(&self, spectrum: &CrossSpectrum) -> Figures {
        let (mut left, mut right, mut cross, mut squares) = (0.0, 0.0, 0.0, 0.0);
        for cell in self.first_cell..spectrum.len() {
            left += spectrum.ll[cell];
            right += spectrum.rr[cell];
            cross += spectrum.cross(&self.grid, cell, 0.0).re;
            squares += spectrum.ll[cell] * spectrum.rr[cell];
        }
        let both = left * right;
        // The variance of unrelated channels' correlation over n averages: Σ ll·rr / (n·P_L·P_R), which for a flat band
        // is CHECKS COR-6's 1/(2BT). Neighbouring Hann bins repeat each other, nearly twice over.
        let spread = if both > 0.0 && spectrum.averages > 0.0 {
            (0.5 * 1.944 * squares / (both * spectrum.averages))
                .sqrt()
                .min(1.0)
        } else {
            1.0
        };
        Figures {
            left,
            right,
            correlation: if both > 0.0 {
                (cross / both.sqrt()).clamp(-1.0, 1.0)
            } else {
                0.0
            },
            spread,
            seconds: spectrum.averages * self.block_s() / 2.0,
        }
    }

    /// Length of a block, seconds; blocks that overlap by three quarters amount to one average per half block.
    fn block_s(&self) -> f64 {
        2.0 * (self.grid.len() - 1) as f64 / self.grid.rate_hz()
    }

    /// Correlation of the whole sound with a delay taken out.
    pub(super) fn lined_up(&self, spectrum: &CrossSpectrum, figures: &Figures, delay_s: f64) -> f64 {
        let cross: f64 = (self.first_cell..spectrum.len())
            .map(|cell| spectrum.cross(&self.grid, cell, -delay_s).re)
            .sum();
        // FFT bins still carry the window's loss at a delay; a take's cells are corrected for it.
        let overlap = if self.grid.block_len().is_some() {
            window_autocorrelation(delay_s / self.block_s()).max(0.1)
        } else {
            1.0
        };
        let both = (figures.left * figures.right).sqrt();
        if both > 0.0 {
            (cross / overlap / both).clamp(-1.0, 1.0)
        } else {
            0.0
        }
    }

    /// The silent channel, if there is one, and the confidence, 0 to 1.
    pub(super) fn silent(
        &self,
        spectrum: &CrossSpectrum,
        figures: &Figures,
        delay_s: f64,
        silent_db: f64,
    ) -> Option<(Side, f64)> {
        let difference_db = figures.difference_db();
        // A channel of noise alone has nothing in common with the other, at any delay.
        let nothing_common = || {
            let common = self.lined_up(spectrum, figures, delay_s).abs();
            common.max(figures.correlation.abs()) < NOISE_COMMON
        };
        let silent =
            difference_db.abs() >= silent_db || difference_db.abs() >= NOISE_ONLY_DB && nothing_common();
        let side = if difference_db > 0.0 {
            Side::Right
        } else {
            Side::Left
        };
        silent.then(|| {
            (
                side,
                1.0 - 0.5 * db::to_power(NOISE_ONLY_DB - difference_db.abs()),
            )
        })
    }
}
