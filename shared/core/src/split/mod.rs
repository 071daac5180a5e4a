//! Dry and wet, each as a cross-spectrum, and how they were told apart.

pub mod diffuse;
pub mod estimated;
pub mod interval;
pub mod kind;
pub mod side_chain;
pub mod two_pass;
pub mod ways;

use crate::spectrum::cross_spectrum::{CrossSpectrum, mean_phasor};
use crate::spectrum::grid::Grid;

/// How dry and wet were told apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Method {
    /// From the pair alone: what the channels share is dry, the rest wet. A wet that the channels share counts as dry.
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

    /// How far down a cancelled dry can be read, dB; beyond it only 'at least' is true. `None` where there is no floor.
    #[must_use]
    pub fn floor_db(self) -> Option<f64> {
        (self == Self::Estimated).then_some(-20.0)
    }
}

/// How far an estimate can be relied on: what contains the truth in at least 95 of 100 synthetic presets.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Range {
    /// Wet over dry power, dB, at least and at most; infinite where there is no bound.
    #[cfg_attr(feature = "serde", serde(with = "open_ends"))]
    pub wet_over_dry_db: [f64; 2],
    /// The correlation of the wet's channels that it's for, at least and at most.
    pub wet_correlation: [f64; 2],
}

impl Range {
    /// Nothing is known.
    pub const UNKNOWN: Self = Self {
        wet_over_dry_db: [f64::NEG_INFINITY, f64::INFINITY],
        wet_correlation: [-1.0, 1.0],
    };

    /// Whether it says anything.
    #[must_use]
    pub fn is_bounded(&self) -> bool {
        self.wet_over_dry_db.iter().any(|db| db.is_finite())
    }
}

/// Dry and wet of one sound, and the sound as it was heard.
#[derive(Clone, Debug, PartialEq)]
pub struct Split {
    /// The direct sound.
    pub dry: CrossSpectrum,
    /// The effects.
    pub wet: CrossSpectrum,
    /// Both together, as measured. Not the sum of the two: where dry and wet meet in a partial they help or hinder each
    /// other by chance, so their powers don't simply add.
    pub total: CrossSpectrum,
    /// How they were told apart.
    pub method: Method,
    /// How near an estimate is; `None` where dry and wet were measured.
    pub range: Option<Range>,
}

impl Split {
    /// From its three parts.
    #[must_use]
    pub fn new(dry: CrossSpectrum, wet: CrossSpectrum, total: CrossSpectrum, method: Method) -> Self {
        Self {
            dry,
            wet,
            total,
            method,
            range: None,
        }
    }

    /// From dry and wet alone; the total is taken for the sum of their powers. Both must be on the same `grid`.
    ///
    /// # Panics
    /// If the lengths don't belong together.
    #[must_use]
    pub fn of_parts(dry: CrossSpectrum, wet: CrossSpectrum, grid: &Grid, method: Method) -> Self {
        let mut total = CrossSpectrum::silent(grid.len());
        total.delay_s = dry.delay_s;
        total.averages = dry.averages.min(wet.averages);
        for part in [&dry, &wet] {
            for cell in 0..grid.len() {
                total.ll[cell] += part.ll[cell];
                total.rr[cell] += part.rr[cell];
                total.lr[cell] += part.lr[cell] * mean_phasor(grid, cell, part.delay_s - total.delay_s);
            }
        }
        Self {
            dry,
            wet,
            total,
            method,
            range: None,
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
            range: None,
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
        self.range = other.range;
    }

    /// The delays the three parts keep apart, seconds: dry, wet, total.
    #[must_use]
    pub fn delays_s(&self) -> [f64; 3] {
        [self.dry.delay_s, self.wet.delay_s, self.total.delay_s]
    }

    /// Wet over dry power of both channels, dB; `None` when there's neither.
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

/// JSON has no infinity: an open end is stored as nothing.
#[cfg(feature = "serde")]
mod open_ends {
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    pub(super) fn serialize<S: Serializer>(ends: &[f64; 2], serializer: S) -> Result<S::Ok, S::Error> {
        ends.map(|end| end.is_finite().then_some(end))
            .serialize(serializer)
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<[f64; 2], D::Error> {
        let [low, high] = <[Option<f64>; 2]>::deserialize(deserializer)?;
        Ok([low.unwrap_or(f64::NEG_INFINITY), high.unwrap_or(f64::INFINITY)])
    }
}
