//! Dry and wet, each as a cross-spectrum, and how they were told apart.
//!
//! In: runs of frames (estimate, side-chain), the sound of passes (two-pass). Out: [`Split`] with, for an estimate, its
//! [`Bounds`]. Uses `alignment` and below.

pub mod diffuse;
pub mod estimated;
pub mod interval;
pub mod kind;
pub mod pass;
pub mod side_chain;
pub mod two_pass;
pub mod ways;

use crate::spectrum::cross_spectrum::{CrossSpectrum, mean_phasor};
use crate::spectrum::grid::Grid;
use ways::Bounds;

/// How dry and wet were told apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Method {
    /// From the pair alone ([`ways`]): the dry has the direction of the onsets, or without onsets is what the channels
    /// share. A wet that lies there too counts as dry.
    Estimated,
    /// From two passes of the same part, effects off and dry off.
    TwoPass,
    /// From the dry signal on an auxiliary input.
    SideChain,
}

impl Method {
    /// The stable name in files.
    #[must_use]
    pub fn id(self) -> &'static str {
        match self {
            Self::Estimated => "estimated",
            Self::TwoPass => "two-pass",
            Self::SideChain => "side-chain",
        }
    }

    /// The lowest level to which a cancelled dry can be read, dB; below it only 'at least' is true. `None` if there is
    /// no floor.
    #[must_use]
    pub fn floor_db(self) -> Option<f64> {
        (self == Self::Estimated).then_some(-20.0)
    }
}

/// Dry and wet of one sound, and the sound as it was heard.
#[derive(Clone, Debug, PartialEq)]
pub struct Split {
    /// The direct sound.
    pub dry: CrossSpectrum,
    /// The effects.
    pub wet: CrossSpectrum,
    /// Both together, as measured. Not the sum of the two: dry and wet interfere by chance in each partial, so their
    /// powers don't simply add.
    pub total: CrossSpectrum,
    /// How they were told apart.
    pub method: Method,
    /// The bounds of an estimate; `None` where dry and wet were measured.
    pub bounds: Option<Bounds>,
}

impl Split {
    /// A split of three measured parts.
    #[must_use]
    pub fn new(dry: CrossSpectrum, wet: CrossSpectrum, total: CrossSpectrum, method: Method) -> Self {
        Self {
            dry,
            wet,
            total,
            method,
            bounds: None,
        }
    }

    /// A split of dry and wet alone; the total is the sum of their powers. Both must be on the same `grid`.
    ///
    /// # Panics
    /// If the lengths don't match.
    #[must_use]
    pub fn of_parts(dry: CrossSpectrum, wet: CrossSpectrum, grid: &Grid, method: Method) -> Self {
        let mut total = CrossSpectrum::silent(grid.len());
        total.delay_s = dry.delay_s;
        total.averages = dry.averages.min(wet.averages);
        if total.delay_s != 0.0 {
            total.near = total.lr.clone();
        }
        for part in [&dry, &wet] {
            let apart = part.delay_s != total.delay_s;
            for cell in 0..grid.len() {
                total.ll[cell] += part.ll[cell];
                total.rr[cell] += part.rr[cell];
                let cross = part.lr[cell];
                match total.near.get_mut(cell) {
                    Some(near) if apart => *near += cross * mean_phasor(grid, cell, part.delay_s),
                    _ => total.lr[cell] += cross * mean_phasor(grid, cell, part.delay_s - total.delay_s),
                }
                if let (Some(near), Some(other)) = (total.near.get_mut(cell), part.near.get(cell)) {
                    *near += other;
                } else if let Some(other) = part.near.get(cell) {
                    total.lr[cell] += other;
                }
            }
        }
        Self {
            dry,
            wet,
            total,
            method,
            bounds: None,
        }
    }

    /// Silence on `cells` cells.
    #[must_use]
    pub fn silent(cells: usize, method: Method) -> Self {
        let silence = CrossSpectrum::silent(cells);
        Self {
            dry: silence.clone(),
            wet: silence.clone(),
            total: silence,
            method,
            bounds: None,
        }
    }

    /// Overwrites this split with another of the same length, without allocating.
    ///
    /// # Panics
    /// If the lengths differ.
    pub fn copy_from(&mut self, other: &Self) {
        self.dry.copy_from(&other.dry);
        self.wet.copy_from(&other.wet);
        self.total.copy_from(&other.total);
        self.method = other.method;
        self.bounds = other.bounds;
    }

    /// The delays the three parts keep apart, seconds: dry, wet, total.
    #[must_use]
    pub fn delays_s(&self) -> [f64; 3] {
        [self.dry.delay_s, self.wet.delay_s, self.total.delay_s]
    }

    /// The least and the largest possible wet over dry, dB, where it is estimated and there's a separate dry; infinite
    /// at an open end.
    #[must_use]
    pub fn wet_over_dry_range_db(&self) -> Option<[f64; 2]> {
        let bounds = self.bounds.filter(|bounds| !bounds.no_separate_dry)?;
        let [least, most] = bounds.dry_share;
        let ratio = |dry: f64| crate::dsp::db::from_power((1.0 - dry).max(0.0) / dry);
        Some([ratio(most), ratio(least)])
    }

    /// Wet over dry power of both channels, dB; `None` when both are silent.
    #[must_use]
    pub fn wet_over_dry_db(&self) -> Option<f64> {
        let (dry, wet) = (self.dry.mean_power(), self.wet.mean_power());
        match (dry > 0.0, wet > 0.0) {
            (true, _) => Some(crate::dsp::db::from_power(wet / dry)),
            (false, true) => Some(f64::INFINITY),
            (false, false) => None,
        }
    }
}
