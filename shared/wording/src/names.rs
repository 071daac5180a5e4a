//! Names of the core's enums.

use sumproof_core::explain::diagnosis::Cause;
use sumproof_core::routing::boxes::{DeskInput, Isolation, Kind, Phantom};
use sumproof_core::routing::feed::{FeedId, Side};
use sumproof_core::score::balance::Balance;
use sumproof_core::score::outcome::Outcome;
use sumproof_core::session::take::Pass;
use sumproof_core::split::Method;
use sumproof_core::split::interval::Known;
use sumproof_core::split::kind::PresetKind;

use crate::feeds;

/// The name that people read for an id of the core.
///
/// ```
/// use sumproof_core::score::outcome::Outcome;
/// use sumproof_wording::Name;
///
/// assert_eq!(Outcome::DropsOut.name(), "drops out");
/// ```
pub trait Name {
    /// The name, in the form used inside a sentence.
    #[must_use]
    fn name(self) -> &'static str;
}

impl Name for FeedId {
    fn name(self) -> &'static str {
        feeds::name(self)
    }
}

impl Name for Side {
    fn name(self) -> &'static str {
        match self {
            Self::Left => "left",
            Self::Right => "right",
        }
    }
}

impl Name for Outcome {
    fn name(self) -> &'static str {
        match self {
            Self::Holds => "holds",
            Self::Thins => "thins",
            Self::DropsOut => "drops out",
        }
    }
}

impl Name for Pass {
    fn name(self) -> &'static str {
        match self {
            Self::Full => "full",
            Self::Dry => "dry",
            Self::Wet => "wet",
        }
    }
}

impl Name for Method {
    fn name(self) -> &'static str {
        match self {
            Self::Estimated => "estimated",
            Self::TwoPass => "two-pass",
            Self::SideChain => "side-chain",
        }
    }
}

impl Name for PresetKind {
    fn name(self) -> &'static str {
        match self {
            Self::NotSaid => "not said",
            Self::Centre => "one dry in the middle",
            Self::OneSide => "one dry to one side",
            Self::TwoAmplifiers => "two amplifiers",
            Self::TwoTakes => "two takes",
            Self::LateCopy => "a late copy",
            Self::NoDry => "no separate dry",
        }
    }
}

impl Name for Known {
    fn name(self) -> &'static str {
        match self {
            Self::Measured => "measured",
            Self::Bounded => "bounded",
            Self::Assumed => "assumed",
        }
    }
}

impl Name for Balance {
    fn name(self) -> &'static str {
        match self {
            Self::EffectGone => "effect gone",
            Self::Drier => "drier",
            Self::AsMixed => "as mixed",
            Self::Wetter => "wetter",
        }
    }
}

impl Name for Cause {
    fn name(self) -> &'static str {
        match self {
            Self::NotEnoughSound => "not enough sound yet",
            Self::SilentChannel => "a silent channel",
            Self::FlippedChannel => "a flipped channel",
            Self::LateChannel => "a late channel",
            Self::FrequencyDependentPhase => "channels that differ over frequency",
            Self::MovementLost => "movement that is lost",
            Self::EffectGone => "an effect that is gone",
            Self::WetFightsItself => "a wet that fights itself",
            Self::OpposedUntold => "channels against each other, cause untold",
            Self::UnevenChannels => "uneven channels",
            Self::WideSound => "a wide sound",
            Self::NothingWrong => "nothing wrong",
            Self::NothingSeen => "nothing wrong that is seen",
        }
    }
}

impl Name for Kind {
    fn name(self) -> &'static str {
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

impl Name for DeskInput {
    fn name(self) -> &'static str {
        match self {
            Self::Mic => "mic input",
            Self::Line => "line input",
        }
    }
}

impl Name for Isolation {
    fn name(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Transformer => "transformer",
            Self::NoWire => "no wire",
        }
    }
}

impl Name for Phantom {
    fn name(self) -> &'static str {
        match self {
            Self::Needed => "on",
            Self::Harmless => "not needed",
            Self::MustBeOff => "OFF",
        }
    }
}
