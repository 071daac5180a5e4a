//! States that versions of this plugin saved: every released version's is kept in `tests/states` and must load for
//! ever.
//!
//! A new version's state is written once, before its release, by `SUMPROOF_WRITE_STATE=1 cargo test --profile checked
//! -p sumproof-tests --test hosts states`; an existing file is never overwritten.
use serde_json::Value;
use std::path::PathBuf;
use sumproof_core::session::take::Take;
use sumproof_core::split::Method;
use sumproof_signals::{PresetKind, render};
use sumproof_tests::host::setup::{plugin, side_chain_plugin, workspace};
use sumproof_tests::host::{ParamEvent, Play, Plugin, State, Stereo};
use sumproof_tests::methods::{narrowed_pair, ratios, spec, truth};

/// The version of this build.
const VERSION: &str = env!("CARGO_PKG_VERSION");
/// The preset in the states.
const KIND: PresetKind = PresetKind::HalfCorrelatedReverb;
const WET_DB: f64 = -6.0;
const SEED: u64 = 21;
/// The settings in the states, as a user types them.
const SET: [(&str, &str); 6] = [
    ("feed", "Left line only"),
    ("l_gain", "-6.5 dB"),
    ("r_del", "1.25 ms"),
    ("r_pol", "Flipped"),
    ("law", "Unity (0 dB)"),
    ("integ", "3 s"),
];

fn folder() -> PathBuf {
    workspace().join("tests/states")
}

/// The bytes of a CLAP state stream: an unsigned 64-bit little-endian length, then the JSON.
fn stream(json: &[u8]) -> Vec<u8> {
    let mut bytes = (json.len() as u64).to_le_bytes().to_vec();
    bytes.extend_from_slice(json);
    bytes
}

fn takes(plugin: &mut Plugin) -> Vec<Take> {
    State::decode(&plugin.save_state().unwrap())
        .unwrap()
        .takes()
        .unwrap()
}

/// A state with settings, and a full, a dry and a wet pass whose pair became a fourth take.
fn made() -> Vec<u8> {
    let preset = render(&spec(KIND, WET_DB, SEED));
    let mut plugin = plugin().unwrap();
    let mut events: Vec<ParamEvent> = SET
        .iter()
        .map(|(key, text)| plugin.change(0, key, text).unwrap())
        .collect();
    let mut audio = Stereo::new(preset.rate_hz, vec![0.0; 512], vec![0.0; 512]);
    for (kind, pass) in [
        ("Full preset", &preset.full()),
        ("Dry only", &preset.dry),
        ("Wet only", &preset.wet),
    ] {
        let from = audio.len_samples();
        let [left, right] = narrowed_pair(pass, 1.0);
        audio.left.extend(left);
        audio.right.extend(right);
        let to = audio.len_samples();
        audio.left.resize(to + 4800, 0.0);
        audio.right.resize(to + 4800, 0.0);
        events.push(plugin.change(from, "kind", kind).unwrap());
        for (at_sample, on) in [(from, 1), (to, 0)] {
            events.push(ParamEvent {
                at_sample,
                ..ParamEvent::step("rec", on)
            });
        }
    }
    let how = Play {
        offline: true,
        events,
        cut_at_events: true,
        ..Play::default()
    };
    plugin.play(&audio, &how).unwrap();
    plugin.save_state().unwrap()[8..].to_vec()
}

fn all() -> Vec<(String, Vec<u8>)> {
    let mut all: Vec<_> = std::fs::read_dir(folder())
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "json"))
        .map(|path| {
            let name = path.file_stem().unwrap().to_string_lossy().into_owned();
            (name, std::fs::read(&path).unwrap())
        })
        .collect();
    all.sort();
    all
}

#[test]
fn this_version_has_its_state_here() {
    let path = folder().join(format!("v{VERSION}.json"));
    if !path.exists() && std::env::var_os("SUMPROOF_WRITE_STATE").is_some() {
        std::fs::create_dir_all(folder()).unwrap();
        let part = path.with_extension("part");
        std::fs::write(&part, made()).unwrap();
        std::fs::rename(&part, &path).unwrap();
    }
    assert!(
        path.exists(),
        "{} is missing: see the head of this test",
        path.display()
    );
}

#[test]
fn every_version_s_state_loads_with_all_that_is_in_it() {
    let true_ = truth(&render(&spec(KIND, WET_DB, SEED)));
    for (name, json) in all() {
        let saved = State::from_json(&json).unwrap();
        assert_eq!(format!("v{}", saved.version), name);
        for side_chain in [false, true] {
            let mut plugin = if side_chain { side_chain_plugin() } else { plugin() }.unwrap();
            plugin.load_state(&stream(&json)).unwrap();
            let what = format!("{name}, side-chain {side_chain}");
            for (key, text) in SET {
                assert_eq!(plugin.param(key).unwrap().text, text, "{what}: {key}");
            }
            let again = State::decode(&plugin.save_state().unwrap()).unwrap();
            // Nothing in it is lost, and nothing is reported as being of another version.
            for (key, value) in &saved.params {
                assert_eq!(&again.params[key], value, "{what}: {key}");
            }
            let takes = again.takes().unwrap();
            let names: Vec<&str> = takes.iter().map(|take| take.name.as_str()).collect();
            assert_eq!(
                names,
                ["Take 1", "Take 2", "Take 3", "Take 1, dry and wet"],
                "{what}"
            );
            assert_eq!(takes[3].method(), Method::TwoPass, "{what}");
            let found = ratios(&takes[3].split, &takes[3].grid());
            let told = format!("{what}: {found:?}, not {true_:?}");
            assert!((found.stereo_db - true_.stereo_db).abs() < 0.1, "{told}");
            assert!((found.mono_db - true_.mono_db).abs() < 0.1, "{told}");
            assert_eq!(saved.takes().unwrap(), takes, "{what}");
        }
    }
}

#[test]
fn as_many_takes_as_there_may_be_are_less_than_three_megabytes() {
    let (_, json) = all().pop().unwrap();
    let mut root: Value = serde_json::from_slice(&json).unwrap();
    let field = root["fields"]["takes"].as_str().unwrap();
    let mut field: Value = serde_json::from_str(field).unwrap();
    let one = field["takes"][0].clone();
    field["takes"] = Value::Array(vec![one; 128]);
    root["fields"]["takes"] = Value::String(field.to_string());
    let mut plugin = plugin().unwrap();
    plugin
        .load_state(&stream(&serde_json::to_vec(&root).unwrap()))
        .unwrap();
    assert_eq!(takes(&mut plugin).len(), 128);
    let bytes = plugin.save_state().unwrap().len();
    assert!(bytes < 3_000_000, "{bytes} bytes");
}
