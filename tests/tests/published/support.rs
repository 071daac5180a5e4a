//! Shared code of the checks against published values.
//!
//! Each value names its source: a standard, a paper, a book, or 'derivation' for algebra alone. Values computed with
//! numpy or scipy from such a source say so.

use sumproof_core::routing::feed::Feed;
use sumproof_core::routing::response::FeedResponse;
use sumproof_core::session::monitor::Monitor;
use sumproof_core::session::take::{Pass, Take};
use sumproof_core::spectrum::bands::BandMap;
use sumproof_core::spectrum::cross_spectrum::CrossSpectrum;
use sumproof_core::spectrum::grid::Grid;
use sumproof_core::spectrum::pair_sums::PairSums;
use sumproof_signals::{Stereo, tones};

/// The sample rate of most checks, Hz.
pub const RATE_HZ: f64 = 48_000.0;

/// Whether two figures agree; infinite ones agree with themselves.
pub fn agree(got: f64, want: f64, tolerance: f64) -> bool {
    got == want || (got - want).abs() <= tolerance
}

/// Asserts that a figure agrees with the source's.
#[track_caller]
pub fn check(what: impl std::fmt::Display, got: f64, want: f64, tolerance: f64) {
    assert!(
        agree(got, want, tolerance),
        "{what}: got {got}, published {want} (tolerance {tolerance})"
    );
}

/// Exact sums over a pair.
pub fn sums(left: &[f64], right: &[f64]) -> PairSums {
    let mut sums = PairSums::default();
    for (&l, &r) in left.iter().zip(right) {
        sums.add(l, r);
    }
    sums
}

/// Gaussian white noise of unit power.
pub fn white(len: usize, seed: u64) -> Vec<f64> {
    tones::white_noise(len, 1.0, seed)
}

/// `a·x + b·y`.
pub fn mix(a: f64, x: &[f64], b: f64, y: &[f64]) -> Vec<f64> {
    x.iter().zip(y).map(|(x, y)| a * x + b * y).collect()
}

/// `gain·x`.
pub fn scaled(gain: f64, x: &[f64]) -> Vec<f64> {
    x.iter().map(|x| gain * x).collect()
}

/// Sum of products.
pub fn dot(x: &[f64], y: &[f64]) -> f64 {
    x.iter().zip(y).map(|(x, y)| x * y).sum()
}

/// `y` orthogonalised against `x`, at the power of `x`: exactly unrelated at lag zero.
pub fn orthogonal(x: &[f64], y: &[f64]) -> Vec<f64> {
    let share = dot(x, y) / dot(x, x);
    let rest = mix(1.0, y, -share, x);
    let gain = (dot(x, x) / dot(&rest, &rest)).sqrt();
    scaled(gain, &rest)
}

/// A take of a pair, through the whole analysis.
pub fn take(pair: &Stereo, rate_hz: f64) -> Take {
    let single = |channel: &[f64]| channel.iter().map(|&x| x as f32).collect::<Vec<_>>();
    let mut monitor = Monitor::new(rate_hz);
    monitor.start_take();
    monitor.push(&single(&pair.left), &single(&pair.right));
    monitor
        .finish_take("take".into(), Pass::Full)
        .expect("there are frames")
}

/// A spectrum with equal cells: powers and complex cross term.
pub fn level_spectrum(
    grid: &Grid,
    left: f64,
    right: f64,
    cross: sumproof_core::Complex<f64>,
) -> CrossSpectrum {
    let mut spectrum = CrossSpectrum::silent(grid.len());
    spectrum.ll.fill(left);
    spectrum.rr.fill(right);
    spectrum.lr.fill(cross);
    spectrum.averages = 100.0;
    spectrum
}

/// The power of a feed in every band.
pub fn band_powers(feed: &Feed, grid: &Grid, spectrum: &CrossSpectrum, map: &BandMap) -> Vec<f64> {
    let powers = FeedResponse::new(feed, grid, spectrum.delay_s).of(spectrum, grid);
    (0..map.len())
        .map(|band| map.sum_of(band, &powers.feed))
        .collect()
}

/// The power of a feed over all cells.
pub fn whole_power(feed: &Feed, grid: &Grid, spectrum: &CrossSpectrum) -> f64 {
    let powers = FeedResponse::new(feed, grid, spectrum.delay_s).of(spectrum, grid);
    powers.feed.iter().sum()
}

/// Mean and standard deviation.
pub fn moments(values: &[f64]) -> (f64, f64) {
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / count;
    (mean, variance.sqrt())
}
