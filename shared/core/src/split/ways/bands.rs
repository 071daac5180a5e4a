//! The 1/3 octaves that short frames are summed into.

/// 1/3 octaves from 80 Hz to 10 kHz (71 Hz to 11.2 kHz).
pub const BANDS: usize = 22;

/// Octaves: three bands each, four in the last.
pub const GROUPS: usize = 7;

/// The octave a band is in.
pub(super) fn group_of(band: usize) -> usize {
    (band / 3).min(GROUPS - 1)
}

/// A frequency's position among the middles of the bands: 0 at the first, 1 at the second; `hz` must be positive.
#[must_use]
pub fn band_position(hz: f64) -> f64 {
    10.0 * (hz.max(1.0) / 1000.0).log10() + 11.0
}

/// Bands by their edges. IEC 61260-1, base 10, as [`crate::spectrum::bands`].
#[derive(Clone, Copy, Debug)]
pub(super) struct BandEdges {
    /// Hz; bands above half the sample rate are empty.
    hz: [f64; BANDS + 1],
}

impl BandEdges {
    pub fn new(rate_hz: f64) -> Self {
        let hz = core::array::from_fn(|n| {
            // The lower edge of the 80 Hz band is 11.5 steps below 1 kHz.
            let step = n as f64 - 11.5;
            (1000.0 * 10f64.powf(0.1 * step)).min(0.5 * rate_hz)
        });
        Self { hz }
    }

    /// The edges in bins of a transform of `len` samples, where each bin extends half a bin to both sides.
    pub fn in_bins(&self, rate_hz: f64, len: usize) -> [f64; BANDS + 1] {
        self.hz.map(|hz| hz * len as f64 / rate_hz + 0.5)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bands_reach_from_71_hz_to_11_khz() {
        let edges = BandEdges::new(48_000.0);
        assert!((edges.hz[0] - 70.8).abs() < 0.1 && (edges.hz[BANDS] - 11_220.0).abs() < 5.0);
        assert_eq!(BandEdges::new(8_000.0).hz[BANDS], 4_000.0);
        assert_eq!((group_of(0), group_of(3), group_of(21)), (0, 1, GROUPS - 1));
    }
}
