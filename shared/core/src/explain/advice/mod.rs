//! What to change, computed from the sound at hand, and what it brings: each piece of advice is applied to the spectra and scored
//! again.
//!
//! Advice is given only where it changes a word or brings at least a decibel in a feed that the player will meet, and never one whose
//! 'after' is no better. There are three pieces at most, what concerns the preset first.

mod apply;
mod choose;

pub use apply::applied;
pub use choose::{Situation, advise, better_line};

use crate::explain::margin;
use crate::routing::feed::Side;

/// A part of the sound.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Part {
    /// The direct sound.
    Dry,
    /// The effects.
    Wet,
    /// Everything.
    Total,
}

/// What to do.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Action {
    /// Flip one channel of the preset.
    FlipChannel,
    /// Delay the other channel of the preset by as much as this one is late.
    RemoveDelay {
        /// The late one.
        late: Side,
        /// How late, seconds.
        delay_s: f64,
    },
    /// Both of these: one alone would leave a comb.
    FlipAndRemoveDelay {
        /// The late one.
        late: Side,
        /// How late, seconds.
        delay_s: f64,
    },
    /// Return the effect in mono: one of its channels in both.
    MonoEffect {
        /// Which.
        from: Side,
    },
    /// Make the wet louder (or, negative, softer), so that a mono wedge is as wet as stereo is now. Stereo gets wetter by as
    /// much.
    WetLevel {
        /// By this much, dB.
        change_db: f64,
    },
    /// Give the wedge this line alone.
    OneLine {
        /// Which.
        line: Side,
    },
    /// Give the wedge one line alone, whichever.
    EitherLine,
    /// The player's lines are set so that one is flipped: flip it back.
    FlipLineBack,
    /// Check at the line check that no line is flipped.
    CheckPolarity,
    /// Send both lines the same way, so that none is late.
    SendAlike,
}

/// What is measured before and after, dB.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Quantity {
    /// Change of this part in the mono wedge against stereo.
    Wedge(Part),
    /// Wet over dry in the mono wedge, against wet over dry in stereo as it was before.
    WedgeBalance,
    /// How far the level moves in the wedge at the effect's rate, dB rms.
    WedgeMovement,
    /// The dry in the wedge, with one line flipped and without.
    FlippedDry,
    /// The dry in the wedge, with one line 1 ms late and on time.
    LateDry,
}

/// A piece of advice.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Advice {
    /// What to do.
    pub action: Action,
    /// What it is about.
    pub quantity: Quantity,
    /// That quantity as it is, dB; −∞ for what is gone.
    pub before_db: f64,
    /// That quantity once the advice was applied, dB.
    pub after_db: f64,
}

impl Advice {
    /// What is gained (or, negative, what it costs), dB; ∞ when something gone comes back.
    #[must_use]
    pub fn promise_db(&self) -> f64 {
        if self.before_db == self.after_db {
            0.0
        } else {
            self.after_db - self.before_db
        }
    }
}

/// What the player wants kept.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(default))]
pub struct Wishes {
    /// The dry with one line flipped is to stay above this, against the un-faulted sum, dB.
    pub flipped_db: f64,
    /// A late line may cost the dry this much, dB.
    pub late_loss_db: f64,
}

impl Default for Wishes {
    /// Common practice, no source.
    fn default() -> Self {
        Self {
            flipped_db: margin::FLIPPED_DB,
            late_loss_db: margin::LOSS_DB,
        }
    }
}
