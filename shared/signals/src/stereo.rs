//! A pair of channels and its basic measures.

use crate::numbers::to_single;

/// Left and right channel, equally long. Full scale is ±1.0.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Stereo {
    /// The left channel.
    pub left: Vec<f64>,
    /// The right channel.
    pub right: Vec<f64>,
}

impl Stereo {
    /// A pair from its channels.
    ///
    /// # Panics
    /// If the channels differ in length.
    pub fn new(left: Vec<f64>, right: Vec<f64>) -> Self {
        assert_eq!(left.len(), right.len(), "both channels must be equally long");
        Self { left, right }
    }

    /// `len` frames of silence.
    pub fn silence(len: usize) -> Self {
        Self {
            left: vec![0.0; len],
            right: vec![0.0; len],
        }
    }

    /// The same signal in both channels.
    pub fn dual_mono(signal: &[f64]) -> Self {
        Self {
            left: signal.to_vec(),
            right: signal.to_vec(),
        }
    }

    /// Length in frames.
    pub fn len(&self) -> usize {
        self.left.len()
    }

    /// Whether there is no frame at all.
    pub fn is_empty(&self) -> bool {
        self.left.is_empty()
    }

    /// The sum of two pairs, sample by sample.
    ///
    /// # Panics
    /// If the lengths differ.
    pub fn plus(&self, other: &Self) -> Self {
        assert_eq!(self.len(), other.len(), "only pairs of equal length can be added");
        let add = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| x + y).collect();
        Self {
            left: add(&self.left, &other.left),
            right: add(&self.right, &other.right),
        }
    }

    /// Multiplies both channels by `gain` (linear).
    pub fn scale(&mut self, gain: f64) {
        self.scale_channels(gain, gain);
    }

    /// Multiplies each channel by its own gain (linear).
    pub fn scale_channels(&mut self, left_gain: f64, right_gain: f64) {
        self.left.iter_mut().for_each(|x| *x *= left_gain);
        self.right.iter_mut().for_each(|x| *x *= right_gain);
    }

    /// The first `len` frames, padded with silence if there are fewer.
    pub fn resized(mut self, len: usize) -> Self {
        self.left.resize(len, 0.0);
        self.right.resize(len, 0.0);
        self
    }

    /// Appends `next` to this pair.
    pub fn append(&mut self, next: &Self) {
        self.left.extend_from_slice(&next.left);
        self.right.extend_from_slice(&next.right);
    }

    /// Mean-square power, both channels summed.
    pub fn power(&self) -> f64 {
        mean_power(&self.left) + mean_power(&self.right)
    }

    /// Largest absolute sample of either channel.
    pub fn peak(&self) -> f64 {
        self.left
            .iter()
            .chain(&self.right)
            .fold(0.0, |peak, x| x.abs().max(peak))
    }

    /// Both channels averaged, `(L + R)/2`.
    pub fn mid(&self) -> Vec<f64> {
        self.left
            .iter()
            .zip(&self.right)
            .map(|(l, r)| 0.5 * (l + r))
            .collect()
    }

    /// Correlation of the channels at lag zero; see [`correlation`].
    pub fn correlation(&self) -> f64 {
        correlation(&self.left, &self.right)
    }

    /// The mono sum by the average law over the mean power of both channels, dB: 0 for equal channels, −3.01 for
    /// uncorrelated ones, −∞ for opposite ones.
    pub fn sum_difference_db(&self) -> f64 {
        power_db(2.0 * mean_power(&self.mid()) / self.power())
    }

    /// Left and right alternating, as `f32`, for a file or a host.
    pub fn interleaved_f32(&self) -> Vec<f32> {
        self.left
            .iter()
            .zip(&self.right)
            .flat_map(|(&l, &r)| [to_single(l), to_single(r)])
            .collect()
    }
}

/// Mean square of a signal; 0 for an empty one.
pub fn mean_power(signal: &[f64]) -> f64 {
    if signal.is_empty() {
        0.0
    } else {
        dot(signal, signal) / signal.len() as f64
    }
}

/// `E[xy] / √(E[x²]·E[y²])`, −1 to +1, the mean not removed; NaN if either is silent.
pub fn correlation(x: &[f64], y: &[f64]) -> f64 {
    dot(x, y) / (dot(x, x) * dot(y, y)).sqrt()
}

/// A power ratio in dB; −∞ for 0.
pub fn power_db(ratio: f64) -> f64 {
    10.0 * ratio.log10()
}

/// The linear factor of a level in dB.
pub fn amplitude(db: f64) -> f64 {
    10f64.powf(db / 20.0)
}

/// Sum of products. In blocks, which keeps the rounding error of a long signal far below the tests' tolerances.
pub(crate) fn dot(x: &[f64], y: &[f64]) -> f64 {
    x.chunks(1024)
        .zip(y.chunks(1024))
        .map(|(a, b)| a.iter().zip(b).map(|(p, q)| p * q).sum::<f64>())
        .sum()
}
