//! Lines two passes up with a full one, and finds their gains in it.

use super::LARGEST_OFFSET_S;
use super::coarse::{Coarse, Cross, Thin};
use super::lags::Lags;
use super::place::{Laid, Left, Placed};
use super::sound::{PIECE, Recorded, Sound};
use super::terms::{Terms, least_residual};
use crate::dsp::numbers::to_index;
use crate::spectrum::pair_sums;

/// The coarse search uses sound decimated to about this rate, Hz.
const COARSE_HZ: f64 = 6000.0;

/// Reach of the fine search around the coarse result, coarse samples.
const FINE_REACH: isize = 2;

/// Gauss–Newton steps for the fraction of a sample.
const STEPS: usize = 4;

/// The iteration ends with a step shorter than this, samples: the residual of a full-scale sound is then 120 dB below
/// it.
const SETTLED: f64 = 1e-6;

/// Gains and offsets of two passes in a full one.
#[derive(Debug)]
pub(super) struct Alignment {
    /// Linear gains of dry and wet in the full pass.
    pub gains: [f64; 2],
    /// Whole frames by which each is later in the full pass than in its own recording.
    pub whole: [isize; 2],
    /// The remaining fraction of a frame.
    pub part: [f64; 2],
}

/// A full pass and the two that make it up.
struct Search<'a> {
    full: Recorded<'a>,
    passes: [Recorded<'a>; 2],
    /// Each pass's energy.
    energies: [f64; 2],
    /// The full pass with each.
    in_full: [Lags<'a>; 2],
    /// Dry with wet.
    between: Lags<'a>,
    /// Reach of the fine search, frames.
    around: isize,
}

impl Alignment {
    /// Frames by which a pass (dry is 0) is later in the full one than in its own.
    pub fn offset(&self, pass: usize) -> f64 {
        self.whole[pass] as f64 + self.part[pass]
    }

    /// Finds offsets and gains. No pass may be empty.
    pub fn find(full: Recorded<'_>, dry: Recorded<'_>, wet: Recorded<'_>, rate_hz: f64) -> Self {
        let step = to_index(rate_hz / COARSE_HZ).max(1);
        let longest = [full, dry, wet].map(|pass| pass.len()).into_iter().max();
        let coarse = Coarse::new(longest.unwrap_or(0), to_index(LARGEST_OFFSET_S * rate_hz), step);
        let thin_full = coarse.thin(&full);
        let thin = [coarse.thin(&dry), coarse.thin(&wet)];
        let in_full = [0, 1].map(|pass| coarse.cross(&thin_full, &thin[pass]));
        let mut search = Search {
            full,
            passes: [dry, wet],
            energies: [energy(dry), energy(wet)],
            in_full: [Lags::new(full, dry), Lags::new(full, wet)],
            between: Lags::new(dry, wet),
            around: FINE_REACH * step.cast_signed(),
        };
        // Three first guesses: both passes together, or one first and the other in the residual. The first is best when
        // they are equally loud.
        let together = coarse.together(
            [&thin[0], &thin[1]],
            [&in_full[0], &in_full[1]],
            &coarse.cross(&thin[0], &thin[1]),
        );
        let guesses = [
            together,
            search.one_by_one([0, 1], &coarse, &in_full, &thin),
            search.one_by_one([1, 0], &coarse, &in_full, &thin),
        ];
        let whole = guesses
            .map(|guess| search.fine(guess))
            .into_iter()
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map_or([0, 0], |best| best.0);
        search.refined(whole)
    }
}

impl Search<'_> {
    /// The whole lags of one pass alone, then of the other in the residual of the first; the second only to within a
    /// step. Returns dry's lag, then wet's.
    fn one_by_one(
        &mut self,
        [first, second]: [usize; 2],
        coarse: &Coarse,
        in_full: &[Cross; 2],
        thin: &[Thin; 2],
    ) -> [isize; 2] {
        let near = coarse.highest(&in_full[first]);
        let lags = near - self.around..=near + self.around;
        self.in_full[first].learn(lags.clone());
        let (lag, product) = lags
            .map(|lag| (lag, self.in_full[first].at(lag)))
            .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
            .unwrap_or((near, 0.0));
        let energy = self.energies[first];
        let laid = [Laid {
            placed: Placed::new(self.passes[first], lag, 0.0),
            gain: if energy > 0.0 { product / energy } else { 0.0 },
        }];
        let left = coarse.thin(&Left::new(self.full, &laid));
        let mut found = [0; 2];
        found[first] = lag;
        found[second] = coarse.highest(&coarse.cross(&left, &thin[second]));
        found
    }

    /// The whole lags with the least residual near a guess, and the energy they explain.
    fn fine(&mut self, guess: [isize; 2]) -> ([isize; 2], f64) {
        let reach = self.around;
        for (lags, middle) in self.in_full.iter_mut().zip(guess) {
            lags.learn(middle - reach..=middle + reach);
        }
        let apart = guess[1] - guess[0];
        self.between.learn(apart - 2 * reach..=apart + 2 * reach);
        let places = guess.map(|place| (place - reach..=place + reach).collect::<Vec<_>>());
        least_residual(
            [&places[0], &places[1]],
            self.energies,
            |d| self.in_full[0].at(d),
            |w| self.in_full[1].at(w),
            |lag| self.between.at(lag),
        )
    }

    /// Refines whole lags to fractions of a sample.
    fn refined(&self, whole: [isize; 2]) -> Alignment {
        let full_energy = energy(self.full);
        let mut part = [0.0; 2];
        let mut best = Alignment {
            gains: [0.0; 2],
            whole,
            part,
        };
        let mut least = f64::INFINITY;
        for _ in 0..=STEPS {
            let Equations { normal, right } = self.equations(whole, part);
            let (gains, explained) = Terms {
                full_dry: right[0],
                full_wet: right[1],
                dry_wet: normal[0][1],
                dry: normal[0][0],
                wet: normal[1][1],
            }
            .fit();
            let energy = full_energy - explained;
            if energy >= least {
                break;
            }
            least = energy;
            best = Alignment { gains, whole, part };
            // The slope's coefficient over the gain is the pass's further delay, with opposite sign.
            let Some(found) = solved(normal, right) else { break };
            let mut next = part;
            for i in 0..2 {
                if found[i] != 0.0 {
                    next[i] = (part[i] - found[2 + i] / found[i]).clamp(-1.0, 1.0);
                }
            }
            // Passes that lie on whole samples stay there, which saves the interpolation.
            next = next.map(|offset| if offset.abs() < 1e-3 { 0.0 } else { offset });
            if (0..2).all(|i| (next[i] - part[i]).abs() < SETTLED) {
                break;
            }
            part = next;
        }
        best
    }

    /// The normal equations of the four columns dry, wet and their slopes, placed in the full pass.
    fn equations(&self, whole: [isize; 2], part: [f64; 2]) -> Equations {
        let placed = [0, 1].map(|i| Placed::new(self.passes[i], whole[i], part[i]));
        let mut sums = Equations::default();
        let mut columns = [[0.0; PIECE]; 4];
        for channel in 0..2 {
            self.full.pieces(channel, |start, full| {
                let frames = full.len();
                for (i, placed) in placed.iter().enumerate() {
                    placed.fill(channel, start, &mut columns[i][..frames]);
                    placed.fill_slope(channel, start, &mut columns[2 + i][..frames]);
                }
                for (i, a) in columns.iter().enumerate() {
                    sums.right[i] += pair_sums::product(&a[..frames], full);
                    for (j, b) in columns[..=i].iter().enumerate() {
                        sums.normal[i][j] += pair_sums::product(&a[..frames], &b[..frames]);
                    }
                }
            });
        }
        for i in 0..4 {
            for j in i + 1..4 {
                sums.normal[i][j] = sums.normal[j][i];
            }
        }
        sums
    }
}

/// Normal equations.
#[derive(Default)]
struct Equations {
    normal: [[f64; 4]; 4],
    right: [f64; 4],
}

fn energy(pass: Recorded<'_>) -> f64 {
    let mut energy = 0.0;
    for channel in 0..2 {
        pass.pieces(channel, |_, piece| energy += pair_sums::product(piece, piece));
    }
    energy
}

/// Solves four equations by elimination with pivoting; `None` if they are dependent.
fn solved(mut a: [[f64; 4]; 4], mut b: [f64; 4]) -> Option<[f64; 4]> {
    for column in 0..4 {
        let pivot = (column..4).max_by(|&i, &j| a[i][column].abs().total_cmp(&a[j][column].abs()))?;
        if a[pivot][column].abs() < 1e-30 {
            return None;
        }
        a.swap(column, pivot);
        b.swap(column, pivot);
        for row in column + 1..4 {
            let factor = a[row][column] / a[column][column];
            let above = a[column];
            for (x, y) in a[row].iter_mut().zip(above) {
                *x -= factor * y;
            }
            b[row] -= factor * b[column];
        }
    }
    let mut x = [0.0; 4];
    for row in (0..4).rev() {
        let known: f64 = (row + 1..4).map(|j| a[row][j] * x[j]).sum();
        x[row] = (b[row] - known) / a[row][row];
    }
    Some(x)
}
