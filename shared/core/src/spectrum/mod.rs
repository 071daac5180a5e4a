//! From frames to the averaged cross-spectrum of the pair, on a grid of cells, and to exact sums in the time domain.
//!
//! In: runs of valid frames ([`crate::dsp::samples`]). Out: [`cross_spectrum::CrossSpectrum`], [`pair_sums::PairSums`].
//! Uses `dsp`.

pub mod bands;
pub mod cross_spectrum;
pub mod grid;
pub mod pair_sums;
pub mod welch;
