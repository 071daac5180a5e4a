//! Why a sound comes out as it does: causes, each with its evidence in numbers and a confidence.
//!
//! Figures over the whole sound can't tell an inverted channel from a strong wet whose channels work against each other
//! (CHECKS DW-3). So a fault of the direct sound is read where sounds begin, or from a dry that is known separately
//! ([`crate::explain::direct`]), and named only if its whole interval supports it. The whole sound is needed for the
//! rest: how much the channels share, which bands suffer, and whether there was enough sound to tell.

mod examine;
mod figures;
mod phase;
mod settle;

use crate::alignment::onset::Attacks;
use crate::explain::direct::Direct;
use crate::explain::movement::Movement;
use crate::routing::feed::Side;
use crate::split::ways::{Bounds, Evidence as Heard, Ways};

pub use crate::alignment::onset::LATE_S;
pub use examine::{Diagnoser, diagnose};
pub use settle::Whole;

/// Least level difference of the direct sound that is called uneven, dB (common practice, no source).
pub const UNEVEN_DB: f64 = 3.5;
/// A channel this far below the other is silent, dB.
pub const SILENT_DB: f64 = 35.0;
/// A sound whose channels correlate by less than this, once lined up, is wide.
pub const WIDE: f64 = 0.4;
/// Largest standard deviation by chance (CHECKS COR-6) of a correlation that still counts.
pub const SPREAD: f64 = 0.12;
/// Least sound for a diagnosis, seconds.
pub const SHORTEST_S: f64 = 0.4;
/// A wet further down in the wedge than this is gone, dB: the limit at which a dry drops out.
pub const GONE_DB: f64 = -10.0;
/// A separately known wet further down in the wedge than this works against itself, dB; unrelated channels lose 3.01.
pub const FIGHTS_DB: f64 = -4.5;

/// A cause.
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
    /// One channel is late.
    LateChannel,
    /// The channels carry the same sound with levels and phases that differ over frequency: two amplifiers and
    /// cabinets.
    FrequencyDependentPhase,
    /// A movement between the channels is lost in their sum: tremolo, auto-pan, rotary.
    MovementLost,
    /// The wet practically vanishes when the channels are added.
    EffectGone,
    /// The channels of the wet work against each other: anti-phase reverb.
    WetFightsItself,
    /// The channels work against each other, and without attacks a flipped channel can't be told from such a wet.
    OpposedUntold,
    /// One channel is louder.
    UnevenChannels,
    /// The channels carry different sounds: double-tracked, or more wide effect than dry.
    WideSound,
    /// None of these, and every feed without a fault holds.
    NothingWrong,
    /// None of these, but it isn't known that every feed without a fault holds.
    NothingSeen,
}

impl Cause {
    /// All causes, gravest first.
    pub const ALL: [Self; 13] = [
        Self::NotEnoughSound,
        Self::SilentChannel,
        Self::FlippedChannel,
        Self::LateChannel,
        Self::FrequencyDependentPhase,
        Self::MovementLost,
        Self::EffectGone,
        Self::WetFightsItself,
        Self::OpposedUntold,
        Self::UnevenChannels,
        Self::WideSound,
        Self::NothingWrong,
        Self::NothingSeen,
    ];
}

/// Most ranges of bands in a [`Suffering`].
pub const MAX_RANGES: usize = 4;

/// The bands that lose level when the channels are added.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Suffering {
    /// Ranges of neighbouring 1/3-octave bands, lower and upper edge, Hz; the first [`Self::count`] count, lowest
    /// first.
    pub ranges_hz: [(f64, f64); MAX_RANGES],
    /// How many ranges there are.
    pub count: usize,
    /// The middle of the band that loses most, Hz.
    pub worst_hz: f64,
    /// Its sum difference, dB.
    pub worst_db: f64,
}

/// The numbers a finding is based on. Correlations are −1 to +1, at lag zero and over the whole sound unless said
/// otherwise.
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
        /// How far below the other, dB; `None` when it is digital silence.
        below_db: Option<f64>,
    },
    /// Of [`Cause::FlippedChannel`].
    Flipped {
        /// Correlation of the direct sound, lined up.
        aligned: f64,
        /// Number of onsets it comes from; 0 where the whole sound has one direction, or the dry is known separately.
        attacks: usize,
        /// Correlation of the whole sound.
        correlation: f64,
        /// Level of a straight sum of the direct sound over one with a channel flipped, dB, at most; negative. `None`
        /// for −∞ and in data of older versions.
        #[cfg_attr(feature = "serde", serde(default))]
        straight_db: Option<f64>,
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
        /// Deviation of the phase from a plain delay's, rms over 1/3 octaves, degrees.
        stray_degrees: f64,
        /// What the channels share regardless of phase, 0 to 1.
        shared: f64,
        /// Correlation.
        correlation: f64,
        /// The loss, and where.
        suffering: Suffering,
        /// Deviation of the level between the channels over 1/3 octaves, rms, dB.
        #[cfg_attr(feature = "serde", serde(default))]
        stray_db: f64,
    },
    /// Of [`Cause::MovementLost`].
    Moves(Movement),
    /// Of [`Cause::EffectGone`].
    Gone {
        /// Change of the wet in the wedge, dB, at most; `None` where it vanishes altogether.
        wet_db: Option<f64>,
        /// Change of the dry there, dB.
        dry_db: f64,
    },
    /// Of [`Cause::WetFightsItself`].
    Fights {
        /// Correlation while the direct sound dies away, or of the wet where it is known separately.
        lowest: f64,
        /// Correlation of the direct sound, lined up.
        aligned: f64,
        /// Correlation of the whole sound.
        correlation: f64,
        /// Change of the wet in the wedge, dB, where it is known separately.
        #[cfg_attr(feature = "serde", serde(default))]
        wet_db: Option<f64>,
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
        /// The same of the direct sound, dB; `None` where it isn't known or lies on one side alone.
        direct_db: Option<f64>,
        /// The direct sound is on that side alone.
        #[cfg_attr(feature = "serde", serde(default))]
        alone: bool,
    },
    /// Of [`Cause::WideSound`].
    Wide {
        /// Correlation, lined up.
        correlation: f64,
        /// Correlation of the attacks, lined up; `None` where there were too few.
        attacks: Option<f64>,
    },
    /// Of [`Cause::NothingWrong`] and [`Cause::NothingSeen`].
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
    /// The cause.
    pub cause: Cause,
    /// Confidence, 0 to 1.
    pub confidence: f64,
    /// The evidence.
    pub evidence: Evidence,
}

/// Most findings at once.
pub const MAX_FINDINGS: usize = 6;

/// All findings, gravest first. Plain data of fixed size.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Diagnosis {
    findings: [Option<Finding>; MAX_FINDINGS],
    /// Figures of the whole sound; `None` in data of older versions.
    #[cfg_attr(feature = "serde", serde(default))]
    whole: Option<Whole>,
}

impl Diagnosis {
    /// The findings, gravest first. Empty before anything was examined.
    pub fn findings(&self) -> impl Iterator<Item = &Finding> {
        self.findings.iter().flatten()
    }

    /// The gravest finding.
    #[must_use]
    pub fn first(&self) -> Option<&Finding> {
        self.findings[0].as_ref()
    }

    /// The finding of that cause.
    #[must_use]
    pub fn get(&self, cause: Cause) -> Option<&Finding> {
        self.findings().find(|finding| finding.cause == cause)
    }

    /// Whether any of these causes was found.
    #[must_use]
    pub fn has_any(&self, causes: &[Cause]) -> bool {
        causes.iter().any(|&cause| self.get(cause).is_some())
    }

    /// Inserts a finding by gravity; when the list is full the lightest is dropped.
    fn add(&mut self, cause: Cause, confidence: f64, evidence: Evidence) {
        let at = self.findings().take_while(|other| other.cause <= cause).count();
        if at < MAX_FINDINGS {
            self.findings[at..].rotate_right(1);
            self.findings[at] = Some(Finding {
                cause,
                confidence: confidence.clamp(0.0, 1.0),
                evidence,
            });
        }
    }

    /// Removes the findings of these causes.
    fn remove(&mut self, causes: &[Cause]) {
        let old = core::mem::take(&mut self.findings);
        let kept = old
            .into_iter()
            .flatten()
            .filter(|finding| !causes.contains(&finding.cause));
        for (place, finding) in self.findings.iter_mut().zip(kept) {
            *place = Some(finding);
        }
    }
}

/// The evidence besides the spectrum.
#[derive(Clone, Copy, Debug, Default)]
pub struct Clues {
    /// The direct sound's level, polarity and delay between the channels.
    pub direct: Option<Direct>,
    /// There's no dry separate from the effect.
    pub no_dry: bool,
    /// What the attacks show, if there were enough.
    pub attacks: Option<Attacks>,
    /// The right channel's delay at which the channels are most alike, seconds: the only evidence of a delay without
    /// onsets.
    pub delay_s: f64,
    /// The movement between the channels.
    pub movement: Option<Movement>,
    /// The wet, where it is known separately.
    pub wet: Option<WetHeard>,
}

impl Clues {
    /// Clues of a sound whose dry and wet are not known separately.
    #[must_use]
    pub fn heard(heard: &Heard, bounds: &Bounds, ways: &Ways, attacks: Option<Attacks>) -> Self {
        Self {
            direct: Direct::heard(heard, bounds),
            no_dry: bounds.no_separate_dry,
            attacks,
            delay_s: heard.delay_s,
            movement: Movement::of(ways),
            wet: None,
        }
    }
}

/// A wet that is known separately.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WetHeard {
    /// Its change in the sum of the channels as they are, dB.
    pub sum_db: f64,
    /// Correlation of its channels.
    pub correlation: f64,
}
