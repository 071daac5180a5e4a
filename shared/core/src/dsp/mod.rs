//! Building blocks that know nothing of presets: decibels, conversions of numbers, which samples are valid, rings of
//! past samples, transforms, fractional delay, K-weighting.
//!
//! In: samples. Out: samples and numbers. Every other folder may use this one; it uses none.

pub mod db;
pub(crate) mod fft;
pub mod fractional;
pub(crate) mod history;
pub mod k_weighting;
pub mod numbers;
pub mod samples;

/// White noise for tests, uniform in ±½: a linear congruential generator (Knuth, MMIX), the same for a seed on every
/// machine.
#[cfg(test)]
pub(crate) fn noise(seed: u64, len: usize) -> Vec<f64> {
    let mut state = seed;
    (0..len)
        .map(|_| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 11) as f64 / (1u64 << 53) as f64 - 0.5
        })
        .collect()
}
