//! The plugin's saved state, decoded.

use crate::error::HostError;
use serde::Deserialize;
use serde_json::{Map, Value};
use sumproof_core::session::take::Take;

/// What the framework stores: a version, every parameter by its string id, and the plugin's own fields.
#[derive(Clone, Debug, PartialEq)]
pub struct State {
    /// Version of the plugin that wrote it.
    pub version: String,
    /// Plain parameter values by string id.
    pub params: Map<String, Value>,
    /// The plugin's own fields by key. A field is JSON; a field that the framework stored as a string of JSON is
    /// already parsed.
    pub fields: Map<String, Value>,
}

impl State {
    /// Decodes a CLAP state stream: an unsigned 64-bit little-endian length, then that many bytes of JSON.
    ///
    /// # Errors
    /// [`HostError::State`] when the length or the JSON is wrong.
    pub fn decode(bytes: &[u8]) -> Result<Self, HostError> {
        let bad = |reason: &str| HostError::State(reason.to_owned());
        let (length, body) = bytes
            .split_first_chunk::<8>()
            .ok_or_else(|| bad("shorter than its own length field"))?;
        if u64::from_le_bytes(*length) != body.len() as u64 {
            return Err(bad("the length field does not match what follows"));
        }
        Self::from_json(body)
    }

    /// Reads the JSON itself, as the VST3 stream carries it.
    ///
    /// # Errors
    /// [`HostError::State`] when it doesn't have the framework's layout.
    pub fn from_json(json: &[u8]) -> Result<Self, HostError> {
        let mut root: Value = serde_json::from_slice(json).map_err(|e| HostError::State(e.to_string()))?;
        let mut section = |name: &str| match root.get_mut(name).map(Value::take) {
            Some(Value::Object(map)) => Ok(map),
            _ => Err(HostError::State(format!("it has no '{name}' section"))),
        };
        let params = section("params")?
            .into_iter()
            .map(|(id, value)| (id, untagged(value)))
            .collect();
        let fields = section("fields")?
            .into_iter()
            .map(|(key, value)| (key, opened(value)))
            .collect();
        let version = root.get("version").and_then(Value::as_str).unwrap_or_default();
        Ok(Self {
            version: version.to_owned(),
            params,
            fields,
        })
    }

    /// The takes in it, in the order they were recorded.
    ///
    /// # Errors
    /// [`HostError::State`] when there is no list of takes or one of them cannot be read.
    pub fn takes(&self) -> Result<Vec<Take>, HostError> {
        let list = self
            .fields
            .get("takes")
            .and_then(|field| field.get("takes"))
            .and_then(Value::as_array)
            .ok_or_else(|| HostError::State("it has no list of takes".to_owned()))?;
        list.iter()
            .map(|take| Take::deserialize(take).map_err(|e| HostError::State(e.to_string())))
            .collect()
    }

    /// Encodes the state for [`super::Plugin::load_state`].
    ///
    /// Fields are written as strings of JSON, which is how the framework stores them; numbers with a fraction, or whose
    /// parameter was a fraction before, need `params` to hold them as such (`1.0`, not `1`).
    #[must_use]
    pub fn encode(&self) -> Vec<u8> {
        let fields: Map<String, Value> = self
            .fields
            .iter()
            .map(|(key, value)| (key.clone(), Value::String(value.to_string())))
            .collect();
        let params: Map<String, Value> = self
            .params
            .iter()
            .map(|(id, value)| (id.clone(), tagged(value)))
            .collect();
        let json =
            serde_json::json!({ "version": self.version, "params": params, "fields": fields }).to_string();
        let mut bytes = (json.len() as u64).to_le_bytes().to_vec();
        bytes.extend_from_slice(json.as_bytes());
        bytes
    }
}

/// Removes the framework's tag: `{"f32": 1.0}` becomes the bare value.
fn untagged(value: Value) -> Value {
    match value {
        Value::Object(map) if map.len() == 1 => {
            map.into_iter().next().map_or(Value::Null, |(_, inner)| inner)
        }
        other => other,
    }
}

/// The framework's tag for a bare value.
fn tagged(value: &Value) -> Value {
    let tag = match value {
        Value::Bool(_) => "bool",
        Value::String(_) => "string",
        Value::Number(number) if number.is_f64() => "f32",
        _ => "i32",
    };
    serde_json::json!({ tag: value })
}

/// Parses a string that contains JSON; anything else stays.
fn opened(value: Value) -> Value {
    match &value {
        Value::String(text) => serde_json::from_str(text).unwrap_or(value),
        _ => value,
    }
}
