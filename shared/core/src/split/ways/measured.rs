//! The measurements of each band that evidence consists of.

use super::bands::{BANDS, GROUPS, group_of};
use super::sums::Covariance;

/// The average onset increment in one band.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Beginning {
    /// Its normalised Stokes parameters: level difference, in phase, quadrature; their root sum of squares is 1 for a
    /// single direction.
    pub stokes: [f64; 3],
    /// Standard error of each, by jackknife over the onsets.
    pub error: [f64; 3],
    /// Sum of the increments' powers over the mean power of the band.
    pub weight: f64,
}

/// Bounds of the wet along a direction, per band, as shares of the band's power.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WetAlong {
    /// The direction, radians.
    pub angle_rad: f64,
    /// At least.
    pub least: [f64; BANDS],
    /// At most.
    pub most: [f64; BANDS],
}

impl WetAlong {
    /// Nothing is known.
    pub const UNKNOWN: Self = Self {
        angle_rad: core::f64::consts::FRAC_PI_4,
        least: [0.0; BANDS],
        most: [1.0; BANDS],
    };
}

impl Beginning {
    /// Nothing began.
    pub const NONE: Self = Self {
        stokes: [0.0; 3],
        error: [1.0; 3],
        weight: 0.0,
    };
}

/// Sums bands into octaves.
pub(super) fn grouped(bands: &[Covariance; BANDS]) -> [Covariance; GROUPS] {
    let mut groups = [Covariance::default(); GROUPS];
    for (band, covariance) in bands.iter().enumerate() {
        let group = &mut groups[group_of(band)];
        *group = group.plus(covariance);
    }
    groups
}
