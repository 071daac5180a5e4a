//! The sums behind an average of blocks.

use multiversion::multiversion;

use super::Block;
use crate::Complex;
use crate::spectrum::cross_spectrum::CrossSpectrum;
use crate::spectrum::pair_sums::sum;

/// Sums over blocks, bin by bin. Real and imaginary parts are separate, which lets the compiler vectorise.
#[derive(Clone, Debug)]
pub(super) struct Sums {
    /// `|X_L|²`.
    pub(super) ll: Vec<f64>,
    /// `|X_R|²`.
    pub(super) rr: Vec<f64>,
    /// The real part of `X_L·conj(X_R)`.
    pub(super) re: Vec<f64>,
    /// Its imaginary part.
    pub(super) im: Vec<f64>,
}

impl Sums {
    pub(super) fn new(bins: usize) -> Self {
        Self {
            ll: vec![0.0; bins],
            rr: vec![0.0; bins],
            re: vec![0.0; bins],
            im: vec![0.0; bins],
        }
    }

    pub(super) fn silence(&mut self) {
        for sums in [&mut self.ll, &mut self.rr, &mut self.re, &mut self.im] {
            sums.fill(0.0);
        }
    }

    /// Multiplies the sums by `decay` and adds a block.
    pub(super) fn add(&mut self, decay: f64, block: &Block<'_>) {
        let Self { ll, rr, re, im } = self;
        add_bins(ll, rr, re, im, decay, block.left, block.right);
    }

    /// The same for two sums, for less than twice the cost.
    pub(super) fn add_to_both(one: &mut Self, other: &mut Self, decays: [f64; 2], block: &Block<'_>) {
        add_powers(&mut one.ll, &mut other.ll, decays, block.left);
        add_powers(&mut one.rr, &mut other.rr, decays, block.right);
        let (re, im) = (&mut one.re, &mut one.im);
        add_crosses(
            re,
            im,
            &mut other.re,
            &mut other.im,
            decays,
            block.left,
            block.right,
        );
    }

    /// Writes the sums times a factor to `out`.
    ///
    /// # Panics
    /// If the spectrum has fewer cells.
    pub(super) fn write(&self, factor: f64, out: &mut CrossSpectrum) {
        write_powers(&self.ll, factor, &mut out.ll);
        write_powers(&self.rr, factor, &mut out.rr);
        write_crosses(&self.re, &self.im, factor, &mut out.lr);
    }

    /// The power of both channels.
    pub(super) fn power(&self) -> f64 {
        sum(&self.ll) + sum(&self.rr)
    }
}

#[multiversion(targets("x86_64+avx"))]
fn write_powers(sums: &[f64], factor: f64, out: &mut [f64]) {
    let bins = sums.len();
    let out = &mut out[..bins];
    for n in 0..bins {
        out[n] = sums[n] * factor;
    }
}

#[multiversion(targets("x86_64+avx"))]
fn write_crosses(re: &[f64], im: &[f64], factor: f64, out: &mut [Complex<f64>]) {
    let bins = re.len();
    let (im, out) = (&im[..bins], &mut out[..bins]);
    for n in 0..bins {
        // Adding 0 turns −0 into 0; files would show the sign.
        out[n] = Complex::new(0.0 + re[n] * factor, 0.0 + im[n] * factor);
    }
}

/// The loop of [`Sums::add`]. A separate function with slices of one length: the compiler knows that they don't
/// overlap, and vectorises.
#[multiversion(targets("x86_64+avx"))]
fn add_bins(
    ll: &mut [f64],
    rr: &mut [f64],
    re: &mut [f64],
    im: &mut [f64],
    decay: f64,
    left: &[Complex<f64>],
    right: &[Complex<f64>],
) {
    let bins = ll.len();
    let (rr, re, im) = (&mut rr[..bins], &mut re[..bins], &mut im[..bins]);
    let (left, right) = (&left[..bins], &right[..bins]);
    for n in 0..bins {
        let (l, r) = (left[n], right[n]);
        ll[n] = ll[n] * decay + (l.re * l.re + l.im * l.im);
        rr[n] = rr[n] * decay + (r.re * r.re + r.im * r.im);
        re[n] = re[n] * decay + (l.re * r.re + l.im * r.im);
        im[n] = im[n] * decay + (l.im * r.re - l.re * r.im);
    }
}

/// The powers of one channel for [`Sums::add_to_both`].
#[multiversion(targets("x86_64+avx"))]
fn add_powers(one: &mut [f64], other: &mut [f64], decays: [f64; 2], channel: &[Complex<f64>]) {
    let bins = one.len();
    let (other, channel) = (&mut other[..bins], &channel[..bins]);
    for n in 0..bins {
        let power = channel[n].re * channel[n].re + channel[n].im * channel[n].im;
        one[n] = one[n] * decays[0] + power;
        other[n] = other[n] * decays[1] + power;
    }
}

/// The cross terms for [`Sums::add_to_both`].
#[multiversion(targets("x86_64+avx"))]
fn add_crosses(
    one_re: &mut [f64],
    one_im: &mut [f64],
    other_re: &mut [f64],
    other_im: &mut [f64],
    decays: [f64; 2],
    left: &[Complex<f64>],
    right: &[Complex<f64>],
) {
    let bins = one_re.len();
    let (one_im, other_re, other_im) = (&mut one_im[..bins], &mut other_re[..bins], &mut other_im[..bins]);
    let (left, right) = (&left[..bins], &right[..bins]);
    for n in 0..bins {
        let (l, r) = (left[n], right[n]);
        let (re, im) = (l.re * r.re + l.im * r.im, l.im * r.re - l.re * r.im);
        one_re[n] = one_re[n] * decays[0] + re;
        one_im[n] = one_im[n] * decays[0] + im;
        other_re[n] = other_re[n] * decays[1] + re;
        other_im[n] = other_im[n] * decays[1] + im;
    }
}
