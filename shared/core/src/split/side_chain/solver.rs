//! The response from one or two references to a channel: exact least squares from correlation sums.
//!
//! With `y[n] = Σ_r Σ_j h_r[j]·x_r[n−j] + v[n]` heard for `n = 0 … N−1`, the least-squares response solves `G·h = b` with
//! `G[j,i] = Σ_n x[n−j]·x[n−i]` and `b[j] = Σ_n y[n]·x[n−j]`. `G` is the Toeplitz matrix of the references' correlation
//! sums, plus what the past before `n = 0` adds and minus what would come after `N−1`; both corrections are products
//! of the first and last frames only. So a hundred thousand unknowns are solved for by conjugate gradients, every product
//! by FFT, from sums of a fixed size; and early and late parts are told apart jointly, which a spectral division with
//! its windows can't do as well.
//!
//! In double precision: single precision halves what a step costs, but between the partials of a harmonic sound the equations are
//! so nearly singular that its rounding takes the steps away again after some 80 of them.

use core::f64::consts::PI;
use std::sync::Arc;

use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

use crate::Complex;
use crate::dsp::fft;

/// Lowest value of the preconditioner's spectrum against its mean. Between the partials of a harmonic sound the
/// window's side lobes decide, not the sound; taking them at their word slows the steps down.
const PRECONDITIONER_FLOOR: f64 = 1e-3;

/// Equations are solved to this share of their right side.
const ENOUGH: f64 = 1e-6;

type Spectrum = Vec<Complex<f64>>;

/// Solves for responses of a fixed length; holds its transforms and buffers.
pub(super) struct Solver {
    taps: usize,
    forward: Arc<dyn RealToComplex<f64>>,
    inverse: Arc<dyn ComplexToReal<f64>>,
    scratch: Vec<Complex<f64>>,
    work: Vec<f64>,
    /// Spectra of the Toeplitz part: `[a][b]` from reference `b` to row block `a`.
    toeplitz: [[Spectrum; 2]; 2],
    /// Inverse of the circulant stand-in: the diagonal blocks and the upper off-diagonal one.
    preconditioner: [Spectrum; 3],
    ends: [Spectrum; 2],
    starts: [Spectrum; 2],
    has_start: bool,
    references: usize,
    /// What the sums are multiplied by.
    scale: f64,
    ridge: f64,
    temporary: [Spectrum; 4],
    product: Vec<f64>,
}

impl std::fmt::Debug for Solver {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Solver")
            .field("taps", &self.taps)
            .field("references", &self.references)
            .finish_non_exhaustive()
    }
}

/// What the references are, as far as the equations need to know.
pub(super) struct References<'a> {
    /// `c[a][b][k] = Σ x_a[n]·x_b[n−k]` for `k = 0 … taps−1`; `[1][..]` unused with one reference.
    pub correlations: [[&'a [f64]; 2]; 2],
    /// The last `taps` frames of each.
    pub ends: [&'a [f64]; 2],
    /// The `taps` frames before the first of each.
    pub starts: [&'a [f64]; 2],
    /// One or two.
    pub count: usize,
    /// Ridge, relative to the references' energy: how far below it a direction must lie to be given up.
    pub ridge: f64,
}

impl Solver {
    /// For responses of `taps` samples.
    pub fn new(taps: usize) -> Self {
        let len = 2 * taps;
        let mut planner = RealFftPlanner::<f64>::new();
        let forward = planner.plan_fft_forward(len);
        let inverse = planner.plan_fft_inverse(len);
        let scratch_len = forward.get_scratch_len().max(inverse.get_scratch_len());
        let empty = || vec![Complex::new(0.0, 0.0); taps + 1];
        Self {
            taps,
            scratch: vec![Complex::new(0.0, 0.0); scratch_len],
            work: vec![0.0; len],
            toeplitz: core::array::from_fn(|_| core::array::from_fn(|_| empty())),
            preconditioner: core::array::from_fn(|_| empty()),
            ends: core::array::from_fn(|_| empty()),
            starts: core::array::from_fn(|_| empty()),
            has_start: false,
            references: 1,
            scale: 1.0,
            ridge: 0.0,
            temporary: core::array::from_fn(|_| empty()),
            product: vec![0.0; 2 * taps],
            forward,
            inverse,
        }
    }

    /// Taps of a response.
    pub fn taps(&self) -> usize {
        self.taps
    }

    /// Prepares the equations' left side.
    pub fn prepare(&mut self, references: &References<'_>) {
        self.references = references.count;
        let energy = (0..references.count)
            .map(|r| references.correlations[r][r][0])
            .fold(f64::MIN_POSITIVE, f64::max);
        self.scale = 1.0 / energy;
        self.ridge = references.ridge;
        let scale = self.scale;
        for a in 0..references.count {
            for b in 0..references.count {
                let (down, up) = (references.correlations[b][a], references.correlations[a][b]);
                // G_ab[j,i] = Σ x_a[n−j]·x_b[n−i]; for j ≥ i that's Σ x_b[p]·x_a[p−(j−i)].
                embed(&mut self.work, down, up, |_| scale);
                let mut spectrum = core::mem::take(&mut self.toeplitz[a][b]);
                fft::forward(&*self.forward, &mut self.work, &mut spectrum, &mut self.scratch);
                self.toeplitz[a][b] = spectrum;
            }
        }
        self.has_start = false;
        for r in 0..references.count {
            let (ends, starts) = (
                core::mem::take(&mut self.ends[r]),
                core::mem::take(&mut self.starts[r]),
            );
            self.ends[r] = self.edge(references.ends[r], ends);
            self.starts[r] = self.edge(references.starts[r], starts);
            self.has_start |= references.starts[r].iter().any(|&x| x != 0.0);
        }
        self.prepare_preconditioner(references);
    }

    fn edge(&mut self, frames: &[f64], mut spectrum: Spectrum) -> Spectrum {
        let scale = self.scale.sqrt();
        self.work.fill(0.0);
        for (work, frame) in self.work.iter_mut().zip(frames) {
            *work = frame * scale;
        }
        fft::forward(&*self.forward, &mut self.work, &mut spectrum, &mut self.scratch);
        spectrum
    }

    /// The circulant that stands for `G`: its correlations under a Bohman window, whose own spectrum is nowhere negative and
    /// whose flat top keeps the partials of a harmonic sound apart. On plucked strings it needs half the steps of a triangle.
    fn prepare_preconditioner(&mut self, references: &References<'_>) {
        let m = self.taps;
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
            embed(&mut self.work, down, up, taper);
            let mut spectrum = core::mem::take(&mut self.preconditioner[slot]);
            fft::forward(&*self.forward, &mut self.work, &mut spectrum, &mut self.scratch);
            self.preconditioner[slot] = spectrum;
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
    }

    fn spectrum_of(&mut self, block: &[f64], slot: usize) {
        self.work.fill(0.0);
        self.work[..block.len()].copy_from_slice(block);
        let mut spectrum = core::mem::take(&mut self.temporary[slot]);
        fft::forward(&*self.forward, &mut self.work, &mut spectrum, &mut self.scratch);
        self.temporary[slot] = spectrum;
    }

    fn samples_of(&mut self, slot: usize) {
        let spectrum = &mut self.temporary[slot];
        fft::inverse(&*self.inverse, spectrum, &mut self.work, &mut self.scratch);
        let scale = 1.0 / (2 * self.taps) as f64;
        self.work.iter_mut().for_each(|x| *x *= scale);
    }

    /// `out = G·h`.
    fn multiply(&mut self, h: &[f64], out: &mut [f64]) {
        let (m, count, ridge) = (self.taps, self.references, self.ridge);
        for r in 0..count {
            self.spectrum_of(&h[r * m..(r + 1) * m], r);
        }
        // What the frames before the first contribute, and what those after the last would.
        for (slot, at_start) in [(2, false), (3, true)] {
            if at_start && !self.has_start {
                self.temporary[3].fill(Complex::new(0.0, 0.0));
                continue;
            }
            for k in 0..=m {
                let edges = if at_start { &self.starts } else { &self.ends };
                self.temporary[slot][k] = (0..count).map(|r| edges[r][k] * self.temporary[r][k]).sum();
            }
            self.samples_of(slot);
            self.work[..m].fill(0.0);
            let mut spectrum = core::mem::take(&mut self.temporary[slot]);
            fft::forward(&*self.forward, &mut self.work, &mut spectrum, &mut self.scratch);
            self.temporary[slot] = spectrum;
        }
        for k in 0..=m {
            let inputs = [self.temporary[0][k], self.temporary[1][k]];
            let (end, start) = (self.temporary[2][k], self.temporary[3][k]);
            for a in 0..count {
                let mut sum: Complex<f64> = (0..count).map(|b| self.toeplitz[a][b][k] * inputs[b]).sum();
                sum -= self.ends[a][k].conj() * end;
                if self.has_start {
                    sum += self.starts[a][k].conj() * start;
                }
                self.temporary[a][k] = sum;
            }
        }
        for r in 0..count {
            self.samples_of(r);
            for ((out, product), tap) in out[r * m..(r + 1) * m]
                .iter_mut()
                .zip(&self.work)
                .zip(&h[r * m..])
            {
                *out = product + ridge * tap;
            }
        }
    }

    fn precondition(&mut self, residual: &[f64], out: &mut [f64]) {
        let (m, count) = (self.taps, self.references);
        for r in 0..count {
            self.spectrum_of(&residual[r * m..(r + 1) * m], r);
        }
        for k in 0..=m {
            let (first, second) = (self.temporary[0][k], self.temporary[1][k]);
            if count == 1 {
                self.temporary[0][k] = first * self.preconditioner[0][k];
            } else {
                let cross = self.preconditioner[2][k];
                self.temporary[0][k] = first * self.preconditioner[0][k] + second * cross;
                self.temporary[1][k] = second * self.preconditioner[1][k] + first * cross.conj();
            }
        }
        for r in 0..count {
            self.samples_of(r);
            out[r * m..(r + 1) * m].copy_from_slice(&self.work[..m]);
        }
    }

    /// How loud each lag of a response is heard: `h` coloured with the smoothed spectrum of its reference, so that bands in
    /// which the reference has nothing to say, and `h` is anything, have no say. `correlation` is the reference's own,
    /// smoothed by looking at its first `reach` lags only. The sum of the squares is about the output's power over the
    /// reference's.
    pub fn heard(&mut self, h: &[f64], correlation: &[f64], reach: usize, out: &mut [f64]) {
        let m = self.taps;
        let reach = reach.min(m);
        let scale = 1.0 / correlation[0].max(f64::MIN_POSITIVE);
        embed(
            &mut self.work,
            &correlation[..reach],
            &correlation[..reach],
            |k| scale * (0.5 + 0.5 * (PI * k as f64 / reach as f64).cos()),
        );
        let mut colour = core::mem::take(&mut self.temporary[1]);
        fft::forward(&*self.forward, &mut self.work, &mut colour, &mut self.scratch);
        self.temporary[1] = colour;
        self.work.fill(0.0);
        self.work[..m].copy_from_slice(&h[..m]);
        let mut spectrum = core::mem::take(&mut self.temporary[0]);
        fft::forward(&*self.forward, &mut self.work, &mut spectrum, &mut self.scratch);
        for (bin, colour) in spectrum.iter_mut().zip(&self.temporary[1]) {
            *bin *= colour.re.max(0.0).sqrt();
        }
        self.temporary[0] = spectrum;
        self.samples_of(0);
        out.copy_from_slice(&self.work[..m]);
    }

    /// Begins to improve `descent.response` (all references' taps, one after another) towards `G·h = b`.
    pub fn begin(&mut self, b: &[f64], descent: &mut Descent) {
        let size = self.taps * self.references;
        descent.target = ENOUGH * dot(&b[..size], &b[..size]).sqrt() * self.scale;
        descent.is_done = descent.target <= 0.0;
        if descent.is_done {
            descent.response.fill(0.0);
            descent.residual.fill(0.0);
            return;
        }
        let mut product = core::mem::take(&mut self.product);
        self.multiply(&descent.response, &mut product);
        for ((r, b), p) in descent.residual.iter_mut().zip(b).zip(&product) {
            *r = b * self.scale - p;
        }
        self.product = product;
        self.precondition(&descent.residual[..size], &mut descent.direction);
        descent.power = dot(&descent.residual[..size], &descent.direction[..size]);
        let left = dot(&descent.residual[..size], &descent.residual[..size]).sqrt();
        descent.is_done = left <= descent.target || descent.power <= 0.0;
    }

    /// One step of preconditioned conjugate gradients; none where there's nothing left to gain.
    pub fn step(&mut self, descent: &mut Descent) {
        if descent.is_done {
            return;
        }
        let size = self.taps * self.references;
        let mut product = core::mem::take(&mut self.product);
        self.multiply(&descent.direction, &mut product);
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
        for (residual, product) in descent.residual[..size].iter_mut().zip(&product) {
            *residual -= step * product;
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

    /// The product of the response with what the equations still lack, ridge included.
    pub fn lacking(&self, descent: &Descent) -> f64 {
        let size = self.taps * self.references;
        let response = &descent.response[..size];
        (dot(&descent.residual[..size], response) + self.ridge * dot(response, response)) / self.scale
    }
}

/// One channel's response on its way.
pub(super) struct Descent {
    /// What has been reached.
    pub response: Vec<f64>,
    residual: Vec<f64>,
    direction: Vec<f64>,
    power: f64,
    target: f64,
    is_done: bool,
}

impl Descent {
    /// For all taps of all references.
    pub fn new(size: usize) -> Self {
        let empty = || vec![0.0; size];
        Self {
            response: empty(),
            residual: empty(),
            direction: empty(),
            power: 0.0,
            target: 0.0,
            is_done: true,
        }
    }

    /// Whether no step would change anything that counts.
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

/// Several at once.
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
