//! The response from one or two references to a channel: exact least squares from correlation sums.
//!
//! With `y[n] = Σ_r Σ_j h_r[j]·x_r[n−j] + v[n]` known for `n = 0 … N−1`, the least-squares response solves `G·h = b`
//! with `G[j,i] = Σ_n x[n−j]·x[n−i]` and `b[j] = Σ_n y[n]·x[n−j]`. `G` is the Toeplitz matrix of the references'
//! correlation sums, plus the contribution of the past before `n = 0` and minus that after `N−1`; both corrections are
//! products of the first and last frames only. So a hundred thousand unknowns are solved for by conjugate gradients,
//! every product by FFT, from sums of a fixed size; and early and late parts are separated jointly, better than by a
//! windowed spectral division.
//!
//! The steps are taken in single precision, which is two to three times as fast. Between the partials of a harmonic
//! sound the equations are so nearly singular that rounding alone would undo the progress after some 80 steps; so the
//! residual is recomputed in double precision every [`EXACT_EVERY`] steps (residual replacement: van der Vorst and Ye,
//! 'Residual replacement strategies for Krylov subspace iterative methods', SIAM J. Sci. Comput. 22, 2000; from
//! memory).

mod operator;

use core::f64::consts::PI;

use crate::Complex;
use operator::{Operator, Spectrum, round};

/// Lowest value of the preconditioner's spectrum against its mean. Between the partials of a harmonic sound it shows
/// the window's side lobes, not the sound; without a floor they slow the convergence.
const PRECONDITIONER_FLOOR: f64 = 1e-3;

/// Tolerance of a solution: residual over right-hand side.
const ENOUGH: f64 = 1e-6;

/// Steps in single precision between two residuals in double precision.
const EXACT_EVERY: u32 = 12;

/// Solves for responses of a fixed length; owns its transforms and buffers.
pub(super) struct Solver {
    exact: Operator<f64>,
    quick: Operator<f32>,
    /// Inverse of the circulant approximation: the diagonal blocks and the upper off-diagonal one.
    preconditioner: [Spectrum<f64>; 3],
    rounded: [Spectrum<f32>; 3],
    /// Factor of the sums.
    scale: f64,
    ridge: f64,
    product: Vec<f64>,
}

impl std::fmt::Debug for Solver {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Solver")
            .field("taps", &self.taps())
            .field("references", &self.exact.references)
            .finish_non_exhaustive()
    }
}

/// The references' data in the equations.
pub(super) struct References<'a> {
    /// `c[a][b][k] = Σ x_a[n]·x_b[n−k]` for `k = 0 … taps−1`; `[1][..]` unused with one reference.
    pub correlations: [[&'a [f64]; 2]; 2],
    /// The last `taps` frames of each.
    pub ends: [&'a [f64]; 2],
    /// The `taps` frames before the first of each.
    pub starts: [&'a [f64]; 2],
    /// One or two.
    pub count: usize,
    /// Ridge, relative to the references' energy: directions below it are not solved for.
    pub ridge: f64,
}

impl Solver {
    /// Creates a solver for responses of `taps` samples.
    pub fn new(taps: usize) -> Self {
        Self {
            exact: Operator::new(taps),
            quick: Operator::new(taps),
            preconditioner: core::array::from_fn(|_| vec![Default::default(); taps + 1]),
            rounded: core::array::from_fn(|_| vec![Default::default(); taps + 1]),
            scale: 1.0,
            ridge: 0.0,
            product: vec![0.0; 2 * taps],
        }
    }

    /// Taps of a response.
    pub fn taps(&self) -> usize {
        self.exact.taps
    }

    /// Prepares the left-hand side of the equations.
    pub fn prepare(&mut self, references: &References<'_>) {
        let energy = (0..references.count)
            .map(|r| references.correlations[r][r][0])
            .fold(f64::MIN_POSITIVE, f64::max);
        self.scale = 1.0 / energy;
        self.ridge = references.ridge;
        self.exact.prepare(references, self.scale);
        self.quick.round(&self.exact);
        self.prepare_preconditioner(references);
    }

    /// The circulant approximation of `G`: its correlations under a Bohman window, whose spectrum is nowhere negative
    /// and whose flat top separates the partials of a harmonic sound. On plucked strings it needs half the steps of a
    /// triangle.
    fn prepare_preconditioner(&mut self, references: &References<'_>) {
        let m = self.taps();
        let scale = self.scale;
        let taper = |k: usize| {
            let t = k as f64 / m as f64;
            scale * ((1.0 - t) * (PI * t).cos() + (PI * t).sin() / PI)
        };
        for (slot, (a, b)) in [(0, 0), (1, 1), (0, 1)].into_iter().enumerate() {
            if a >= references.count || b >= references.count {
                continue;
            }
            let (down, up) = (references.correlations[b][a], references.correlations[a][b]);
            embed(&mut self.exact.work, down, up, taper);
            let spectrum = core::mem::take(&mut self.preconditioner[slot]);
            self.preconditioner[slot] = self.exact.transform(spectrum);
        }
        let floor = self.ridge.max(PRECONDITIONER_FLOOR);
        let [first, second, cross] = &mut self.preconditioner;
        for k in 0..=m {
            let p = first[k].re.max(0.0) + floor;
            if references.count == 1 {
                first[k] = Complex::new(1.0 / p, 0.0);
                continue;
            }
            let q = second[k].re.max(0.0) + floor;
            let determinant = (p * q - cross[k].norm_sqr()).max(floor * (p + q));
            first[k] = Complex::new(q / determinant, 0.0);
            second[k] = Complex::new(p / determinant, 0.0);
            cross[k] = -cross[k] / determinant;
        }
        for (exact, rounded) in self.preconditioner.iter().zip(&mut self.rounded) {
            round(exact, rounded);
        }
    }

    fn precondition(&mut self, residual: &[f64], out: &mut [f64]) {
        let quick = &mut self.quick;
        let (m, count) = (quick.taps, quick.references);
        for r in 0..count {
            quick.spectrum_of(&residual[r * m..(r + 1) * m], r);
        }
        let [one, other, cross] = &self.rounded;
        let [first, second, ..] = &mut quick.temporary;
        if count == 1 {
            for (bin, gain) in first.iter_mut().zip(one) {
                *bin *= gain.re;
            }
        } else {
            let gains = one.iter().zip(other).zip(cross);
            for ((first, second), ((one, other), cross)) in first.iter_mut().zip(second).zip(gains) {
                let (a, b) = (*first, *second);
                *first = a * one.re + b * cross;
                *second = b * other.re + a * cross.conj();
            }
        }
        let scale = quick.unscale();
        for r in 0..count {
            quick.samples_of(r);
            for (out, sample) in out[r * m..(r + 1) * m].iter_mut().zip(&quick.work) {
                *out = f64::from(*sample) * scale;
            }
        }
    }

    /// The audible part of each lag of a response: `h` coloured with the smoothed spectrum of its reference, which
    /// removes bands without reference, where `h` is arbitrary. `correlation` is the reference's autocorrelation,
    /// smoothed by using its first `reach` lags only. The sum of the squares is about the output's power over the
    /// reference's.
    pub fn heard(&mut self, h: &[f64], correlation: &[f64], reach: usize, out: &mut [f64]) {
        let m = self.taps();
        let reach = reach.min(m);
        let scale = 1.0 / correlation[0].max(f64::MIN_POSITIVE);
        let exact = &mut self.exact;
        embed(
            &mut exact.work,
            &correlation[..reach],
            &correlation[..reach],
            |k| scale * (0.5 + 0.5 * (PI * k as f64 / reach as f64).cos()),
        );
        let colour = core::mem::take(&mut exact.temporary[1]);
        exact.temporary[1] = exact.transform(colour);
        exact.spectrum_of(&h[..m], 0);
        let [spectrum, colour, ..] = &mut exact.temporary;
        for (bin, colour) in spectrum.iter_mut().zip(colour) {
            *bin *= colour.re.max(0.0).sqrt();
        }
        exact.samples_of(0);
        let scale = exact.unscale();
        for (out, sample) in out.iter_mut().zip(&exact.work[..m]) {
            *out = sample * scale;
        }
    }

    /// Begins to improve `descent.response` (all references' taps, one after another) towards `G·h = b`.
    pub fn begin(&mut self, b: &[f64], descent: &mut Descent) {
        let size = self.size();
        descent.target = ENOUGH * dot(&b[..size], &b[..size]).sqrt() * self.scale;
        descent.is_done = descent.target <= 0.0;
        if descent.is_done {
            descent.response.fill(0.0);
            descent.residual.fill(0.0);
            return;
        }
        self.find_residual(b, descent);
        descent.steps = 0;
        self.precondition(&descent.residual[..size], &mut descent.direction);
        descent.power = dot(&descent.residual[..size], &descent.direction[..size]);
        let left = dot(&descent.residual[..size], &descent.residual[..size]).sqrt();
        descent.is_done = left <= descent.target || descent.power <= 0.0;
    }

    fn size(&self) -> usize {
        self.exact.taps * self.exact.references
    }

    /// The residual of the equations, in double precision.
    fn find_residual(&mut self, b: &[f64], descent: &mut Descent) {
        self.exact.multiply(&descent.response, &mut self.product);
        for ((r, b), p) in descent.residual.iter_mut().zip(b).zip(&self.product) {
            *r = b * self.scale - p;
        }
    }

    /// Takes one step of preconditioned conjugate gradients; none if nothing is left to gain.
    pub fn step(&mut self, b: &[f64], descent: &mut Descent) {
        if descent.is_done {
            return;
        }
        let size = self.size();
        let mut product = core::mem::take(&mut self.product);
        self.quick.multiply(&descent.direction, &mut product);
        let curvature = dot(&descent.direction[..size], &product[..size]);
        if curvature <= 0.0 {
            descent.is_done = true;
            self.product = product;
            return;
        }
        let step = descent.power / curvature;
        let direction = &descent.direction[..size];
        for (tap, direction) in descent.response.iter_mut().zip(direction) {
            *tap += step * direction;
        }
        descent.steps += 1;
        if descent.steps.is_multiple_of(EXACT_EVERY) {
            self.product = product;
            self.find_residual(b, descent);
            product = core::mem::take(&mut self.product);
        } else {
            for (residual, product) in descent.residual[..size].iter_mut().zip(&product) {
                *residual -= step * product;
            }
        }
        let left = dot(&descent.residual[..size], &descent.residual[..size]).sqrt();
        self.precondition(&descent.residual[..size], &mut product);
        let next = dot(&descent.residual[..size], &product[..size]);
        let keep = next / descent.power;
        descent.power = next;
        for (d, z) in descent.direction[..size].iter_mut().zip(&product) {
            *d = z + keep * *d;
        }
        self.product = product;
        descent.is_done = left <= descent.target || next <= 0.0;
    }

    /// The product of the response with the residual, ridge included.
    pub fn lacking(&self, descent: &Descent) -> f64 {
        let size = self.size();
        let response = &descent.response[..size];
        (dot(&descent.residual[..size], response) + self.ridge * dot(response, response)) / self.scale
    }
}

/// The iteration for one channel's response.
pub(super) struct Descent {
    /// The response so far.
    pub response: Vec<f64>,
    residual: Vec<f64>,
    direction: Vec<f64>,
    power: f64,
    target: f64,
    is_done: bool,
    steps: u32,
}

impl Descent {
    /// Creates one for all taps of all references.
    pub fn new(size: usize) -> Self {
        let empty = || vec![0.0; size];
        Self {
            response: empty(),
            residual: empty(),
            direction: empty(),
            power: 0.0,
            target: 0.0,
            is_done: true,
            steps: 0,
        }
    }

    /// Whether no further step would make a relevant change.
    pub fn is_done(&self) -> bool {
        self.is_done
    }
}

/// Lays correlations out as the first column of a circulant: `down` from lag 0 on, `up` (from lag 1 on) backwards from
/// the end, both weighted.
fn embed(work: &mut [f64], down: &[f64], up: &[f64], weight: impl Fn(usize) -> f64) {
    work.fill(0.0);
    for (k, (out, value)) in work.iter_mut().zip(down).enumerate() {
        *out = value * weight(k);
    }
    for (k, (out, value)) in work.iter_mut().rev().zip(&up[1..]).enumerate() {
        *out = value * weight(k + 1);
    }
}

/// The dot product, in several partial sums.
fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut sums = [0.0f64; 8];
    let (a, b) = (a.as_chunks::<8>(), b.as_chunks::<8>());
    for (a, b) in a.0.iter().zip(b.0) {
        for ((sum, a), b) in sums.iter_mut().zip(a).zip(b) {
            *sum += a * b;
        }
    }
    let rest = a.1.iter().zip(b.1);
    sums.iter().sum::<f64>() + rest.map(|(a, b)| a * b).sum::<f64>()
}
