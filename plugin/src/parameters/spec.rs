//! What a saved state may hold for each parameter, and what is made of it.
//!
//! The framework takes a state's values as they come: a float out of range stays out of range, a list's index past its end
//! is used as one, what is missing keeps the value of the session before. So a state is gone through first, value by
//! value, and what reaches the framework is complete and within range.

use nice_plug::plugin::ParamValue;
use nice_plug::prelude::Enum;

use crate::parameters::choices::{FeedChoice, IntegrationChoice, PassChoice, PolarityChoice, SumLawChoice};
use crate::parameters::params::{
    CORNER_RANGE_HZ, DELAY_RANGE_MS, GAIN_RANGE_DB, SPLIT_DEFAULT_MS, SPLIT_RANGE_MS,
};

/// What one parameter may be, and is by default.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Kind {
    /// A switch, off by default.
    Switch,
    /// A switch that is off after every load, whatever the state says: audition and recording are for the session.
    SessionSwitch,
    /// A number within a range, and its default.
    Number((f32, f32), f32),
    /// One of these ids; by default the one at the index.
    OneOf(Option<&'static [&'static str]>, usize),
}

/// Id of the split time, which only the plugin with a side-chain has.
pub(crate) const SPLIT_ID: &str = "split";

/// Every parameter by its id.
pub(crate) fn all() -> [(&'static str, Kind); 20] {
    let polarity = Kind::OneOf(PolarityChoice::ids(), PolarityChoice::Normal.to_index());
    [
        ("byp", Kind::Switch),
        ("aud", Kind::SessionSwitch),
        (
            "feed",
            Kind::OneOf(FeedChoice::ids(), FeedChoice::MonoWedge.to_index()),
        ),
        ("lpol", polarity),
        ("lgain", Kind::Number(GAIN_RANGE_DB, 0.0)),
        ("ldel", Kind::Number(DELAY_RANGE_MS, 0.0)),
        ("lhp", Kind::Number(CORNER_RANGE_HZ, 0.0)),
        ("lunp", Kind::Switch),
        ("rpol", polarity),
        ("rgain", Kind::Number(GAIN_RANGE_DB, 0.0)),
        ("rdel", Kind::Number(DELAY_RANGE_MS, 0.0)),
        ("rhp", Kind::Number(CORNER_RANGE_HZ, 0.0)),
        ("runp", Kind::Switch),
        (
            "law",
            Kind::OneOf(SumLawChoice::ids(), SumLawChoice::Average.to_index()),
        ),
        ("match", Kind::Switch),
        (
            "integ",
            Kind::OneOf(IntegrationChoice::ids(), IntegrationChoice::Medium.to_index()),
        ),
        ("rec", Kind::SessionSwitch),
        (
            "kind",
            Kind::OneOf(PassChoice::ids(), PassChoice::Full.to_index()),
        ),
        ("audbnc", Kind::SessionSwitch),
        (SPLIT_ID, Kind::Number(SPLIT_RANGE_MS, SPLIT_DEFAULT_MS)),
    ]
}

impl Kind {
    /// The value used where a state has none that can be understood.
    pub(crate) fn default_value(self) -> ParamValue {
        match self {
            Self::Switch | Self::SessionSwitch => ParamValue::Bool(false),
            Self::Number(_, default) => ParamValue::F32(default),
            Self::OneOf(ids, index) => ParamValue::String(
                ids.and_then(|ids| ids.get(index))
                    .map_or_else(String::new, |id| String::from(*id)),
            ),
        }
    }

    /// What a stored value means here: itself, or the nearest this version knows. `None` when it means nothing.
    pub(crate) fn understood(self, value: &ParamValue) -> Option<ParamValue> {
        match (self, value) {
            (Self::Switch, ParamValue::Bool(on)) => Some(ParamValue::Bool(*on)),
            (Self::SessionSwitch, ParamValue::Bool(_)) => Some(ParamValue::Bool(false)),
            (Self::Number((least, most), _), ParamValue::F32(number)) if number.is_finite() => {
                Some(ParamValue::F32(number.clamp(least, most)))
            }
            (Self::OneOf(Some(ids), _), ParamValue::String(id)) => {
                ids.contains(&id.as_str()).then(|| ParamValue::String(id.clone()))
            }
            _ => None,
        }
    }
}
