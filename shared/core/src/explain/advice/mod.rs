//! What to change and how much it helps: each piece of advice is applied to the sound's spectra and scored again.
//!
//! Advice is given only where it improves an outcome or gains at least 1 dB in a feed that the player will meet. There
//! are three pieces at most, changes of the preset first.

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
    /// Delay the preset's other channel by as much as this one is late.
    RemoveDelay {
        /// The late one.
        late: Side,
        /// How late, seconds.
        delay_s: f64,
    },
    /// Both of these: either alone would leave a comb.
    FlipAndRemoveDelay {
        /// The late one.
        late: Side,
        /// How late, seconds.
        delay_s: f64,
    },
    /// Return the effect in mono: one of its channels in both.
    MonoEffect {
        /// The one that is kept.
        from: Side,
    },
    /// Make the wet louder (or, negative, softer), so that a mono wedge is as wet as stereo is now. Stereo gets wetter
    /// by as much.
    WetLevel {
        /// By this much, dB.
        change_db: f64,
    },
    /// Feed the wedge from this line alone.
    OneLine {
        /// The one that is kept.
        line: Side,
    },
    /// Feed the wedge from one line alone, either one.
    EitherLine,
    /// The player's lines are set so that one is flipped: flip it back.
    FlipLineBack,
    /// Check at the line check that no line is flipped.
    CheckPolarity,
    /// Send both lines the same way, so neither is late.
    SendAlike,
}

/// The quantity compared before and after, dB.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Quantity {
    /// Level of this part in the mono wedge against stereo.
    Wedge(Part),
    /// Wet over dry in the mono wedge, against wet over dry in stereo before the change.
    WedgeBalance,
    /// How much the level in the wedge varies at the effect's rate, dB rms.
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
    /// The quantity it improves.
    pub quantity: Quantity,
    /// That quantity as it is, dB; −∞ for a part that is gone.
    pub before_db: f64,
    /// That quantity with the advice applied, dB.
    pub after_db: f64,
    /// Both ends of [`Self::before_db`], dB.
    pub before_ends_db: [f64; 2],
    /// Both ends of [`Self::after_db`], dB.
    pub after_ends_db: [f64; 2],
}

impl Advice {
    /// The gain, dB; negative for a loss, ∞ when a part that was gone comes back.
    #[must_use]
    pub fn promise_db(&self) -> f64 {
        if self.before_db == self.after_db {
            0.0
        } else {
            self.after_db - self.before_db
        }
    }
}

/// The limits the player sets for faults.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(default))]
pub struct Wishes {
    /// Lowest wanted level of the dry with one line flipped, against the un-faulted sum, dB.
    pub flipped_db: f64,
    /// Largest loss of dry that a late line may cause, dB.
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
