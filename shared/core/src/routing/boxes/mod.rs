//! The boxes between a channel's output and the desk: each kind as data, its effect on level, low end, noise and
//! grounding, the effect of two of them on a sum, and which to take.
//!
//! The formulas are circuit theory (a divider, a transformer's ratio, Johnson noise) and each is named where it is
//! used; a kind's usual figures ([`Kind::spec`]) are common practice, no source: a data sheet takes precedence.

mod arrival;
mod choice;
mod formulas;
mod pair;
mod spec;

use crate::routing::line::Line;

pub use arrival::{Arrival, Rejection};
pub use choice::{Candidate, Choice, Gig, Mains, Merit, Offered, Trouble, rank};
pub use formulas::{
    common_mode_rejection_db, corner_hz, dbu_of_volts, phase_lead_deg, reflected_ohm, thermal_noise_dbu,
    turns_gain_db, volts_of_dbu,
};
pub use pair::{LOW_E_HZ, PairOfLines};
pub use spec::{Coupling, DeskInput, Isolation, Legs, Phantom, Spec};

/// A kind of box on a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Kind {
    /// A cable from an impedance-balanced jack to an XLR input.
    AdapterCable,
    /// A 1:1 transformer.
    LineIsolator,
    /// A step-down transformer.
    PassiveDirectBox,
    /// A buffer with its own supply.
    ActiveDirectBox,
    /// A transmitter and its receiver.
    Wireless,
    /// A line input of the stage box.
    StageBoxLine,
}

impl Kind {
    /// All of them.
    pub const ALL: [Self; 6] = [
        Self::AdapterCable,
        Self::LineIsolator,
        Self::PassiveDirectBox,
        Self::ActiveDirectBox,
        Self::Wireless,
        Self::StageBoxLine,
    ];

    /// A stable name for files.
    #[must_use]
    pub fn id(self) -> &'static str {
        match self {
            Self::AdapterCable => "adapter-cable",
            Self::LineIsolator => "line-isolator",
            Self::PassiveDirectBox => "passive-direct-box",
            Self::ActiveDirectBox => "active-direct-box",
            Self::Wireless => "wireless",
            Self::StageBoxLine => "stage-box-line",
        }
    }

    /// The kind with that [`Kind::id`].
    #[must_use]
    pub fn from_id(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.id() == id)
    }
}

/// Who brings the boxes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Whose {
    /// The player.
    Mine,
    /// The house.
    Yours,
}

/// How an output drives its two legs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Drive {
    /// The sound on the tip only; the ring tied to ground through the same impedance ('impedance-balanced').
    #[default]
    SingleEnded,
    /// The sound on both legs, with opposite signs.
    Symmetric,
}

impl Drive {
    /// A stable name for files.
    #[must_use]
    pub fn id(self) -> &'static str {
        match self {
            Self::SingleEnded => "single-ended",
            Self::Symmetric => "symmetric",
        }
    }
}

/// One output of the rig: the source of a box.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(default))]
pub struct Source {
    /// Level of loud playing with nothing connected, dBu rms.
    pub level_dbu: f64,
    /// Its highest peaks, dBu; `None` where not stated.
    pub peak_dbu: Option<f64>,
    /// Impedance of the leg (of each leg) that carries the sound, ohm; an impedance-balanced jack has the same on the
    /// other.
    pub impedance_ohm: f64,
    /// How it drives its two legs.
    pub drive: Drive,
}

impl Default for Source {
    /// 0 dBu from 220 ohm, single-ended: common practice of floor boards, no source.
    fn default() -> Self {
        Self {
            level_dbu: 0.0,
            peak_dbu: None,
            impedance_ohm: 220.0,
            drive: Drive::SingleEnded,
        }
    }
}

/// Crest factor of loud playing, dB, where the peaks are not stated: common practice, no source.
pub const CREST_DB: f64 = 12.0;
/// Peaks above this, dBu, need a pad at a mic input: common practice, no source.
pub const PAD_DBU: f64 = 0.0;

/// The highest peaks of loud playing at some point of the line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Peaks {
    /// Level, dBu.
    pub dbu: f64,
    /// They were not stated: [`CREST_DB`] over rms is assumed.
    pub assumed: bool,
}

impl Source {
    /// The peaks of loud playing.
    #[must_use]
    pub fn peaks(&self) -> Peaks {
        Peaks {
            dbu: self.peak_dbu.unwrap_or(self.level_dbu + CREST_DB),
            assumed: self.peak_dbu.is_none(),
        }
    }
}

impl Peaks {
    /// The same behind a gain, dB.
    #[must_use]
    pub fn through(self, gain_db: f64) -> Self {
        Self {
            dbu: self.dbu + gain_db,
            ..self
        }
    }

    /// Whether a mic input needs its pad for them.
    #[must_use]
    pub fn want_pad(self) -> bool {
        self.dbu > PAD_DBU
    }
}

/// A box on a line, with the figures that may differ from its kind's usual ones.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InUse {
    /// Which kind.
    pub kind: Kind,
    /// Primary over secondary turns, where it has a transformer; `None`: the usual.
    pub turns_ratio: Option<f64>,
    /// The input it goes into; `None`: the usual.
    pub input: Option<DeskInput>,
    /// Impedance of the input at the desk, ohm; `None`: the usual of such an input.
    pub load_ohm: Option<f64>,
    /// Whether it needs phantom power; `None`: the usual.
    pub phantom_power: Option<bool>,
}

impl InUse {
    /// A box with its kind's usual figures.
    #[must_use]
    pub fn usual(kind: Kind) -> Self {
        Self {
            kind,
            turns_ratio: None,
            input: None,
            load_ohm: None,
            phantom_power: None,
        }
    }

    /// Its figures: the kind's, with those that differ replaced.
    #[must_use]
    pub fn spec(&self) -> Spec {
        let mut spec = self.kind.spec();
        if let (Coupling::Transformer { turns_ratio, .. }, Some(ratio)) =
            (&mut spec.coupling, self.turns_ratio)
        {
            *turns_ratio = ratio;
        }
        if let Some(input) = self.input {
            spec.input = input;
        }
        if let Some(wanted) = self.phantom_power {
            spec.phantom = match (wanted, spec.phantom) {
                (true, _) => Phantom::Needed,
                (false, Phantom::Needed) => Phantom::Harmless,
                (false, other) => other,
            };
        }
        spec
    }

    /// Impedance of the input at the desk, ohm.
    #[must_use]
    pub fn load_ohm(&self) -> f64 {
        self.load_ohm.unwrap_or(self.spec().input.usual_ohm())
    }

    /// The signal of `source` as it arrives at the desk.
    #[must_use]
    pub fn arrival(&self, source: &Source) -> Arrival {
        Arrival::new(&self.spec(), self.load_ohm(), source)
    }

    /// The way to the desk as a line.
    #[must_use]
    pub fn line(&self, source: &Source) -> Line {
        self.arrival(source).line()
    }
}

/// Ranges of the boxes' settings.
pub mod limits {
    /// Level of a source, dBu.
    pub const LEVEL_DBU: core::ops::RangeInclusive<f64> = -60.0..=24.0;
    /// Impedance of a source, ohm.
    pub const SOURCE_OHM: core::ops::RangeInclusive<f64> = 1.0..=100_000.0;
    /// Impedance of an input, ohm.
    pub const LOAD_OHM: core::ops::RangeInclusive<f64> = 100.0..=10_000_000.0;
    /// Turns of a transformer's primary for one of its secondary.
    pub const TURNS_RATIO: core::ops::RangeInclusive<f64> = 1.0..=20.0;
}
