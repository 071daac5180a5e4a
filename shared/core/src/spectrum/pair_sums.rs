//! Exact sums over a pair of channels in the time domain, for a take's broadband figures.

use multiversion::multiversion;

use crate::dsp::db;

/// Sums of squares and products over frames. However the frames are divided, the figures are the same to rounding.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct PairSums {
    /// Frames summed.
    pub frames: u64,
    /// Sum of the left channel's squares.
    pub left: f64,
    /// Sum of the right channel's squares.
    pub right: f64,
    /// Sum of the products left times right.
    pub cross: f64,
}

/// `Σl²`, `Σr²` and `Σlr` over as many frames as the shorter slice has. Four partial sums: a single one would wait for
/// each addition, and rounds worse.
fn products<S: Copy + Into<f64>>(left: &[S], right: &[S]) -> [f64; 3] {
    const LANES: usize = 4;
    let frames = left.len().min(right.len());
    let (left, left_rest) = left[..frames].as_chunks::<LANES>();
    let (right, right_rest) = right[..frames].as_chunks::<LANES>();
    let mut sums = [[0.0; LANES]; 3];
    for (left, right) in left.iter().zip(right) {
        for lane in 0..LANES {
            let (l, r): (f64, f64) = (left[lane].into(), right[lane].into());
            sums[0][lane] += l * l;
            sums[1][lane] += r * r;
            sums[2][lane] += l * r;
        }
    }
    for (&l, &r) in left_rest.iter().zip(right_rest) {
        let (l, r): (f64, f64) = (l.into(), r.into());
        sums[0][0] += l * l;
        sums[1][0] += r * r;
        sums[2][0] += l * r;
    }
    sums.map(|lanes| lanes.iter().sum())
}

/// `Σab` over as many samples as the shorter slice has, in four partial sums like [`products`].
#[multiversion(targets("x86_64+avx"))]
pub(crate) fn product(a: &[f64], b: &[f64]) -> f64 {
    const LANES: usize = 4;
    let samples = a.len().min(b.len());
    let (a, a_rest) = a[..samples].as_chunks::<LANES>();
    let (b, b_rest) = b[..samples].as_chunks::<LANES>();
    let mut sums = [0.0; LANES];
    for (a, b) in a.iter().zip(b) {
        for lane in 0..LANES {
            sums[lane] += a[lane] * b[lane];
        }
    }
    let rest: f64 = a_rest.iter().zip(b_rest).map(|(a, b)| a * b).sum();
    sums.iter().sum::<f64>() + rest
}

/// `Σa`, in four partial sums like [`products`].
#[multiversion(targets("x86_64+avx"))]
pub(crate) fn sum(a: &[f64]) -> f64 {
    const LANES: usize = 4;
    let (fours, rest) = a.as_chunks::<LANES>();
    let mut sums = [0.0; LANES];
    for four in fours {
        for lane in 0..LANES {
            sums[lane] += four[lane];
        }
    }
    let [first, second, third, fourth] = sums;
    let mut all = first + second + third + fourth;
    for a in rest {
        all += a;
    }
    all
}

impl PairSums {
    /// Adds one frame. The samples must be finite.
    #[inline]
    pub fn add(&mut self, left: f64, right: f64) {
        self.frames += 1;
        self.left += left * left;
        self.right += right * right;
        self.cross += left * right;
    }

    /// Adds frames, as many as the shorter slice has. The samples must be finite.
    pub fn add_all<S: Copy + Into<f64>>(&mut self, left: &[S], right: &[S]) {
        self.frames += left.len().min(right.len()) as u64;
        let [ll, rr, lr] = products(left, right);
        self.left += ll;
        self.right += rr;
        self.cross += lr;
    }

    /// The same for the double precision frames of the analysis.
    pub(crate) fn add_run(&mut self, left: &[f64], right: &[f64]) {
        self.frames += left.len().min(right.len()) as u64;
        self.left += product(left, left);
        self.right += product(right, right);
        self.cross += product(left, right);
    }

    /// Mean squares of the left and right channel; zero without frames.
    #[must_use]
    pub fn powers(&self) -> (f64, f64) {
        let frames = self.frames.max(1) as f64;
        (self.left / frames, self.right / frames)
    }

    /// Mean power of both channels.
    #[must_use]
    pub fn mean_power(&self) -> f64 {
        let (left, right) = self.powers();
        (left + right) / 2.0
    }

    /// Correlation at lag zero, −1 to +1: `Σlr / √(Σl²·Σr²)`. The means are not removed, unlike in Pearson's
    /// coefficient: audio has practically none, and the sum identities hold exactly. `None` when a channel is below the
    /// reading floor ([`db::NO_READING_DBFS`]).
    #[must_use]
    pub fn correlation(&self) -> Option<f64> {
        let (left, right) = self.powers();
        let floor = db::to_power(db::NO_READING_DBFS);
        (left > floor && right > floor)
            .then(|| (self.cross / (self.left * self.right).sqrt()).clamp(-1.0, 1.0))
    }

    /// The sum difference of two straight lines: the average sum over the mean power of both channels, dB. 0 for equal
    /// channels, −3.01 for uncorrelated ones, −∞ for opposite ones. `None` below the reading floor.
    #[must_use]
    pub fn sum_difference_db(&self) -> Option<f64> {
        self.difference_db(1.0)
    }

    /// The same with one line flipped.
    #[must_use]
    pub fn flipped_difference_db(&self) -> Option<f64> {
        self.difference_db(-1.0)
    }

    fn difference_db(&self, sign: f64) -> Option<f64> {
        let both = self.left + self.right;
        (db::from_power(self.mean_power()) > db::NO_READING_DBFS)
            .then(|| db::from_power((both + sign * 2.0 * self.cross) / (2.0 * both)))
    }

    /// Level of the left channel over the right one, dB; ±∞ when one is silent, `None` when both are.
    #[must_use]
    pub fn level_difference_db(&self) -> Option<f64> {
        match (self.left > 0.0, self.right > 0.0) {
            (true, true) => Some(db::from_power(self.left / self.right)),
            (true, false) => Some(f64::INFINITY),
            (false, true) => Some(f64::NEG_INFINITY),
            (false, false) => None,
        }
    }
}
