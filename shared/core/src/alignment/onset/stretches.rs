//! The time between the attacks: the correlation of short frames, the lowest of which, apart from chance, are the wet's
//! own.

use crate::dsp::numbers::{ring_filled, ring_place, to_index};
use crate::spectrum::pair_sums::product;

/// Length of a frame whose correlation is kept, seconds.
const STRETCH_S: f64 = 0.043;
/// Number of such frames kept.
const STRETCHES: usize = 256;
/// Least number of frames for a reading.
const ENOUGH_STRETCHES: usize = 12;
/// Offset between the channels at which they are compared to see what chance does, seconds.
const ASIDE_S: f64 = 0.000_37;
/// How many standard deviations the mean of the lowest tenth and quarter lies below the mean of a normal distribution:
/// (1.282 + 0.674)/2.
const LOWER: f64 = 0.978;
/// Frames this far below the loudest are left out, as a power ratio.
const FAINT: f64 = 1e-4;
/// Frames must be this much stronger than the faintest to count, as a power ratio.
const ABOVE_NOISE: f64 = 3.0;

/// A short frame's correlation.
#[derive(Clone, Copy, Debug, Default)]
struct Stretch {
    at: u64,
    power: f64,
    correlation: f64,
    /// The correlation with one channel early less that with the other one early: the odd part of the correlation over
    /// lag.
    odd: f64,
    /// The delay it was taken at, samples.
    lag: isize,
}

/// Keeps the last short frames. Only [`Self::new`] allocates.
pub(super) struct Stretches {
    len: usize,
    sums: [f64; 4],
    /// Samples in [`ASIDE_S`].
    aside: usize,
    at: usize,
    kept: [Stretch; STRETCHES],
    count: u64,
    sorted: [f64; STRETCHES],
}

impl Stretches {
    pub(super) fn new(rate_hz: f64) -> Self {
        Self {
            len: to_index((STRETCH_S * rate_hz).round()).max(4),
            sums: [0.0; 4],
            aside: to_index((ASIDE_S * rate_hz).round()).max(1),
            at: 0,
            kept: [Stretch::default(); STRETCHES],
            count: 0,
            sorted: [0.0; STRETCHES],
        }
    }

    pub(super) fn reset(&mut self) {
        self.sums = [0.0; 4];
        self.at = 0;
        self.count = 0;
    }

    /// Samples still missing from the current frame.
    pub(super) fn room(&self) -> usize {
        self.len - self.at
    }

    /// Number of older samples that [`Self::push`] needs in front of the new ones.
    pub(super) fn aside(&self) -> usize {
        self.aside
    }

    /// Takes samples of channels that were lined up by `lag`, the last of them number `now`: at most [`Self::room`],
    /// with [`Self::aside`] older ones before them; `powers` are the sums of the new samples' squares.
    pub(super) fn push(&mut self, [left, right]: [&[f64]; 2], powers: [f64; 2], now: u64, lag: isize) {
        let count = left.len() - self.aside;
        let (new_left, new_right) = (&left[self.aside..], &right[self.aside..]);
        let [ll, rr] = powers;
        let lr = product(new_left, new_right);
        let odd = product(new_left, &right[..count]) - product(&left[..count], new_right);
        for (sum, new) in self.sums.iter_mut().zip([ll, rr, lr, odd]) {
            *sum += new;
        }
        self.at += count;
        if self.at < self.len {
            return;
        }
        let [left, right, cross, odd] = self.sums;
        if left > 0.0 && right > 0.0 {
            self.kept[ring_place(self.count, STRETCHES)] = Stretch {
                at: now,
                power: left + right,
                correlation: cross / (left * right).sqrt(),
                odd: 0.5 * odd / (left * right).sqrt(),
                lag,
            };
            self.count += 1;
        }
        self.sums = [0.0; 4];
        self.at = 0;
    }

    /// The mean of the lowest tenth and the lowest quarter of the correlations since `oldest` that were taken at `lag`,
    /// times `sign`, and by how much that lies below their true mean by chance. The effect of chance is read from the
    /// odd part of the correlation over lag, to which a sound common to both channels contributes nothing. `None` with
    /// too few frames.
    pub(super) fn lowest(&mut self, oldest: u64, lag: isize, sign: f64) -> Option<(f64, f64)> {
        let filled = ring_filled(self.count, STRETCHES);
        let fitting = |stretch: &&Stretch| stretch.at >= oldest && (stretch.lag - lag).abs() <= 2;
        let (mut loudest, mut faintest) = (0.0f64, f64::INFINITY);
        for stretch in self.kept[..filled].iter().filter(fitting) {
            loudest = loudest.max(stretch.power);
            faintest = faintest.min(stretch.power);
        }
        let (mut count, mut odd, mut squares) = (0, 0.0, 0.0);
        for stretch in self.kept[..filled].iter().filter(fitting) {
            // What is hardly above the faintest may be noise, and noise is not the wet.
            if stretch.power > FAINT * loudest && stretch.power > ABOVE_NOISE * faintest {
                self.sorted[count] = sign * stretch.correlation;
                count += 1;
                odd += stretch.odd;
                squares += stretch.odd * stretch.odd;
            }
        }
        if count < ENOUGH_STRETCHES {
            return None;
        }
        let sorted = &mut self.sorted[..count];
        sorted.sort_unstable_by(f64::total_cmp);
        let (tenth, quarter, median) = (sorted[count / 10], sorted[count / 4], sorted[count / 2]);
        let lowest = 0.5 * (tenth + quarter);
        let mean = odd / count as f64;
        // At this one offset the odd part holds half of the quadrature part, on average over the frequencies.
        let chance = (2.0 * (squares / count as f64 - mean * mean).max(0.0)).sqrt();
        // The nearer to ±1, the less a correlation strays.
        let below = LOWER * chance * (1.0 - lowest * lowest).max(0.0);
        Some((lowest, below.min(median - lowest)))
    }
}
