//! What stands between a channel's output and the desk: the kinds of box, as data.

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

    /// What people read.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::AdapterCable => "adapter cable",
            Self::LineIsolator => "line isolator",
            Self::PassiveDirectBox => "passive direct box",
            Self::ActiveDirectBox => "active direct box",
            Self::Wireless => "wireless",
            Self::StageBoxLine => "stage-box line",
        }
    }
}

/// How an output drives its two legs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Drive {
    /// The sound on the tip only; the ring tied to ground through the same impedance ('impedance-balanced').
    #[default]
    SingleEnded,
    /// The sound on both, with opposite signs.
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

/// One output of the rig, as a box sees it.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(default))]
pub struct Source {
    /// Level of loud playing with nothing connected, dBu rms.
    pub level_dbu: f64,
    /// Impedance, ohm.
    pub impedance_ohm: f64,
    /// How it drives its two legs.
    pub drive: Drive,
}

impl Default for Source {
    /// 0 dBu from 220 ohm, single-ended: common practice of floor boards, no source.
    fn default() -> Self {
        Self {
            level_dbu: 0.0,
            impedance_ohm: 220.0,
            drive: Drive::SingleEnded,
        }
    }
}

/// Ranges the settings of boxes are kept in.
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
