//! Why a sound fares as it does: causes, each with its evidence in numbers and a confidence.
//!
//! Most figures over the whole sound can't tell an inverted channel from a strong wet whose channels work against each
//! other (CHECKS DW-3): a flipped channel is therefore only found where the attacks show it ([`crate::alignment::onset`]), or where
//! the channels are so nearly each other's negative that no room could make it. What the whole sound is needed for is the
//! rest: levels, the delay to a fraction of a sample, phases over frequency, and whether there was enough sound to tell.

mod examine;
mod phase;

use crate::alignment::delay::ChannelDelay;
use crate::alignment::onset::Attacks;
use crate::routing::feed::Side;

pub use examine::{Diagnoser, diagnose};

/// A level difference between the channels from here on is called uneven, dB (common practice, no source).
pub const UNEVEN_DB: f64 = 2.5;
/// The same for the direct sound alone, which is known less exactly, dB.
pub const UNEVEN_DIRECT_DB: f64 = 3.5;
/// A channel this far below the other is silent, dB.
pub const SILENT_DB: f64 = 35.0;
/// A delay from here on matters: 0.05 ms puts the first notch at 10 kHz.
pub const LATE_S: f64 = 0.000_05;
/// A sound whose channels correlate by less than this, once lined up, is wide.
pub const WIDE: f64 = 0.4;
/// A correlation that may stray by more than this by chance (one standard deviation, CHECKS COR-6) says nothing.
pub const SPREAD: f64 = 0.12;
/// Less sound than this says nothing, seconds.
pub const SHORTEST_S: f64 = 0.4;

/// What may be the matter.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Cause {
    /// Too little sound to say anything.
    NotEnoughSound,
    /// One channel is silent.
    SilentChannel,
    /// One channel is the other's negative.
    FlippedChannel,
    /// One channel is the later one.
    LateChannel,
    /// The channels carry the same with phases that differ over frequency: two amplifiers and cabinets.
    FrequencyDependentPhase,
    /// The channels of the wet work against each other: anti-phase reverb.
    WetFightsItself,
    /// The channels work against each other, and without attacks it can't be told whether one is flipped or the wet does it.
    OpposedUntold,
    /// One channel is louder.
    UnevenChannels,
    /// The channels carry different things: double-tracked, or more wide effect than dry.
    WideSound,
    /// None of these.
    NothingWrong,
}

impl Cause {
    /// All of them, gravest first.
    pub const ALL: [Self; 10] = [
        Self::NotEnoughSound,
        Self::SilentChannel,
        Self::FlippedChannel,
        Self::LateChannel,
        Self::FrequencyDependentPhase,
        Self::WetFightsItself,
        Self::OpposedUntold,
        Self::UnevenChannels,
        Self::WideSound,
        Self::NothingWrong,
    ];
}

/// Most ranges of bands a [`Suffering`] lists.
pub const MAX_RANGES: usize = 4;

/// The bands that suffer when the channels are added.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Suffering {
    /// Ranges of neighbouring 1/3-octave bands, lower and upper edge, Hz; the first [`Self::count`] count, lowest first.
    pub ranges_hz: [(f64, f64); MAX_RANGES],
    /// How many ranges there are.
    pub count: usize,
    /// The middle of the band that loses most, Hz.
    pub worst_hz: f64,
    /// Its sum difference, dB.
    pub worst_db: f64,
}

/// The numbers a finding stands on. Correlations are −1 to +1, at lag zero and over the whole sound unless said otherwise.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Evidence {
    /// Of [`Cause::NotEnoughSound`].
    NotEnough {
        /// Sound heard, seconds (independent averages times their length).
        seconds: f64,
        /// How far a correlation may stray by chance (one standard deviation); 1 without sound.
        spread: f64,
    },
    /// Of [`Cause::SilentChannel`].
    Silent {
        /// The silent one.
        side: Side,
        /// How far below the other, dB; `None` when there's nothing at all.
        below_db: Option<f64>,
    },
    /// Of [`Cause::FlippedChannel`].
    Flipped {
        /// Correlation of the attacks, lined up; of the whole sound where none was heard.
        aligned: f64,
        /// How many attacks it comes from; 0 when only the whole sound could be asked.
        attacks: usize,
        /// Correlation of the whole sound.
        correlation: f64,
    },
    /// Of [`Cause::LateChannel`].
    Late {
        /// The later one.
        side: Side,
        /// By how much, seconds.
        delay_s: f64,
        /// The first notches of the comb when the channels are added, Hz: (2k+1)/2τ, or k/τ when one is flipped too.
        notches_hz: [f64; 3],
        /// Correlation once lined up; negative when flipped too.
        aligned: f64,
    },
    /// Of [`Cause::FrequencyDependentPhase`].
    Phase {
        /// How far the phase strays from a plain delay, rms over 1/3 octaves, degrees.
        stray_degrees: f64,
        /// What the channels share whatever the phase, 0 to 1.
        shared: f64,
        /// Correlation.
        correlation: f64,
        /// What it costs, and where.
        suffering: Suffering,
    },
    /// Of [`Cause::WetFightsItself`].
    Fights {
        /// Correlation where the direct sound dies away.
        lowest: f64,
        /// Correlation of the attacks, lined up.
        aligned: f64,
        /// Correlation of the whole sound.
        correlation: f64,
    },
    /// Of [`Cause::OpposedUntold`].
    Opposed {
        /// Correlation.
        correlation: f64,
    },
    /// Of [`Cause::UnevenChannels`].
    Uneven {
        /// The louder one.
        louder: Side,
        /// Level of the louder over the other channel, whole sound, dB.
        whole_db: f64,
        /// The same of the direct sound, where attacks show it, dB (may be negative).
        direct_db: Option<f64>,
    },
    /// Of [`Cause::WideSound`].
    Wide {
        /// Correlation, lined up.
        correlation: f64,
        /// Of the attacks, lined up; `None` where too few were heard.
        attacks: Option<f64>,
    },
    /// Of [`Cause::NothingWrong`].
    Fine {
        /// Correlation.
        correlation: f64,
        /// Sum difference of the whole sound, dB.
        sum_difference_db: f64,
    },
}

/// One cause with its evidence.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Finding {
    /// What it is.
    pub cause: Cause,
    /// How sure that is, 0 to 1.
    pub confidence: f64,
    /// What it stands on.
    pub evidence: Evidence,
}

/// Most findings at once.
pub const MAX_FINDINGS: usize = 6;

/// All findings, gravest first. Plain data of fixed size.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Diagnosis {
    findings: [Option<Finding>; MAX_FINDINGS],
}

impl Diagnosis {
    /// The findings, gravest first. Empty before anything was examined.
    pub fn findings(&self) -> impl Iterator<Item = &Finding> {
        self.findings.iter().flatten()
    }

    /// The gravest.
    #[must_use]
    pub fn first(&self) -> Option<&Finding> {
        self.findings[0].as_ref()
    }

    /// The finding of that cause.
    #[must_use]
    pub fn get(&self, cause: Cause) -> Option<&Finding> {
        self.findings().find(|finding| finding.cause == cause)
    }

    fn add(&mut self, cause: Cause, confidence: f64, evidence: Evidence) {
        // There are fewer causes that can hold at once than places.
        if let Some(place) = self.findings.iter_mut().find(|place| place.is_none()) {
            *place = Some(Finding {
                cause,
                confidence: confidence.clamp(0.0, 1.0),
                evidence,
            });
        }
    }
}

/// What is known besides the spectrum.
#[derive(Clone, Copy, Debug, Default)]
pub struct Clues {
    /// The single delay between the channels, if there's one.
    pub delay: Option<ChannelDelay>,
    /// What the attacks say, if enough were heard.
    pub attacks: Option<Attacks>,
}
