//! Checks and completes a saved state before it is loaded.
//!
//! [`filter`] makes every state complete (a missing value would otherwise keep its value from the session before),
//! clamps values to their ranges, and preserves what a newer version wrote: parameters and fields unknown to this
//! version, and values of known ones that it can't read, go into [`Kept`], a field of its own in the state. They are
//! saved again from there, word for word.
//!
//! The promise to later versions: at load, kept values are put back in their place before anything else is read. Where
//! this version had to replace a value it could not read, it records the replacement; if that stand-in is still there,
//! the user has not changed it, and the kept value returns. If the user has since changed it, the user's choice stands.

use std::collections::BTreeMap;

use nice_plug::plugin::{ParamValue, PluginState};
use serde::{Deserialize, Serialize};

use crate::parameters::spec;

/// The version of this plugin, with which states are marked.
pub const VERSION: &str = env!("CARGO_PKG_VERSION");

/// Key of the field that holds [`Kept`].
pub const KEPT_KEY: &str = "kept";

/// Stands for the version of a state that carries none.
const UNMARKED: &str = "unknown";

/// Most kept entries, for parameters and for fields each; no version will have more, but a damaged file might.
const MOST_ENTRIES: usize = 256;
/// Longest kept key or parameter text, bytes.
const LONGEST_TEXT: usize = 4096;
/// Longest kept field, bytes.
const LONGEST_FIELD: usize = 16 << 20;

/// Values written by a newer version that this one does not know.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Kept {
    /// The newest version that wrote any of them.
    pub from: String,
    /// Parameters by id, as written.
    pub params: BTreeMap<String, ParamValue>,
    /// Fields by key, as written.
    pub fields: BTreeMap<String, String>,
    /// Stand-ins at the top level for kept values of known parameters.
    pub param_stand_ins: BTreeMap<String, ParamValue>,
    /// Stand-ins at the top level for kept fields of known keys.
    pub field_stand_ins: BTreeMap<String, String>,
    /// Ids and keys of unreadable values, which were replaced by the default. For the window; not saved again.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub unreadable: Vec<String>,
}

impl Kept {
    /// Whether there is nothing to save again.
    pub fn is_empty(&self) -> bool {
        self.params.is_empty() && self.fields.is_empty()
    }

    /// The message for the window, if there is anything to report.
    pub fn notice(&self) -> Option<String> {
        let mut said = Vec::new();
        if !self.is_empty() {
            said.push(format!(
                "This project was saved by version {} and holds settings that this version ({VERSION}) does not know. They \
                 are kept and saved again.",
                self.from
            ));
        } else if is_newer(&self.from) {
            said.push(format!(
                "This project was saved by version {}; this is {VERSION}.",
                self.from
            ));
        }
        if !self.unreadable.is_empty() {
            said.push(format!(
                "Part of the saved state could not be read ({}); the default is used there.",
                self.unreadable.join(", ")
            ));
        }
        (!said.is_empty()).then(|| said.join(" "))
    }
}

/// A persisted field: its key, its default, and a check whether this version can read it.
pub struct FieldSpec {
    /// Key in the state.
    pub key: &'static str,
    /// JSON of the default.
    pub default: fn() -> String,
    /// Whether this version can read the JSON. What fails here must not be deserialised.
    pub readable: fn(&str) -> bool,
}

/// Checks a state before the framework loads it. Never fails: unusable values are replaced and listed in
/// [`Kept::unreadable`].
pub fn filter(state: &mut PluginState, fields: &[FieldSpec]) {
    let mut kept = take_kept(state);
    kept.unreadable.clear();
    let newer = is_newer(&state.version);
    put_back(state, &mut kept);
    if newer {
        kept.from = shortened(&state.version);
    }
    filter_params(state, &mut kept, newer);
    filter_fields(state, &mut kept, newer, fields);
    match (kept.is_empty(), kept.from.is_empty()) {
        (true, _) if !newer => kept.from.clear(),
        // A damaged state may have lost its version mark; its unknown values still came from some version.
        (false, true) if state.version.is_empty() => kept.from = String::from(UNMARKED),
        (false, true) => kept.from = shortened(&state.version),
        _ => {}
    }
    if let Ok(text) = serde_json::to_string(&kept) {
        state.fields.insert(String::from(KEPT_KEY), text);
    }
}

fn take_kept(state: &mut PluginState) -> Kept {
    let Some(text) = state.fields.remove(KEPT_KEY) else {
        return Kept::default();
    };
    serde_json::from_str(&text).unwrap_or_default()
}

/// Moves kept values back to where their own version looks for them.
fn put_back(state: &mut PluginState, kept: &mut Kept) {
    for (id, value) in std::mem::take(&mut kept.params) {
        let stand_in = kept.param_stand_ins.remove(&id);
        let untouched = match (state.params.get(&id), &stand_in) {
            (None, _) => true,
            (Some(now), Some(stood)) => same(now, stood),
            (Some(_), None) => false,
        };
        if untouched {
            state.params.insert(id, value);
        }
    }
    for (key, text) in std::mem::take(&mut kept.fields) {
        let stand_in = kept.field_stand_ins.remove(&key);
        let untouched = match state.fields.get(&key) {
            None => true,
            Some(now) => Some(now) == stand_in.as_ref(),
        };
        if untouched {
            state.fields.insert(key, text);
        }
    }
    kept.param_stand_ins.clear();
    kept.field_stand_ins.clear();
}

fn filter_params(state: &mut PluginState, kept: &mut Kept, newer: bool) {
    let known = spec::all();
    let mut written = std::mem::take(&mut state.params);
    for (id, kind) in known {
        let before = written.remove(&id);
        let now = before.as_ref().and_then(|value| kind.understood(value));
        if let Some(before) = before {
            let changed = now.as_ref().is_none_or(|now| !same(now, &before));
            if changed {
                if newer || !kept.from.is_empty() {
                    let stand_in = now.clone().unwrap_or_else(|| kind.default_value());
                    kept.param_stand_ins.insert(id.clone(), stand_in);
                    kept.params.insert(id.clone(), before);
                } else if now.is_none() {
                    kept.unreadable.push(id.clone());
                }
            }
        }
        state
            .params
            .insert(id, now.unwrap_or_else(|| kind.default_value()));
    }
    for (id, value) in written {
        let short = match &value {
            ParamValue::String(text) => text.len() <= LONGEST_TEXT,
            _ => true,
        };
        if short && id.len() <= LONGEST_TEXT && kept.params.len() < MOST_ENTRIES {
            kept.params.insert(id, value);
        } else {
            kept.unreadable.push(shortened(&id));
        }
    }
}

fn filter_fields(state: &mut PluginState, kept: &mut Kept, newer: bool, known: &[FieldSpec]) {
    let mut written = std::mem::take(&mut state.fields);
    for field in known {
        let default = (field.default)();
        let now = match written.remove(field.key) {
            None => default,
            Some(text) if (field.readable)(&text) => text,
            Some(text) if (newer || !kept.from.is_empty()) && text.len() <= LONGEST_FIELD => {
                kept.field_stand_ins
                    .insert(String::from(field.key), default.clone());
                kept.fields.insert(String::from(field.key), text);
                default
            }
            Some(_) => {
                kept.unreadable.push(String::from(field.key));
                default
            }
        };
        state.fields.insert(String::from(field.key), now);
    }
    let mut budget = LONGEST_FIELD;
    for (key, text) in written {
        if text.len() <= budget && key.len() <= LONGEST_TEXT && kept.fields.len() < MOST_ENTRIES {
            budget -= text.len();
            kept.fields.insert(key, text);
        } else {
            kept.unreadable.push(shortened(&key));
        }
    }
}

/// A text from a file, short enough to show.
fn shortened(name: &str) -> String {
    name.chars().take(32).collect()
}

fn same(one: &ParamValue, other: &ParamValue) -> bool {
    match (one, other) {
        (ParamValue::F32(one), ParamValue::F32(other)) => one == other,
        (ParamValue::I32(one), ParamValue::I32(other)) => one == other,
        (ParamValue::Bool(one), ParamValue::Bool(other)) => one == other,
        (ParamValue::String(one), ParamValue::String(other)) => one == other,
        _ => false,
    }
}

/// Whether a state was marked by a later version than this. A mark that is no version number does not count.
pub fn is_newer(version: &str) -> bool {
    is_later(version, VERSION)
}

fn is_later(version: &str, than: &str) -> bool {
    match (parts(version), parts(than)) {
        (Some(theirs), Some(ours)) => theirs > ours,
        _ => false,
    }
}

fn parts(version: &str) -> Option<[u64; 3]> {
    let bare = version.split(['-', '+']).next()?;
    let mut numbers = bare.split('.').map(|part| part.parse().ok());
    let parsed = [numbers.next()??, numbers.next()??, numbers.next()??];
    numbers.next().is_none().then_some(parsed)
}

#[cfg(test)]
mod tests;
