//! What a saved state may hold for each parameter, and what is made of it: read off the parameters themselves.
//!
//! The framework takes a state's values as they come: a float out of range stays out of range, a list's index past its end
//! is used as one, what is missing keeps the value of the session before. So a state is gone through first, value by
//! value, and what reaches the framework is complete and within range. Every parameter comes back as it was saved; that nothing is
//! heard or recorded because of it is [`crate::bridge::arming::Arming`]'s business.

use nice_plug::params::internals::ParamPtr;
use nice_plug::plugin::ParamValue;
use nice_plug::prelude::{Param, Params};

use crate::parameters::params::HostParams;

/// Id of the split time, which only the plugin with a side-chain has.
pub(crate) const SPLIT_ID: &str = "split_1";

/// What one parameter may be, and is by default.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Kind {
    /// A switch, off by default.
    Switch,
    /// A number within a range, and its default.
    Number((f32, f32), f32),
    /// One of these ids; by default the one at the index.
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
                // SAFETY: as above; nobody else has these parameters.
                unsafe { pointer._internal_set_normalized_value(param.preview_normalized(index as i32)) };
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
    /// The value used where a state has none that can be understood.
    pub(crate) fn default_value(&self) -> ParamValue {
        match self {
            Self::Switch => ParamValue::Bool(false),
            Self::Number(_, default) => ParamValue::F32(*default),
            Self::OneOf(ids, index) => ParamValue::String(ids.get(*index).cloned().unwrap_or_default()),
        }
    }

    /// What a stored value means here: itself, or the nearest this version knows. `None` when it means nothing.
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
