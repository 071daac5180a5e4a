//! The values a saved state may hold for each parameter, read off the parameters themselves.
//!
//! The framework uses a state's values unchecked: a float out of range stays out of range, a list index past the end is
//! used as one, a missing parameter keeps its value from the session before. So every state is checked first, value by
//! value, and what reaches the framework is complete and within range. Every parameter is restored as saved;
//! [`crate::parameters::arming::Arming`] makes sure that nothing is heard or recorded because of that.

use nice_plug::params::internals::ParamPtr;
use nice_plug::plugin::ParamValue;
use nice_plug::prelude::{Param, Params};
use sumproof_core::dsp::numbers::to_signed;

use crate::parameters::params::HostParams;

/// Id of the split time, which only the plugin with a side-chain has.
pub(crate) const SPLIT_ID: &str = "split_1";

/// The values one parameter may have, and its default.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Kind {
    /// A switch, off by default.
    Switch,
    /// A number within a range, and its default.
    Number((f32, f32), f32),
    /// One of these ids; the default is the one at the index.
    OneOf(Vec<String>, usize),
}

/// Every parameter by its id, the side-chain's among them. Allocates.
pub(crate) fn all() -> Vec<(String, Kind)> {
    let params = HostParams::new(true);
    params
        .param_map()
        .into_iter()
        .map(|(id, pointer, _)| {
            let kind = match pointer {
                ParamPtr::BoolParam(_) => Kind::Switch,
                other => listed(other),
            };
            (id, kind)
        })
        .collect()
}

/// A number or a list.
fn listed(pointer: ParamPtr) -> Kind {
    match pointer {
        ParamPtr::EnumParam(param) => {
            // SAFETY: one of the parameters in [`all`], which outlive this call.
            let param = unsafe { &*param };
            let last = param.step_count().unwrap_or(0);
            let ids = (0..=last).map(|index| {
                // SAFETY: as above; these parameters are used by this call alone.
                unsafe { pointer._internal_set_normalized_value(param.preview_normalized(to_signed(index))) };
                param
                    .unmodulated_plain_id()
                    .map_or_else(String::new, String::from)
            });
            let ids = ids.collect();
            Kind::OneOf(ids, usize::try_from(param.default_plain_value()).unwrap_or(0))
        }
        other => {
            // SAFETY: as above.
            let [least, most, default] = unsafe {
                [
                    other.preview_plain(0.0),
                    other.preview_plain(1.0),
                    other.default_plain_value(),
                ]
            };
            Kind::Number((least, most), default)
        }
    }
}

impl Kind {
    /// The default, used where a state's value is missing or unreadable.
    pub(crate) fn default_value(&self) -> ParamValue {
        match self {
            Self::Switch => ParamValue::Bool(false),
            Self::Number(_, default) => ParamValue::F32(*default),
            Self::OneOf(ids, index) => ParamValue::String(ids.get(*index).cloned().unwrap_or_default()),
        }
    }

    /// A stored value as used here: clamped to the range where necessary. `None` for a value of another type, a number
    /// that is not finite, or an unknown id.
    pub(crate) fn understood(&self, value: &ParamValue) -> Option<ParamValue> {
        match (self, value) {
            (Self::Switch, ParamValue::Bool(on)) => Some(ParamValue::Bool(*on)),
            (Self::Number((least, most), _), ParamValue::F32(number)) if number.is_finite() => {
                Some(ParamValue::F32(number.clamp(*least, *most)))
            }
            (Self::OneOf(ids, _), ParamValue::String(id)) => {
                ids.contains(id).then(|| ParamValue::String(id.clone()))
            }
            _ => None,
        }
    }
}
