//! The left-hand side of the equations as a product, by transforms in single or double precision.

use std::sync::Arc;

use realfft::{ComplexToReal, FftNum, RealFftPlanner, RealToComplex};

use super::{References, embed};
use crate::Complex;
use crate::dsp::fft;
use crate::dsp::numbers::to_single;

/// A spectrum of twice as many samples as a response has taps.
pub(super) type Spectrum<T> = Vec<Complex<T>>;

/// A floating-point precision.
pub(super) trait Precision: FftNum {
    /// The nearest value.
    fn of(value: f64) -> Self;
    /// The same value.
    fn double(self) -> f64;
}

impl Precision for f64 {
    fn of(value: f64) -> Self {
        value
    }

    fn double(self) -> f64 {
        self
    }
}

impl Precision for f32 {
    fn of(value: f64) -> Self {
        to_single(value)
    }

    fn double(self) -> f64 {
        f64::from(self)
    }
}

/// `G` of [`super`], with its transforms and buffers.
pub(super) struct Operator<T> {
    pub taps: usize,
    forward: Arc<dyn RealToComplex<T>>,
    inverse: Arc<dyn ComplexToReal<T>>,
    scratch: Vec<Complex<T>>,
    pub work: Vec<T>,
    /// Spectra of the Toeplitz part: `[a][b]` from reference `b` to row block `a`.
    toeplitz: [[Spectrum<T>; 2]; 2],
    ends: [Spectrum<T>; 2],
    starts: [Spectrum<T>; 2],
    has_start: bool,
    pub references: usize,
    ridge: f64,
    pub temporary: [Spectrum<T>; 4],
}

impl<T: Precision> Operator<T> {
    /// Creates one for responses of `taps` samples.
    pub fn new(taps: usize) -> Self {
        let len = 2 * taps;
        let mut planner = RealFftPlanner::<T>::new();
        let forward = planner.plan_fft_forward(len);
        let inverse = planner.plan_fft_inverse(len);
        let scratch_len = forward.get_scratch_len().max(inverse.get_scratch_len());
        let empty = || forward.make_output_vec();
        Self {
            taps,
            scratch: vec![zero(); scratch_len],
            work: vec![T::zero(); len],
            toeplitz: core::array::from_fn(|_| core::array::from_fn(|_| empty())),
            ends: core::array::from_fn(|_| empty()),
            starts: core::array::from_fn(|_| empty()),
            has_start: false,
            references: 1,
            ridge: 0.0,
            temporary: core::array::from_fn(|_| empty()),
            forward,
            inverse,
        }
    }

    /// The spectrum of `work`, which is overwritten.
    pub fn transform(&mut self, mut spectrum: Spectrum<T>) -> Spectrum<T> {
        fft::forward(&*self.forward, &mut self.work, &mut spectrum, &mut self.scratch);
        spectrum
    }

    /// Writes the spectrum of `block` to a slot of `temporary`.
    pub fn spectrum_of(&mut self, block: &[f64], slot: usize) {
        self.work[block.len()..].fill(T::zero());
        for (work, sample) in self.work.iter_mut().zip(block) {
            *work = T::of(*sample);
        }
        let spectrum = core::mem::take(&mut self.temporary[slot]);
        self.temporary[slot] = self.transform(spectrum);
    }

    /// Writes the samples of a slot to `work`, times the transform's length.
    pub fn samples_of(&mut self, slot: usize) {
        let spectrum = &mut self.temporary[slot];
        fft::inverse(&*self.inverse, spectrum, &mut self.work, &mut self.scratch);
    }

    /// The factor that undoes the scaling of [`Self::samples_of`].
    pub fn unscale(&self) -> f64 {
        1.0 / (2 * self.taps) as f64
    }

    /// `out = G·h`.
    pub fn multiply(&mut self, h: &[f64], out: &mut [f64]) {
        let (m, count, ridge) = (self.taps, self.references, self.ridge);
        for r in 0..count {
            self.spectrum_of(&h[r * m..(r + 1) * m], r);
        }
        // The contribution of the frames before the first, and of those after the last.
        for (slot, at_start) in [(2, false), (3, true)] {
            if !at_start || self.has_start {
                self.beyond(slot, at_start);
            }
        }
        self.combine();
        let scale = self.unscale();
        for r in 0..count {
            self.samples_of(r);
            for ((out, product), tap) in out[r * m..(r + 1) * m]
                .iter_mut()
                .zip(&self.work)
                .zip(&h[r * m..])
            {
                *out = product.double() * scale + ridge * tap;
            }
        }
    }

    /// Applies `G` to the spectra in the first slots, with the results of [`Self::beyond`] in the others.
    fn combine(&mut self) {
        let bins = ..=self.taps;
        let [first, second, end, start] = &mut self.temporary;
        let toeplitz = |a: usize, b: usize| &self.toeplitz[a][b][bins];
        if self.references == 1 {
            multiply_by(toeplitz(0, 0), &mut first[bins]);
        } else {
            let rows = [[toeplitz(0, 0), toeplitz(0, 1)], [toeplitz(1, 0), toeplitz(1, 1)]];
            multiply_both(rows, &mut first[bins], &mut second[bins]);
        }
        for (a, out) in [first, second].into_iter().enumerate().take(self.references) {
            add_conjugate_product(&self.ends[a][bins], &end[bins], -T::one(), &mut out[bins]);
            if self.has_start {
                add_conjugate_product(&self.starts[a][bins], &start[bins], T::one(), &mut out[bins]);
            }
        }
    }

    /// Writes to `slot` the spectrum of the frames beyond one end, convolved with the responses in the first slots.
    fn beyond(&mut self, slot: usize, at_start: bool) {
        let (m, count) = (self.taps, self.references);
        let edges = if at_start { &self.starts } else { &self.ends };
        let [first, second, rest @ ..] = &mut self.temporary;
        let out = &mut rest[slot - 2];
        product(&edges[0][..=m], &first[..=m], &mut out[..=m]);
        if count == 2 {
            add_product(&edges[1][..=m], &second[..=m], &mut out[..=m]);
        }
        self.samples_of(slot);
        let scale = T::of(self.unscale());
        let (_, later) = self.work.split_at_mut(m);
        later.iter_mut().for_each(|x| *x = *x * scale);
        self.work[..m].fill(T::zero());
        let spectrum = core::mem::take(&mut self.temporary[slot]);
        self.temporary[slot] = self.transform(spectrum);
    }
}

impl Operator<f64> {
    /// Prepares the product for references whose sums are multiplied by `scale`.
    pub fn prepare(&mut self, references: &References<'_>, scale: f64) {
        self.references = references.count;
        self.ridge = references.ridge;
        for a in 0..references.count {
            for b in 0..references.count {
                let (down, up) = (references.correlations[b][a], references.correlations[a][b]);
                // G_ab[j,i] = Σ x_a[n−j]·x_b[n−i]; for j ≥ i that's Σ x_b[p]·x_a[p−(j−i)].
                embed(&mut self.work, down, up, |_| scale);
                let spectrum = core::mem::take(&mut self.toeplitz[a][b]);
                self.toeplitz[a][b] = self.transform(spectrum);
            }
        }
        self.has_start = false;
        for r in 0..references.count {
            let (ends, starts) = (
                core::mem::take(&mut self.ends[r]),
                core::mem::take(&mut self.starts[r]),
            );
            self.ends[r] = self.edge(references.ends[r], scale, ends);
            self.starts[r] = self.edge(references.starts[r], scale, starts);
            self.has_start |= references.starts[r].iter().any(|&x| x != 0.0);
        }
    }

    fn edge(&mut self, frames: &[f64], scale: f64, spectrum: Spectrum<f64>) -> Spectrum<f64> {
        let scale = scale.sqrt();
        self.work.fill(0.0);
        for (work, frame) in self.work.iter_mut().zip(frames) {
            *work = frame * scale;
        }
        self.transform(spectrum)
    }
}

impl Operator<f32> {
    /// Takes over another product, rounded.
    pub fn round(&mut self, exact: &Operator<f64>) {
        self.references = exact.references;
        self.ridge = exact.ridge;
        self.has_start = exact.has_start;
        let count = exact.references;
        for a in 0..count {
            for b in 0..count {
                round(&exact.toeplitz[a][b], &mut self.toeplitz[a][b]);
            }
            round(&exact.ends[a], &mut self.ends[a]);
            round(&exact.starts[a], &mut self.starts[a]);
        }
    }
}

fn zero<T: Precision>() -> Complex<T> {
    Complex::new(T::zero(), T::zero())
}

/// Rounds a spectrum to single precision.
pub(super) fn round(exact: &[Complex<f64>], out: &mut [Complex<f32>]) {
    for (out, exact) in out.iter_mut().zip(exact) {
        *out = Complex::new(to_single(exact.re), to_single(exact.im));
    }
}

/// `out = a·b`, bin by bin.
fn product<T: Precision>(a: &[Complex<T>], b: &[Complex<T>], out: &mut [Complex<T>]) {
    for (out, (a, b)) in out.iter_mut().zip(a.iter().zip(b)) {
        *out = a * b;
    }
}

/// `out += a·b`, bin by bin.
fn add_product<T: Precision>(a: &[Complex<T>], b: &[Complex<T>], out: &mut [Complex<T>]) {
    for (out, (a, b)) in out.iter_mut().zip(a.iter().zip(b)) {
        *out = *out + a * b;
    }
}

/// `out += sign·a*·b`, bin by bin.
fn add_conjugate_product<T: Precision>(a: &[Complex<T>], b: &[Complex<T>], sign: T, out: &mut [Complex<T>]) {
    for (out, (a, b)) in out.iter_mut().zip(a.iter().zip(b)) {
        *out = *out + (a.conj() * b) * sign;
    }
}

/// `out = a·out`, bin by bin.
fn multiply_by<T: Precision>(a: &[Complex<T>], out: &mut [Complex<T>]) {
    for (out, a) in out.iter_mut().zip(a) {
        *out = a * *out;
    }
}

/// Applies a 2×2 matrix to a pair, bin by bin.
fn multiply_both<T: Precision>(
    rows: [[&[Complex<T>]; 2]; 2],
    first: &mut [Complex<T>],
    second: &mut [Complex<T>],
) {
    let [[aa, ab], [ba, bb]] = rows;
    let top = aa.iter().zip(ab);
    let bottom = ba.iter().zip(bb);
    for ((first, second), ((aa, ab), (ba, bb))) in first.iter_mut().zip(second).zip(top.zip(bottom)) {
        let (x, y) = (*first, *second);
        *first = aa * x + ab * y;
        *second = ba * x + bb * y;
    }
}
