//! The time between the attacks: the correlation of short frames, of which the lowest are the wet's own.

/// Length of a frame whose correlation is kept, seconds.
const STRETCH_S: f64 = 0.043;
/// This many such frames are kept.
const STRETCHES: usize = 256;
/// With fewer frames than this nothing is said about them.
const ENOUGH_STRETCHES: usize = 12;
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
    /// The delay it was taken at, samples.
    lag: isize,
}

/// Takes frames and keeps the last ones. Allocates nothing.
pub(super) struct Stretches {
    len: usize,
    sums: [f64; 3],
    at: usize,
    kept: [Stretch; STRETCHES],
    count: u64,
    sorted: [f64; STRETCHES],
}

impl Stretches {
    pub(super) fn new(rate_hz: f64) -> Self {
        Self {
            len: ((STRETCH_S * rate_hz).round() as usize).max(4),
            sums: [0.0; 3],
            at: 0,
            kept: [Stretch::default(); STRETCHES],
            count: 0,
            sorted: [0.0; STRETCHES],
        }
    }

    pub(super) fn reset(&mut self) {
        self.sums = [0.0; 3];
        self.at = 0;
        self.count = 0;
    }

    /// Takes a frame whose channels were lined up by `lag` samples, as number `now`.
    #[inline]
    pub(super) fn push(&mut self, left: f64, right: f64, now: u64, lag: isize) {
        self.sums[0] += left * left;
        self.sums[1] += right * right;
        self.sums[2] += left * right;
        self.at += 1;
        if self.at < self.len {
            return;
        }
        let [left, right, cross] = self.sums;
        if left > 0.0 && right > 0.0 {
            self.kept[(self.count % STRETCHES as u64) as usize] = Stretch {
                at: now,
                power: left + right,
                correlation: cross / (left * right).sqrt(),
                lag,
            };
            self.count += 1;
        }
        self.sums = [0.0; 3];
        self.at = 0;
    }

    /// The mean of the lowest tenth and the lowest quarter of the correlations since `oldest` that were taken at `lag`, times
    /// `sign`. `None` with too few frames.
    pub(super) fn lowest(&mut self, oldest: u64, lag: isize, sign: f64) -> Option<f64> {
        let filled = (self.count as usize).min(STRETCHES);
        let fitting = |stretch: &&Stretch| stretch.at >= oldest && (stretch.lag - lag).abs() <= 2;
        let (mut loudest, mut faintest) = (0.0f64, f64::INFINITY);
        for stretch in self.kept[..filled].iter().filter(fitting) {
            loudest = loudest.max(stretch.power);
            faintest = faintest.min(stretch.power);
        }
        let mut count = 0;
        for stretch in self.kept[..filled].iter().filter(fitting) {
            // What is hardly above the faintest may be noise, which is nobody's wet.
            if stretch.power > FAINT * loudest && stretch.power > ABOVE_NOISE * faintest {
                self.sorted[count] = sign * stretch.correlation;
                count += 1;
            }
        }
        if count < ENOUGH_STRETCHES {
            return None;
        }
        let sorted = &mut self.sorted[..count];
        sorted.sort_unstable_by(f64::total_cmp);
        Some(0.5 * (sorted[count / 10] + sorted[count / 4]))
    }
}
