//! Transforms whose lengths were fixed when everything was built: they can't fail, and give silence if they do.

use multiversion::multiversion;
use realfft::{ComplexToReal, RealToComplex};

use crate::Complex;

/// Writes `frames` under `window` to `out`, as many as the shortest has.
#[multiversion(targets("x86_64+avx"))]
pub(crate) fn weigh(frames: &[f64], window: &[f64], out: &mut [f64]) {
    for ((out, sample), weight) in out.iter_mut().zip(frames).zip(window) {
        *out = sample * weight;
    }
}

/// The spectrum of `input`, which is used up. `scratch` may be longer than the transform needs.
pub(crate) fn forward(
    fft: &dyn RealToComplex<f64>,
    input: &mut [f64],
    output: &mut [Complex<f64>],
    scratch: &mut [Complex<f64>],
) {
    let scratch = &mut scratch[..fft.get_scratch_len()];
    if fft.process_with_scratch(input, output, scratch).is_err() {
        output.fill(Complex::new(0.0, 0.0));
    }
}

/// The signal of a spectrum (of an even number of samples), times the transform's length; the spectrum is used up. Its first and last bins count as real.
/// `scratch` may be longer than the transform needs.
pub(crate) fn inverse(
    fft: &dyn ComplexToReal<f64>,
    input: &mut [Complex<f64>],
    output: &mut [f64],
    scratch: &mut [Complex<f64>],
) {
    // What rounding left there would be refused.
    for end in [0, input.len() - 1] {
        input[end].im = 0.0;
    }
    let scratch = &mut scratch[..fft.get_scratch_len()];
    if fft.process_with_scratch(input, output, scratch).is_err() {
        output.fill(0.0);
    }
}
