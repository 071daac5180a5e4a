//! Lining up two passes with a full one, and their gains in it.

use realfft::RealFftPlanner;

use crate::Complex;
use crate::split::two_pass::LARGEST_OFFSET_S;

/// The coarse search looks at sound thinned out to about this rate, Hz.
const COARSE_HZ: f64 = 6000.0;

/// Tops of each cross-correlation that the coarse search tries against each other.
const TOPS: usize = 24;

/// The fine search tries whole samples up to this many coarse samples around the coarse place.
const FINE_REACH: isize = 2;

/// Gauss–Newton steps below a sample.
const STEPS: usize = 4;

/// Where two passes lie in a full one.
#[derive(Debug)]
pub(super) struct Alignment {
    /// Linear gains of dry and wet in the full pass.
    pub gains: [f64; 2],
    /// Frames by which each is later in the full pass than in its own.
    pub offsets: [f64; 2],
    /// What is left of the full pass.
    pub residual: [Vec<f64>; 2],
}

/// Correlations that the residual of `full = g_d·dry + g_w·wet` hangs on, for one pair of whole offsets.
#[derive(Clone, Copy)]
struct Terms {
    full_dry: f64,
    full_wet: f64,
    dry_wet: f64,
    dry: f64,
    wet: f64,
}

impl Terms {
    /// The two gains, and the energy they explain.
    fn fit(&self) -> ([f64; 2], f64) {
        let determinant = self.dry * self.wet - self.dry_wet * self.dry_wet;
        // Passes that are nearly the same sound can't be told apart; then one gain does for both.
        if determinant <= 1e-9 * self.dry * self.wet {
            let both = self.dry + self.wet + 2.0 * self.dry_wet;
            let gain = if both > 0.0 {
                (self.full_dry + self.full_wet) / both
            } else {
                0.0
            };
            return ([gain; 2], gain * (self.full_dry + self.full_wet));
        }
        let gains = [
            (self.full_dry * self.wet - self.full_wet * self.dry_wet) / determinant,
            (self.full_wet * self.dry - self.full_dry * self.dry_wet) / determinant,
        ];
        (gains, gains[0] * self.full_dry + gains[1] * self.full_wet)
    }
}

impl Alignment {
    /// Finds offsets and gains. Channels are left and right; no pass may be empty.
    pub fn find(full: &[Vec<f64>; 2], dry: &[Vec<f64>; 2], wet: &[Vec<f64>; 2], rate_hz: f64) -> Self {
        let step = ((rate_hz / COARSE_HZ) as usize).max(1);
        let thin = |pass: &[Vec<f64>; 2]| [thinned(&pass[0], step), thinned(&pass[1], step)];
        let reach = ((LARGEST_OFFSET_S * rate_hz) as usize).div_ceil(step) as isize;
        // Three ways to a first guess: both passes at once, or the louder one first and the other in what it leaves. The
        // first is at its best when they are equally loud.
        let together =
            coarse_offsets(&thin(full), &thin(dry), &thin(wet), reach).map(|offset| offset * step as isize);
        let [d, w] = one_by_one(full, dry, wet, step, reach);
        let [last_w, last_d] = one_by_one(full, wet, dry, step, reach);
        let fine = [together, [d, w], [last_d, last_w]]
            .map(|guess| fine_offsets(full, dry, wet, guess, FINE_REACH * step as isize))
            .into_iter()
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map_or([0, 0], |best| best.0);
        Self::refined(full, dry, wet, fine)
    }

    /// Steps below a sample.
    fn refined(full: &[Vec<f64>; 2], dry: &[Vec<f64>; 2], wet: &[Vec<f64>; 2], whole: [isize; 2]) -> Self {
        let len = full[0].len();
        let mut part = [0.0; 2];
        let mut best: Option<Self> = None;
        let mut best_energy = f64::INFINITY;
        for round in 0..=STEPS {
            // Each pass and its slope, laid onto the full one.
            let placed: [[[Vec<f64>; 2]; 2]; 2] = core::array::from_fn(|i| {
                let pass = if i == 0 { dry } else { wet };
                core::array::from_fn(|channel| placed(&pass[channel], whole[i], part[i], len))
            });
            let columns = |channel: usize| -> [&[f64]; 4] {
                [
                    &placed[0][channel][0],
                    &placed[1][channel][0],
                    &placed[0][channel][1],
                    &placed[1][channel][1],
                ]
            };
            let mut normal = [[0.0; 4]; 4];
            let mut right = [0.0; 4];
            for (channel, whole_pass) in full.iter().enumerate() {
                let columns = columns(channel);
                for (i, a) in columns.iter().enumerate() {
                    right[i] += dot(a, whole_pass);
                    for (j, b) in columns.iter().enumerate() {
                        normal[i][j] += dot(a, b);
                    }
                }
            }
            let terms = Terms {
                full_dry: right[0],
                full_wet: right[1],
                dry_wet: normal[0][1],
                dry: normal[0][0],
                wet: normal[1][1],
            };
            let (gains, _) = terms.fit();
            let residual: [Vec<f64>; 2] = core::array::from_fn(|channel| {
                let columns = columns(channel);
                full[channel]
                    .iter()
                    .enumerate()
                    .map(|(n, x)| x - gains[0] * columns[0][n] - gains[1] * columns[1][n])
                    .collect()
            });
            let energy: f64 = residual.iter().map(|channel| dot(channel, channel)).sum();
            if energy >= best_energy {
                break;
            }
            best_energy = energy;
            best = Some(Self {
                gains,
                offsets: core::array::from_fn(|i| whole[i] as f64 + part[i]),
                residual,
            });
            if round == STEPS {
                break;
            }
            // The slopes' share of what is left, over the gain, is how much later each pass must lie.
            let Some(found) = solved(normal, right) else { break };
            for i in 0..2 {
                if found[i] != 0.0 {
                    part[i] = (part[i] - found[2 + i] / found[i]).clamp(-1.0, 1.0);
                }
            }
            // Passes that lie on whole samples are left there, so that nothing is interpolated for nothing.
            part = part.map(|offset| if offset.abs() < 1e-3 { 0.0 } else { offset });
        }
        best.unwrap_or_else(|| Self {
            gains: [0.0; 2],
            offsets: whole.map(|offset| offset as f64),
            residual: full.clone(),
        })
    }
}

/// The whole offsets with the least residual among those at the tops of the cross-correlations, up to `reach` away.
fn coarse_offsets(
    full: &[Vec<f64>; 2],
    dry: &[Vec<f64>; 2],
    wet: &[Vec<f64>; 2],
    reach: isize,
) -> [isize; 2] {
    let longest = [full, dry, wet].map(|pass| pass[0].len());
    let correlate = Correlate::new(2 * longest.into_iter().max().unwrap_or(0));
    let [full, dry, wet] =
        [full, dry, wet].map(|pass| [0, 1].map(|channel| correlate.spectrum(&pass[channel])));
    let full_dry = correlate.cross(&full, &dry);
    let full_wet = correlate.cross(&full, &wet);
    let dry_wet = correlate.cross(&dry, &wet);
    let at = |lags: &[f64], lag: isize| lags[lag.rem_euclid(lags.len() as isize) as usize];
    let energies = [correlate.cross(&dry, &dry)[0], correlate.cross(&wet, &wet)[0]];
    least_residual(
        [&tops(&full_dry, reach), &tops(&full_wet, reach)],
        energies,
        |d| at(&full_dry, d),
        |w| at(&full_wet, w),
        |lag| at(&dry_wet, lag),
    )
    .0
}

/// The whole offsets of one pass by itself, then of the other in what the first leaves of the full one; the second only
/// to within a step.
fn one_by_one(
    full: &[Vec<f64>; 2],
    first: &[Vec<f64>; 2],
    second: &[Vec<f64>; 2],
    step: usize,
    reach: isize,
) -> [isize; 2] {
    let highest = |a: &[Vec<f64>; 2], b: &[Vec<f64>; 2]| -> isize {
        let [a, b] = [a, b].map(|pass| [0, 1].map(|channel| thinned(&pass[channel], step)));
        let correlate = Correlate::new(2 * a[0].len().max(b[0].len()));
        let [a, b] = [a, b].map(|pass| [0, 1].map(|channel| correlate.spectrum(&pass[channel])));
        let lags = correlate.cross(&a, &b);
        let height = |lag: isize| lags[lag.rem_euclid(lags.len() as isize) as usize].abs();
        let reach = reach.min(lags.len() as isize / 2 - 1);
        (-reach..=reach)
            .max_by(|&p, &q| height(p).total_cmp(&height(q)))
            .unwrap_or(0)
            * step as isize
    };
    let both = |lag: isize| -> f64 {
        (0..2)
            .map(|channel| lagged(&full[channel], &first[channel], lag))
            .sum()
    };
    let near = highest(full, first);
    let around = FINE_REACH * step as isize;
    let (place, product) = (near - around..=near + around)
        .map(|lag| (lag, both(lag)))
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
        .unwrap_or((near, 0.0));
    let energy = dot(&first[0], &first[0]) + dot(&first[1], &first[1]);
    let gain = if energy > 0.0 { product / energy } else { 0.0 };
    let left: [Vec<f64>; 2] = core::array::from_fn(|channel| {
        (0isize..)
            .zip(&full[channel])
            .map(|(n, x)| {
                let sample = usize::try_from(n - place)
                    .ok()
                    .and_then(|n| first[channel].get(n));
                x - gain * sample.unwrap_or(&0.0)
            })
            .collect()
    });
    [place, highest(&left, second)]
}

/// The whole offsets with the least residual among all up to `reach` around a place. By direct sums: transforms of a
/// minute of sound would take hundreds of megabytes.
fn fine_offsets(
    full: &[Vec<f64>; 2],
    dry: &[Vec<f64>; 2],
    wet: &[Vec<f64>; 2],
    around: [isize; 2],
    reach: isize,
) -> ([isize; 2], f64) {
    let lags = |a: &[Vec<f64>; 2], b: &[Vec<f64>; 2], middle: isize, reach: isize| -> Vec<f64> {
        (middle - reach..=middle + reach)
            .map(|lag| (0..2).map(|channel| lagged(&a[channel], &b[channel], lag)).sum())
            .collect()
    };
    let between = around[1] - around[0];
    let full_dry = lags(full, dry, around[0], reach);
    let full_wet = lags(full, wet, around[1], reach);
    let dry_wet = lags(dry, wet, between, 2 * reach);
    let energy = |pass: &[Vec<f64>; 2]| dot(&pass[0], &pass[0]) + dot(&pass[1], &pass[1]);
    let places = around.map(|place| (place - reach..=place + reach).collect::<Vec<_>>());
    least_residual(
        [&places[0], &places[1]],
        [energy(dry), energy(wet)],
        |d| full_dry[(d - around[0] + reach) as usize],
        |w| full_wet[(w - around[1] + reach) as usize],
        |lag| dry_wet[(lag - between + 2 * reach) as usize],
    )
}

/// `Σ a[n]·b[n−lag]`.
fn lagged(a: &[f64], b: &[f64], lag: isize) -> f64 {
    let (a, b) = if lag >= 0 {
        (a.get(lag as usize..).unwrap_or_default(), b)
    } else {
        (a, b.get(lag.unsigned_abs()..).unwrap_or_default())
    };
    dot(a, b)
}

/// Tries every pair of offsets of dry and wet; correlations by lag. The best, and the energy it explains.
fn least_residual(
    candidates: [&[isize]; 2],
    [dry, wet]: [f64; 2],
    full_dry: impl Fn(isize) -> f64,
    full_wet: impl Fn(isize) -> f64,
    dry_wet: impl Fn(isize) -> f64,
) -> ([isize; 2], f64) {
    let mut best = ([0, 0], f64::NEG_INFINITY);
    for &d in candidates[0] {
        for &w in candidates[1] {
            let terms = Terms {
                full_dry: full_dry(d),
                full_wet: full_wet(w),
                // Σ dry[n−d]·wet[n−w].
                dry_wet: dry_wet(w - d),
                dry,
                wet,
            };
            let (_, explained) = terms.fit();
            if explained > best.1 {
                best = ([d, w], explained);
            }
        }
    }
    best
}

/// The lags of the highest tops, either sign, among those up to `reach`; 0 always among them.
fn tops(lags: &[f64], reach: isize) -> Vec<isize> {
    let len = lags.len() as isize;
    let reach = reach.min(len / 2 - 2).max(0);
    let height = |lag: isize| lags[lag.rem_euclid(len) as usize].abs();
    let mut found: Vec<isize> = (-reach..=reach)
        .filter(|&lag| height(lag) >= height(lag - 1) && height(lag) > height(lag + 1))
        .collect();
    found.sort_by(|&a, &b| height(b).total_cmp(&height(a)));
    found.truncate(TOPS);
    found.push(0);
    found
}

/// Cross-correlations by FFT.
struct Correlate {
    len: usize,
    forward: std::sync::Arc<dyn realfft::RealToComplex<f64>>,
    inverse: std::sync::Arc<dyn realfft::ComplexToReal<f64>>,
}

impl Correlate {
    fn new(at_least: usize) -> Self {
        let len = at_least.max(32).next_power_of_two();
        let mut planner = RealFftPlanner::<f64>::new();
        Self {
            len,
            forward: planner.plan_fft_forward(len),
            inverse: planner.plan_fft_inverse(len),
        }
    }

    fn spectrum(&self, signal: &[f64]) -> Vec<Complex<f64>> {
        let mut padded = vec![0.0; self.len];
        padded[..signal.len()].copy_from_slice(signal);
        let mut spectrum = self.forward.make_output_vec();
        if self.forward.process(&mut padded, &mut spectrum).is_err() {
            spectrum.fill(Complex::new(0.0, 0.0));
        }
        spectrum
    }

    /// `Σ a[n]·b[n−lag]` over both channels, negative lags at the end.
    fn cross(&self, a: &[Vec<Complex<f64>>; 2], b: &[Vec<Complex<f64>>; 2]) -> Vec<f64> {
        let mut product: Vec<Complex<f64>> = (0..=self.len / 2)
            .map(|k| a[0][k] * b[0][k].conj() + a[1][k] * b[1][k].conj())
            .collect();
        product[0].im = 0.0;
        product[self.len / 2].im = 0.0;
        let mut lags = vec![0.0; self.len];
        if self.inverse.process(&mut product, &mut lags).is_err() {
            lags.fill(0.0);
        }
        let scale = 1.0 / self.len as f64;
        lags.iter_mut().for_each(|lag| *lag *= scale);
        lags
    }
}

/// Every `step`-th sample of the running mean over two steps: enough of a low-pass to find a place by.
fn thinned(signal: &[f64], step: usize) -> Vec<f64> {
    if step == 1 {
        return signal.to_vec();
    }
    (0..signal.len())
        .step_by(step)
        .map(|at| {
            // A triangle: its zeros lie on what would fold onto 0 Hz.
            let begin = (at + 1).saturating_sub(step);
            let end = (at + step).min(signal.len());
            signal[begin..end]
                .iter()
                .enumerate()
                .map(|(i, x)| x * (step as f64 - (begin + i).abs_diff(at) as f64))
                .sum::<f64>()
                / (step * step) as f64
        })
        .collect()
}

/// Half the length of the interpolating sinc, samples.
const SINC_HALF: isize = 32;

/// A signal moved by `whole + part` samples, cut or filled up to `len`, and its slope per sample there.
fn placed(signal: &[f64], whole: isize, part: f64, len: usize) -> [Vec<f64>; 2] {
    use core::f64::consts::PI;
    let kernel = |slope: bool| -> Vec<f64> {
        (-SINC_HALF..=SINC_HALF)
            .map(|i| {
                let t = i as f64 - part;
                let window = if t.abs() >= SINC_HALF as f64 {
                    0.0
                } else {
                    0.5 + 0.5 * (PI * t / SINC_HALF as f64).cos()
                };
                let near = t.abs() < 1e-9;
                let value = match (slope, near) {
                    (false, true) => 1.0,
                    (false, false) => (PI * t).sin() / (PI * t),
                    (true, true) => 0.0,
                    (true, false) => (PI * t).cos() / t - (PI * t).sin() / (PI * t * t),
                };
                value * window
            })
            .collect()
    };
    let sample = |n: isize| {
        usize::try_from(n)
            .ok()
            .and_then(|n| signal.get(n))
            .copied()
            .unwrap_or(0.0)
    };
    let run = |kernel: &[f64]| -> Vec<f64> {
        (0..len as isize)
            .map(|n| {
                kernel
                    .iter()
                    .zip(-SINC_HALF..)
                    .map(|(tap, i)| tap * sample(n - whole - i))
                    .sum()
            })
            .collect()
    };
    let moved = if part == 0.0 {
        (0..len as isize).map(|n| sample(n - whole)).collect()
    } else {
        run(&kernel(false))
    };
    [moved, run(&kernel(true))]
}

/// Solves four equations by elimination with pivots; `None` if they hang together.
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

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}
