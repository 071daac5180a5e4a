//! Fractional-octave bands over a grid of cells.
//!
//! Bands are those of IEC 61260-1:2014, base 10: `G = 10^(3/10)`, middles `1000·G^(x/3)` Hz, edges a factor `G^(±1/6)`
//! away (1/3 octave); nominal frequencies are ISO 266's. They are sums over FFT bins, each shared between two bands in
//! proportion where an edge falls inside it: *not* a class 1 filter bank.

use crate::dsp::numbers::to_signed;
use crate::spectrum::grid::Grid;
use crate::spectrum::pair_sums::sum;

/// Least width of a band that counts as resolved, cells.
pub const RESOLVED_CELLS: f64 = 3.0;

const NOMINAL_HZ: [f64; 31] = [
    20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 400.0, 500.0, 630.0,
    800.0, 1000.0, 1250.0, 1600.0, 2000.0, 2500.0, 3150.0, 4000.0, 5000.0, 6300.0, 8000.0, 10_000.0,
    12_500.0, 16_000.0, 20_000.0,
];
/// Index of the 20 Hz band relative to 1 kHz.
const FIRST_THIRD: i32 = -17;

/// The most bands a [`BandMap`] of 1/3 octaves holds.
pub const MAX_THIRDS: usize = NOMINAL_HZ.len();

/// The most bands a [`BandMap`] of 1/24 octaves holds.
pub const MAX_TWENTY_FOURTHS: usize = MAX_THIRDS * 8;

/// One band, or several neighbours that the grid can't resolve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    /// Exact lower edge, Hz.
    pub lower_hz: f64,
    /// Exact upper edge, Hz; half the sample rate where the band is cut off there.
    pub upper_hz: f64,
    /// Nominal middle (ISO 266) of the lowest band in it, Hz. For 1/24 octaves: the exact middle.
    pub nominal_hz: f64,
    /// Nominal middle of the highest band in it, Hz; the same as `nominal_hz` unless bands were merged.
    pub nominal_last_hz: f64,
    /// Half the sample rate lies inside this band, so a part of it is missing.
    pub partial: bool,
}

impl Band {
    /// Whether several bands had to be merged because each was narrower than [`RESOLVED_CELLS`] cells.
    #[must_use]
    pub fn is_merged(&self) -> bool {
        self.nominal_last_hz > self.nominal_hz
    }

    /// The geometric middle, Hz.
    #[must_use]
    pub fn centre_hz(&self) -> f64 {
        (self.lower_hz * self.upper_hz).sqrt()
    }

    /// Width, Hz.
    #[must_use]
    pub fn width_hz(&self) -> f64 {
        self.upper_hz - self.lower_hz
    }
}

/// The cells of each band, with the shares of the cells on its edges.
#[derive(Clone, Debug)]
pub struct BandMap {
    bands: Vec<Band>,
    /// For each band: first cell, share of it, last cell (inclusive), share of it. With one cell only the first share
    /// counts.
    spans: Vec<(usize, f64, usize, f64)>,
}

impl BandMap {
    /// 1/3-octave bands, nominal 20 Hz to 20 kHz. On a grid of FFT bins, bands narrower than three bins are merged with
    /// their neighbours (at 48 kHz: 20 to 31.5, 40 to 63, and from 80 Hz on each band alone). Bands wholly above half
    /// the sample rate don't exist; the one it falls into is marked partial.
    #[must_use]
    pub fn thirds(grid: &Grid) -> Self {
        let exact = (0..NOMINAL_HZ.len()).map(|i| {
            let step = f64::from(FIRST_THIRD + to_signed(i));
            let edge = |half: f64| 1000.0 * 10f64.powf(0.1 * (step + half));
            (edge(-0.5), edge(0.5), NOMINAL_HZ[i])
        });
        Self::build(grid, exact)
    }

    /// 1/24-octave bands over the same range, for curves and dips; merged at the low end like the 1/3 octaves.
    #[must_use]
    pub fn twenty_fourths(grid: &Grid) -> Self {
        let first = FIRST_THIRD * 8 - 4;
        let exact = (0..to_signed(MAX_TWENTY_FOURTHS)).map(|i| {
            let edge = |step: i32| 1000.0 * 10f64.powf(0.3 * f64::from(step) / 24.0);
            let (lower, upper) = (edge(first + i), edge(first + i + 1));
            (lower, upper, (lower * upper).sqrt())
        });
        Self::build(grid, exact)
    }

    fn build(grid: &Grid, exact: impl Iterator<Item = (f64, f64, f64)>) -> Self {
        let nyquist_hz = grid.rate_hz() / 2.0;
        let narrowest_hz = grid
            .block_len()
            .map_or(0.0, |len| RESOLVED_CELLS * grid.rate_hz() / len as f64);
        let mut bands: Vec<Band> = Vec::new();
        for (lower_hz, upper_hz, nominal_hz) in exact.take_while(|&(lower_hz, ..)| lower_hz < nyquist_hz) {
            let band = Band {
                lower_hz,
                upper_hz: upper_hz.min(nyquist_hz),
                nominal_hz,
                nominal_last_hz: nominal_hz,
                partial: upper_hz > nyquist_hz,
            };
            let resolved_alone = upper_hz - lower_hz >= narrowest_hz;
            match bands.last_mut() {
                // A narrow band joins the group before it until that is wide enough. If the narrow bands left before a
                // resolved one can't fill a group, they stay with this one rather than be merged with the resolved
                // band.
                Some(group)
                    if group.width_hz() < narrowest_hz
                        || (!resolved_alone && Self::rest_too_narrow(&band, narrowest_hz)) =>
                {
                    group.upper_hz = band.upper_hz;
                    group.nominal_last_hz = nominal_hz;
                    group.partial |= band.partial;
                }
                _ => bands.push(band),
            }
        }
        let spans = bands.iter().map(|band| Self::span(grid, band)).collect();
        Self { bands, spans }
    }

    /// Whether the bands from `band` on, up to the first that is resolved alone, can't make a group of their own.
    fn rest_too_narrow(band: &Band, narrowest_hz: f64) -> bool {
        let ratio = band.upper_hz / band.lower_hz;
        let mut upper_hz = band.upper_hz;
        // The next band's width is ratio times this one's.
        let mut next_width_hz = band.width_hz() * ratio;
        while next_width_hz < narrowest_hz {
            upper_hz += next_width_hz;
            next_width_hz *= ratio;
        }
        upper_hz - band.lower_hz < narrowest_hz
    }

    fn span(grid: &Grid, band: &Band) -> (usize, f64, usize, f64) {
        let edges = grid.edges_hz();
        let cell_at = |hz: f64| edges.partition_point(|&edge| edge <= hz).clamp(1, grid.len()) - 1;
        let first = cell_at(band.lower_hz);
        // The cell that holds the last of the band; an upper edge on a cell border belongs to the cell below.
        let last = (edges
            .partition_point(|&edge| edge < band.upper_hz)
            .clamp(1, grid.len())
            - 1)
        .max(first);
        let share = |cell: usize| {
            let inside = edges[cell + 1].min(band.upper_hz) - edges[cell].max(band.lower_hz);
            (inside / (edges[cell + 1] - edges[cell])).clamp(0.0, 1.0)
        };
        (first, share(first), last, share(last))
    }

    /// The bands, ascending.
    #[must_use]
    pub fn bands(&self) -> &[Band] {
        &self.bands
    }

    /// Number of bands.
    #[must_use]
    pub fn len(&self) -> usize {
        self.bands.len()
    }

    /// Whether the sample rate leaves no band at all.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.bands.is_empty()
    }

    /// The sum of a quantity per cell over band number `band`.
    ///
    /// # Panics
    /// If `band` isn't below [`BandMap::len`] or `cells` is shorter than the grid.
    #[must_use]
    pub fn sum(&self, band: usize, cells: impl Fn(usize) -> f64) -> f64 {
        let (first, first_share, last, last_share) = self.spans[band];
        if first == last {
            return first_share * cells(first);
        }
        first_share * cells(first) + (first + 1..last).map(&cells).sum::<f64>() + last_share * cells(last)
    }

    /// The same for several quantities at once.
    ///
    /// # Panics
    /// If `band` isn't below [`BandMap::len`].
    #[must_use]
    pub fn sums<const N: usize>(&self, band: usize, cells: impl Fn(usize) -> [f64; N]) -> [f64; N] {
        let (first, first_share, last, last_share) = self.spans[band];
        // −0 is the neutral start of a sum: it leaves even a −0 as it is.
        let [mut begins, mut inner, mut ends] = [[-0.0; N]; 3];
        for cell in first..=last {
            let values = cells(cell);
            if first < cell && cell < last {
                for n in 0..N {
                    inner[n] += values[n];
                }
            } else if cell == first {
                begins = values.map(|value| first_share * value);
            } else {
                ends = values.map(|value| last_share * value);
            }
        }
        core::array::from_fn(|n| begins[n] + inner[n] + ends[n])
    }

    /// The same for a quantity given as a slice over all cells.
    ///
    /// # Panics
    /// If `band` isn't below [`BandMap::len`] or `cells` is shorter than the grid.
    #[must_use]
    pub fn sum_of(&self, band: usize, cells: &[f64]) -> f64 {
        let (first, first_share, last, last_share) = self.spans[band];
        if first == last {
            return first_share * cells[first];
        }
        first_share * cells[first] + sum(&cells[first + 1..last]) + last_share * cells[last]
    }

    /// The cells of band number `band`, each with the share of it that lies in the band.
    ///
    /// # Panics
    /// If `band` isn't below [`BandMap::len`].
    pub fn cells(&self, band: usize) -> impl Iterator<Item = (usize, f64)> + '_ {
        let (first, first_share, last, last_share) = self.spans[band];
        (first..=last).map(move |cell| {
            let share = if cell == first {
                first_share
            } else if cell == last {
                last_share
            } else {
                1.0
            };
            (cell, share)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spectrum::grid::block_len;

    #[test]
    fn low_bands_are_merged_until_three_bins_wide() {
        let map = BandMap::thirds(&Grid::fft(48_000.0, 8192));
        let nominal: Vec<_> = map
            .bands()
            .iter()
            .take(4)
            .map(|b| (b.nominal_hz, b.nominal_last_hz))
            .collect();
        assert_eq!(
            nominal,
            [(20.0, 31.5), (40.0, 63.0), (80.0, 80.0), (100.0, 100.0)]
        );
        for rate in [8_000.0, 11_025.0, 22_050.0, 44_100.0, 96_000.0, 192_000.0] {
            let len = block_len(rate);
            let map = BandMap::thirds(&Grid::fft(rate, len));
            for band in map.bands().iter().filter(|b| !b.partial) {
                assert!(
                    band.width_hz() >= RESOLVED_CELLS * rate / len as f64,
                    "{band:?} at {rate}"
                );
            }
        }
    }

    #[test]
    fn the_band_half_the_rate_falls_into_is_marked() {
        let map = BandMap::thirds(&Grid::fft(44_100.0, 8192));
        let last = map.bands().last().unwrap();
        assert!(last.partial && last.nominal_hz == 20_000.0 && last.upper_hz == 22_050.0);
        assert!(map.bands().iter().rev().skip(1).all(|b| !b.partial));
        assert!(
            !BandMap::thirds(&Grid::fft(48_000.0, 8192))
                .bands()
                .last()
                .unwrap()
                .partial
        );
    }

    #[test]
    fn every_cell_is_given_out_once() {
        for grid in [
            Grid::fft(44_100.0, 8192),
            Grid::twenty_fourth_octave(48_000.0),
            Grid::fft(8_000.0, 2048),
        ] {
            for map in [BandMap::thirds(&grid), BandMap::twenty_fourths(&grid)] {
                let edges = grid.edges_hz();
                let width = |cell: usize| edges[cell + 1] - edges[cell];
                for (index, band) in map.bands().iter().enumerate() {
                    let total = map.sum(index, width);
                    assert!(
                        (total - band.width_hz()).abs() < 1e-9 * band.upper_hz,
                        "{band:?}: {total}"
                    );
                    let by_cells: f64 = map.cells(index).map(|(cell, share)| share * width(cell)).sum();
                    assert!((total - by_cells).abs() < 1e-9 * band.upper_hz);
                    let widths: Vec<f64> = (0..grid.len()).map(width).collect();
                    assert!((total - map.sum_of(index, &widths)).abs() < 1e-9 * band.upper_hz);
                }
            }
        }
    }
}
