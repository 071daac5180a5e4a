//! A response cut to its direct sound and near room, as a spectrum with the noise in it.

use crate::Complex;
use crate::dsp::numbers::{circular_place, to_index};
use crate::line_check::response::{Response, Transforms};

/// Length of the spectra, as time: long enough for a marker with both its sweeps.
const SPAN_S: f64 = 1.1;
/// Bands per octave.
const PER_OCTAVE: f64 = 12.0;
/// Fewer bins than this make no band.
const FEWEST_BINS: usize = 3;
/// How much the noise is smoothed, as a ratio of frequencies either way.
const SMOOTH: f64 = 1.12;

/// The bins of one length of spectrum.
#[derive(Clone, Debug)]
pub(crate) struct BinGrid {
    pub rate_hz: f64,
    pub len: usize,
    /// First bin of each band and one past the last of each.
    pub bands: Vec<(usize, usize)>,
}

impl BinGrid {
    /// For bands between two frequencies.
    pub fn new(rate_hz: f64, low_hz: f64, high_hz: f64) -> Self {
        let len = crate::line_check::response::fast_len(to_index((SPAN_S * rate_hz).ceil()));
        let bin_hz = rate_hz / len as f64;
        let last = to_index(high_hz / bin_hz).min(len / 2 - 1);
        let mut bands = Vec::new();
        let mut from = to_index((low_hz / bin_hz).ceil()).max(1);
        while from < last {
            let to = to_index((from as f64 * (1.0 / PER_OCTAVE).exp2()).ceil()).max(from + FEWEST_BINS);
            if to > last {
                break;
            }
            bands.push((from, to));
            from = to;
        }
        Self { rate_hz, len, bands }
    }

    pub fn hz(&self, bin: usize) -> f64 {
        bin as f64 * self.rate_hz / self.len as f64
    }

    /// Middle of a band, Hz.
    pub fn middle_hz(&self, band: (usize, usize)) -> f64 {
        0.5 * (self.hz(band.0) + self.hz(band.1 - 1))
    }
}

/// A part of a response as a spectrum.
#[derive(Clone, Debug)]
pub(crate) struct PartSpectrum {
    pub bins: Vec<Complex<f64>>,
    /// Power of the noise expected in each bin.
    pub noise: Vec<f64>,
    /// Energy of the window it was cut with, in samples.
    pub energy: f64,
    /// How long the part is, seconds.
    pub seconds: f64,
    /// Where the sweep was, Hz: elsewhere there's nothing to compare.
    pub band_hz: (f64, f64),
}

impl PartSpectrum {
    /// The response between two lags (seconds), with soft edges inside, and its noise.
    pub fn cut(
        transforms: &mut Transforms,
        grid: &BinGrid,
        response: &Response,
        from_s: f64,
        to_s: f64,
    ) -> Self {
        let (from, to) = (response.lag(from_s), response.lag(to_s));
        let rise = response.lag(0.002).max(1) as f64;
        let fall = (0.25 * (to - from) as f64).max(1.0);
        let mut samples = vec![0.0; grid.len];
        let mut energy = 0.0;
        for lag in from..to.min(from + grid.len.cast_signed()) {
            let edge = ((lag - from) as f64 / rise)
                .min((to - lag) as f64 / fall)
                .min(1.0);
            let weight = 0.5 - 0.5 * (core::f64::consts::PI * edge).cos();
            energy += weight * weight;
            samples[circular_place(lag, grid.len)] = weight * response.at(lag);
        }
        Self {
            bins: transforms.forward(samples),
            noise: noise(transforms, grid, response, energy),
            energy,
            seconds: to_s - from_s,
            band_hz: response.band_hz,
        }
    }

    pub fn power(&self, band: (usize, usize)) -> f64 {
        self.bins[band.0..band.1].iter().map(Complex::norm_sqr).sum()
    }

    /// Power per bin of the loudest band.
    pub fn loudest(&self, grid: &BinGrid) -> f64 {
        grid.bands
            .iter()
            .map(|&band| self.power(band) / (band.1 - band.0) as f64)
            .fold(0.0, f64::max)
    }

    pub fn noise_power(&self, band: (usize, usize)) -> f64 {
        self.noise[band.0..band.1].iter().sum()
    }

    /// Signal to noise of a band, as a ratio of powers; never negative.
    pub fn clearness(&self, band: (usize, usize)) -> f64 {
        let noise = self.noise_power(band);
        if noise > 0.0 {
            (self.power(band) / noise - 1.0).max(0.0)
        } else {
            1e12
        }
    }
}

/// The noise in each bin of a part whose window has this energy: from what comes before the sound, smoothed.
fn noise(transforms: &mut Transforms, grid: &BinGrid, response: &Response, energy: f64) -> Vec<f64> {
    let (from_s, to_s) = response.noise_lags();
    let (from, to) = (response.lag(from_s), response.lag(to_s));
    let mut samples = vec![0.0; grid.len];
    let mut own = 0.0;
    for (index, lag) in (from..to).enumerate() {
        let weight = 0.5 - 0.5 * (core::f64::consts::TAU * (index as f64 + 0.5) / (to - from) as f64).cos();
        own += weight * weight;
        samples[index] = weight * response.at(lag);
    }
    let bins = transforms.forward(samples);
    // Running sums, then the mean around each bin.
    let mut sums = Vec::with_capacity(bins.len() + 1);
    sums.push(0.0);
    let mut total = 0.0;
    for bin in &bins {
        total += bin.norm_sqr();
        sums.push(total);
    }
    let scale = energy / own.max(1e-300);
    (0..bins.len())
        .map(|k| {
            let low = to_index(k as f64 / SMOOTH);
            let high = (to_index(k as f64 * SMOOTH) + 2).min(bins.len());
            scale * (sums[high] - sums[low]) / (high - low) as f64
        })
        .collect()
}
