//! The frequency cells of a spectrum.

/// Widest bin of a live or take spectrum, Hz.
pub const WIDEST_BIN_HZ: f64 = 6.0;

/// The block length for a sample rate: the power of two that makes FFT bins no wider than [`WIDEST_BIN_HZ`]
/// (8192 at 44.1 and 48 kHz). At least 1024.
#[must_use]
pub fn block_len(rate_hz: f64) -> usize {
    let mut len = 1024;
    while rate_hz / len as f64 > WIDEST_BIN_HZ {
        len *= 2;
    }
    len
}

/// Contiguous frequency cells from 0 Hz to half the sample rate: the bins of an FFT, or 1/24-octave cells.
#[derive(Clone, Debug, PartialEq)]
pub struct Grid {
    rate_hz: f64,
    edges_hz: Vec<f64>,
    centres_hz: Vec<f64>,
    block_len: Option<usize>,
}

impl Grid {
    /// The `block_len / 2 + 1` bins of a real FFT: each reaches half a bin to both sides of its frequency.
    ///
    /// # Panics
    /// If `block_len` is below 4 or odd, or the rate isn't positive and finite.
    #[must_use]
    pub fn fft(rate_hz: f64, block_len: usize) -> Self {
        assert!(rate_hz > 0.0 && rate_hz.is_finite(), "a sample rate is positive");
        assert!(
            block_len >= 4 && block_len.is_multiple_of(2),
            "a block holds an even number of samples"
        );
        let bins = block_len / 2 + 1;
        let bin_hz = rate_hz / block_len as f64;
        let mut edges_hz = Vec::with_capacity(bins + 1);
        edges_hz.push(0.0);
        edges_hz.extend((1..bins).map(|k| (k as f64 - 0.5) * bin_hz));
        edges_hz.push(rate_hz / 2.0);
        let centres_hz = (0..bins).map(|k| k as f64 * bin_hz).collect();
        Self {
            rate_hz,
            edges_hz,
            centres_hz,
            block_len: Some(block_len),
        }
    }

    /// Cells of 1/24 octave (IEC 61260-1, base 10) from 17.8 Hz to 22.4 kHz, with one cell below and one above, cut off
    /// at half the sample rate. Eight of them make one 1/3-octave band exactly. The grid of a stored take.
    ///
    /// # Panics
    /// If the rate isn't positive and finite.
    #[must_use]
    pub fn twenty_fourth_octave(rate_hz: f64) -> Self {
        assert!(rate_hz > 0.0 && rate_hz.is_finite(), "a sample rate is positive");
        let nyquist_hz = rate_hz / 2.0;
        let mut edges_hz = vec![0.0];
        let first = -17 * 8 - 4;
        let last = 13 * 8 + 4;
        edges_hz.extend(
            (first..=last)
                .map(|step| 1000.0 * 10f64.powf(0.3 * f64::from(step) / 24.0))
                .take_while(|&edge| edge < nyquist_hz),
        );
        edges_hz.push(nyquist_hz);
        let centres_hz = edges_hz
            .windows(2)
            .map(|edge| {
                if edge[0] > 0.0 {
                    (edge[0] * edge[1]).sqrt()
                } else {
                    edge[1] / 2.0
                }
            })
            .collect();
        Self {
            rate_hz,
            edges_hz,
            centres_hz,
            block_len: None,
        }
    }

    /// Number of cells.
    #[must_use]
    pub fn len(&self) -> usize {
        self.centres_hz.len()
    }

    /// Always false: a grid has at least two cells.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.centres_hz.is_empty()
    }

    /// The sample rate of the analysed sound, Hz.
    #[must_use]
    pub fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    /// The FFT's length if these are FFT bins.
    #[must_use]
    pub fn block_len(&self) -> Option<usize> {
        self.block_len
    }

    /// The frequency that stands for each cell, Hz: the bin's own, or the geometric middle.
    #[must_use]
    pub fn centres_hz(&self) -> &[f64] {
        &self.centres_hz
    }

    /// The `len() + 1` borders of the cells, Hz, ascending from 0 to half the sample rate.
    #[must_use]
    pub fn edges_hz(&self) -> &[f64] {
        &self.edges_hz
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn block_lengths_as_designed() {
        assert_eq!(block_len(44_100.0), 8192);
        assert_eq!(block_len(48_000.0), 8192);
        assert_eq!(block_len(8_000.0), 2048);
        assert_eq!(block_len(192_000.0), 32_768);
    }

    #[test]
    fn cells_are_contiguous_and_end_at_half_the_rate() {
        for rate in [8_000.0, 22_050.0, 44_100.0, 48_000.0, 192_000.0] {
            for grid in [Grid::fft(rate, block_len(rate)), Grid::twenty_fourth_octave(rate)] {
                assert_eq!(grid.edges_hz().len(), grid.len() + 1);
                assert_eq!(grid.edges_hz().first(), Some(&0.0));
                assert_eq!(grid.edges_hz().last(), Some(&(rate / 2.0)));
                assert!(grid.edges_hz().is_sorted_by(|a, b| a < b));
                assert!(
                    grid.centres_hz()
                        .iter()
                        .zip(grid.edges_hz())
                        .all(|(centre, lower)| centre >= lower)
                );
            }
        }
    }
}
