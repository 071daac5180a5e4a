//! Dry and wet, each as a cross-spectrum, and how they were told apart.

use crate::Complex;
use crate::bands::BandMap;
use crate::delay::{ChannelDelay, DelayFinder};
use crate::diffuse::diffuse_per_channel;
use crate::grid::Grid;
use crate::spectrum::CrossSpectrum;
use crate::welch::window_autocorrelation;

/// How dry and wet were told apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Method {
    /// From the pair alone: what the channels share is dry, the rest wet. A wet that the channels share counts as dry.
    Estimated,
    /// From two passes of the same part, effects off and dry off.
    TwoPass,
    /// From the dry signal on an auxiliary input.
    SideChain,
}

impl Method {
    /// What people read.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Estimated => "estimated",
            Self::TwoPass => "two-pass",
            Self::SideChain => "side-chain",
        }
    }

    /// How far down a cancelled dry can be read, dB; beyond it only 'at least' is true. `None` where there is no floor.
    #[must_use]
    pub fn floor_db(self) -> Option<f64> {
        (self == Self::Estimated).then_some(-20.0)
    }
}

/// Dry and wet of one sound.
#[derive(Clone, Debug, PartialEq)]
pub struct Split {
    /// The direct sound.
    pub dry: CrossSpectrum,
    /// The effects.
    pub wet: CrossSpectrum,
    /// How they were told apart.
    pub method: Method,
}

impl Split {
    /// Silence on `cells` cells.
    #[must_use]
    pub fn silent(cells: usize, method: Method) -> Self {
        Self {
            dry: CrossSpectrum::silent(cells),
            wet: CrossSpectrum::silent(cells),
            method,
        }
    }

    /// Wet over dry power of both channels, dB; `None` when there's neither.
    #[must_use]
    pub fn wet_over_dry_db(&self) -> Option<f64> {
        let (dry, wet) = (self.dry.mean_power(), self.wet.mean_power());
        match (dry > 0.0, wet > 0.0) {
            (true, _) => Some(crate::db::from_power(wet / dry)),
            (false, true) => Some(f64::INFINITY),
            (false, false) => None,
        }
    }
}

/// The variance of a sum over neighbouring Hann-windowed bins, over what it would be if they were unrelated:
/// `1 + 2·(2/3)² + 2·(1/6)²`, from the window's own spectrum.
const NEIGHBOURS: f64 = 1.0 + 2.0 * 4.0 / 9.0 + 2.0 / 36.0;

/// The estimated (blind) split of FFT spectra: the direct-plus-diffuse model per 1/3 octave, after the delay between the
/// channels has been taken out. It takes all of the cross term for dry, so its wet is unrelated between the channels by
/// assumption.
#[derive(Debug)]
pub struct BlindSplitter {
    block_len: usize,
    finder: DelayFinder,
    map: BandMap,
}

impl BlindSplitter {
    /// For spectra on an FFT grid.
    ///
    /// # Panics
    /// If the grid isn't one of FFT bins.
    #[must_use]
    pub fn new(grid: &Grid) -> Self {
        let block_len = grid.block_len().expect("the blind split works on FFT bins");
        Self {
            block_len,
            finder: DelayFinder::new(grid.rate_hz(), block_len),
            map: BandMap::thirds(grid),
        }
    }

    /// Splits `spectrum` into `out`, without allocating, and says what single delay lies between the channels, if any.
    ///
    /// # Panics
    /// If the lengths don't belong together.
    pub fn split(&mut self, spectrum: &CrossSpectrum, grid: &Grid, out: &mut Split) -> Option<ChannelDelay> {
        out.method = Method::Estimated;
        out.dry.copy_from(spectrum);
        out.wet.ll.fill(0.0);
        out.wet.rr.fill(0.0);
        out.wet.lr.fill(Complex::new(0.0, 0.0));
        out.wet.averages = spectrum.averages;
        out.wet.delay_s = 0.0;
        let found = self.finder.find(spectrum);
        // The delay is only believed if lining the channels up by it makes them share more.
        let delay_s = found
            .map(|delay| delay.delay_s)
            .filter(|&delay_s| self.shared(spectrum, grid, delay_s) > self.shared(spectrum, grid, 0.0));
        let delay_s = delay_s.unwrap_or(0.0);
        // A delay inside the window shrinks the cross term; that part was never wet.
        let overlap = window_autocorrelation(delay_s * grid.rate_hz() / self.block_len as f64).max(0.1);
        for cell in &mut out.dry.lr {
            *cell /= overlap;
        }
        for band in 0..self.map.len() {
            self.split_band(spectrum, grid, delay_s, overlap, band, out);
        }
        found
    }

    /// The magnitude of the bands' cross terms, lined up by `delay_s`, added up.
    fn shared(&self, spectrum: &CrossSpectrum, grid: &Grid, delay_s: f64) -> f64 {
        (0..self.map.len())
            .map(|band| self.lined_up(spectrum, grid, delay_s, band).norm())
            .sum()
    }

    fn lined_up(&self, spectrum: &CrossSpectrum, grid: &Grid, delay_s: f64, band: usize) -> Complex<f64> {
        self.map
            .cells(band)
            .map(|(cell, share)| {
                let angle = -core::f64::consts::TAU * grid.centres_hz()[cell] * delay_s;
                spectrum.lr[cell] * Complex::from_polar(share, angle)
            })
            .sum()
    }

    fn split_band(
        &self,
        spectrum: &CrossSpectrum,
        grid: &Grid,
        delay_s: f64,
        overlap: f64,
        band: usize,
        out: &mut Split,
    ) {
        let left = self.map.sum(band, |k| spectrum.ll[k]);
        let right = self.map.sum(band, |k| spectrum.rr[k]);
        if left <= 0.0 || right <= 0.0 {
            return;
        }
        let cross = self.lined_up(spectrum, grid, delay_s, band).norm_sqr() / (overlap * overlap);
        // What unrelated channels would show by chance after so few averages.
        let chance = if spectrum.averages > 1.0 {
            NEIGHBOURS * self.map.sum(band, |k| spectrum.ll[k] * spectrum.rr[k]) / spectrum.averages
        } else {
            0.0
        };
        let chance = chance.min(left * right);
        // Unbiased at both ends: chance takes its share of unrelated channels and none of equal ones.
        let corrected = if chance < left * right {
            ((cross - chance) / (left * right - chance) * left * right).clamp(0.0, left * right)
        } else {
            0.0
        };
        let diffuse = diffuse_per_channel(left, right, corrected);
        for (cell, share) in self.map.cells(band) {
            // A cell on an edge belongs to two bands; each takes its share of it.
            let wet_left = share * spectrum.ll[cell] * (diffuse / left).min(1.0);
            let wet_right = share * spectrum.rr[cell] * (diffuse / right).min(1.0);
            out.wet.ll[cell] += wet_left;
            out.wet.rr[cell] += wet_right;
            out.dry.ll[cell] = (out.dry.ll[cell] - wet_left).max(0.0);
            out.dry.rr[cell] = (out.dry.rr[cell] - wet_right).max(0.0);
        }
    }
}
