//! The time between the attacks: the correlation of short frames, of which the lowest are the wet's own, but for chance.

use crate::spectrum::pair_sums::product;

/// Length of a frame whose correlation is kept, seconds.
const STRETCH_S: f64 = 0.043;
/// This many such frames are kept.
const STRETCHES: usize = 256;
/// With fewer frames than this nothing is said about them.
const ENOUGH_STRETCHES: usize = 12;
/// How far aside of each other the channels are compared to see what chance does, seconds.
const ASIDE_S: f64 = 0.000_37;
/// By how many standard deviations the mean of the lowest tenth and quarter lies below what it scatters about, if that's normally
/// distributed: (1.282 + 0.674)/2.
const LOWER: f64 = 0.978;
/// Frames this far below the loudest have no say, as a power ratio.
const FAINT: f64 = 1e-4;
/// Frames must be this much stronger than the faintest, as a power ratio.
const ABOVE_NOISE: f64 = 3.0;

/// A short frame's correlation.
#[derive(Clone, Copy, Debug, Default)]
struct Stretch {
    at: u64,
    power: f64,
    correlation: f64,
    /// What is alike in the channels with one of them earlier, less the same with the other: the odd part of their correlation
    /// over lag.
    odd: f64,
    /// The delay it was taken at, samples.
    lag: isize,
}

/// Takes frames and keeps the last ones. Allocates nothing.
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
            len: ((STRETCH_S * rate_hz).round() as usize).max(4),
            sums: [0.0; 4],
            aside: ((ASIDE_S * rate_hz).round() as usize).max(1),
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

    /// How many more samples the frame at hand takes.
    pub(super) fn room(&self) -> usize {
        self.len - self.at
    }

    /// How many samples before those that are new are wanted with them.
    pub(super) fn aside(&self) -> usize {
        self.aside
    }

    /// Takes samples of channels that were lined up by `lag`, the last of them number `now`: no more than there's room for, and
    /// [`Self::aside`] older ones before them; `powers` are the sums of the new ones' squares.
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
            self.kept[(self.count % STRETCHES as u64) as usize] = Stretch {
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

    /// The mean of the lowest tenth and the lowest quarter of the correlations since `oldest` that were taken at `lag`, times
    /// `sign`, and by how much that lies below what they scatter about by chance. How much chance does is seen in the odd part of
    /// the correlation over lag, to which a sound that is one in both channels brings nothing. `None` with too few frames.
    pub(super) fn lowest(&mut self, oldest: u64, lag: isize, sign: f64) -> Option<(f64, f64)> {
        let filled = (self.count as usize).min(STRETCHES);
        let fitting = |stretch: &&Stretch| stretch.at >= oldest && (stretch.lag - lag).abs() <= 2;
        let (mut loudest, mut faintest) = (0.0f64, f64::INFINITY);
        for stretch in self.kept[..filled].iter().filter(fitting) {
            loudest = loudest.max(stretch.power);
            faintest = faintest.min(stretch.power);
        }
        let (mut count, mut odd, mut squares) = (0, 0.0, 0.0);
        for stretch in self.kept[..filled].iter().filter(fitting) {
            // What is hardly above the faintest may be noise, which is nobody's wet.
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
        // At one time aside the odd part holds half of what is a quarter turn off, on average over the frequencies.
        let chance = (2.0 * (squares / count as f64 - mean * mean).max(0.0)).sqrt();
        // The nearer to ±1, the less a correlation strays.
        let below = LOWER * chance * (1.0 - lowest * lowest).max(0.0);
        Some((lowest, below.min(median - lowest)))
    }
}
