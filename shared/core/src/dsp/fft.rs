//! Transforms of lengths fixed at construction: they can't fail, and would return silence if they did.

use multiversion::multiversion;
use realfft::num_traits::Zero;
use realfft::{ComplexToReal, FftNum, RealToComplex};

use crate::Complex;

/// Writes `frames` times `window` to `out`, as many as the shortest of the three has.
#[multiversion(targets("x86_64+avx"))]
pub(crate) fn weigh(frames: &[f64], window: &[f64], out: &mut [f64]) {
    let count = frames.len().min(window.len()).min(out.len());
    let (frames, window, out) = (&frames[..count], &window[..count], &mut out[..count]);
    for n in 0..count {
        out[n] = frames[n] * window[n];
    }
}

/// The spectrum of `input`, which is overwritten. `scratch` may be longer than the transform needs.
pub(crate) fn forward<T: FftNum>(
    fft: &dyn RealToComplex<T>,
    input: &mut [T],
    output: &mut [Complex<T>],
    scratch: &mut [Complex<T>],
) {
    let scratch = &mut scratch[..fft.get_scratch_len()];
    if fft.process_with_scratch(input, output, scratch).is_err() {
        output.fill(Complex::zero());
    }
}

/// The signal of a spectrum (of an even number of samples), times the transform's length; the spectrum is overwritten.
/// Its first and last bins are taken as real. `scratch` may be longer than the transform needs.
pub(crate) fn inverse<T: FftNum>(
    fft: &dyn ComplexToReal<T>,
    input: &mut [Complex<T>],
    output: &mut [T],
    scratch: &mut [Complex<T>],
) {
    // The transform refuses an imaginary part there, even one left by rounding.
    for end in [0, input.len() - 1] {
        input[end].im = T::zero();
    }
    let scratch = &mut scratch[..fft.get_scratch_len()];
    if fft.process_with_scratch(input, output, scratch).is_err() {
        output.fill(T::zero());
    }
}
