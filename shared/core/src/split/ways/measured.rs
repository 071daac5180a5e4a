//! What is measured of each band, which evidence is made of.

use super::bands::{BANDS, GROUPS, group_of};
use super::sums::Covariance;

/// What is new at the onsets in one band, on average.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Beginning {
    /// Normalised Stokes parameters of it: level difference, in phase, quadrature; the root of their squares is 1 for one
    /// direction.
    pub stokes: [f64; 3],
    /// One standard error of each, from leaving onsets out in turn.
    pub error: [f64; 3],
    /// Power of what began, over the mean power of the band.
    pub weight: f64,
}

/// How much wet may lie along a direction, per band, as shares of the band's power.
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
