//! The command's JSON validated against `schema.json`, and that compared with `SCHEMA.md`.
#![allow(clippy::unwrap_used, reason = "a test panics when something is missing")]

mod common;

use std::fs;
use std::path::Path;

use common::{folder, preset, sumproof, text, write};
use serde_json::{Value, json};
use sumproof_signals::PresetKind;

fn beside(name: &str) -> String {
    fs::read_to_string(
        Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("../shared/report")
            .join(name),
    )
    .unwrap()
}

/// Forbids fields that aren't described in any object.
fn closed(schema: &mut Value) {
    match schema {
        Value::Object(object) => {
            if object.contains_key("properties") {
                object.insert("additionalProperties".into(), json!(false));
            }
            object.values_mut().for_each(closed);
        }
        Value::Array(list) => list.iter_mut().for_each(closed),
        _ => {}
    }
}

#[test]
fn every_document_is_as_the_schema_has_it() {
    let mut schema: Value = serde_json::from_str(&beside("schema.json")).unwrap();
    closed(&mut schema);
    let validator = jsonschema::validator_for(&schema).unwrap();
    let folder = folder("schema");
    for kind in PresetKind::ALL {
        write(
            &folder,
            &format!("{}.wav", kind.id()),
            44_100,
            &preset(kind, 2.0, 1),
        );
    }
    // Too short for a loudness measurement, and at the lowest sample rate.
    let mut short = preset(PresetKind::EqualDry, 0.5, 1);
    short.left.truncate(2_400);
    short.right.truncate(2_400);
    write(&folder, "short.wav", 8_000, &short);
    let described = r#"{name = "front fill", ending = "right", low_pass_hz = 100}"#;
    for options in [
        &["--sort", "worst"][..],
        &["--feed", "wedge-line-late", "--feed", described],
        &["--name", "nobody is called that"],
    ] {
        let mut arguments = vec!["check", "--format", "json", text(&folder)];
        arguments.extend(options);
        let document: Value = serde_json::from_slice(&sumproof(&arguments).stdout).unwrap();
        let wrong: Vec<String> = validator
            .iter_errors(&document)
            .map(|error| format!("{}: {error}", error.instance_path()))
            .collect();
        assert!(wrong.is_empty(), "{options:?}: {}", wrong.join("\n"));
    }
    // A validator that accepts everything would prove nothing.
    assert!(!validator.is_valid(&json!({"schema": 2})));
}

fn fields(schema: &Value, found: &mut Vec<String>) {
    match schema {
        Value::Object(object) => {
            if let Some(Value::Object(properties)) = object.get("properties") {
                found.extend(properties.keys().cloned());
            }
            object.values().for_each(|value| fields(value, found));
        }
        Value::Array(list) => list.iter().for_each(|value| fields(value, found)),
        _ => {}
    }
}

#[test]
fn every_field_is_explained() {
    let schema: Value = serde_json::from_str(&beside("schema.json")).unwrap();
    let page = beside("SCHEMA.md");
    let mut found = Vec::new();
    fields(&schema, &mut found);
    assert!(found.len() > 60);
    for field in found {
        assert!(
            page.contains(&format!("`{field}`")),
            "`{field}` is not in SCHEMA.md"
        );
    }
}
