//! One band of a ratio: what `ratio` measures and `fitted` fits.

/// The ratio in one band, second over first.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Point {
    pub hz: f64,
    /// Of the delayed, signed ratio.
    pub ln_gain: f64,
    /// Radians, near 0.
    pub phase: f64,
    /// Variance of either by noise.
    pub variance: f64,
    /// What is to be added for the level: an automatic gain bends it.
    pub level_variance: f64,
    /// Coherence of the two in the band, 0 to 1.
    pub coherence: f64,
}
