//! A dozen presets of a sampled guitar through other people's effects (`tests/presets`), in every test run: what is written of them is
//! what they are.

use std::path::{Path, PathBuf};

use sumproof_core::routing::feed::{FeedId, Side};
use sumproof_core::score::rig::Rig;
use sumproof_tests::presets::{Preset, folders, truth};

fn presets() -> Vec<Preset> {
    let folder = std::env::var_os("SUMPROOF_PRESETS").map_or_else(
        || Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/presets/dev"),
        PathBuf::from,
    );
    let found = folders(&folder).unwrap_or_else(|error| {
        panic!("{error} (SUMPROOF_PRESETS names their folder; `cargo xtask test` makes them)")
    });
    let found: Vec<Preset> = found.iter().map(|folder| Preset::load(folder).unwrap()).collect();
    assert!(found.len() >= 12, "only {} presets", found.len());
    found
}

#[test]
fn the_presets_are_what_is_written_of_them() {
    for preset in presets() {
        let name = &preset.name;
        let off = (0..preset.full.len())
            .map(|n| (preset.dry.left[n] + preset.wet.left[n] - preset.full.left[n]).abs())
            .fold(0.0, f64::max);
        assert!(off < 1e-6, "{name}: the parts are {off} off the whole");
        let truth = truth::truth(&preset, &Rig::default());
        let wedge_db = truth.of(FeedId::MonoWedge, Side::Left).dry_db;
        let flipped_db = truth.of(FeedId::WedgeLineFlipped, Side::Left).dry_db;
        let flipped = preset
            .sheet
            .causes
            .must
            .iter()
            .any(|cause| cause == "flipped-channel");
        match preset.sheet.kind.as_str() {
            // One dry in the middle adds up, or cancels.
            "plain" | "reverb" | "echo" | "mid-side-chorus" | "anti-phase-reverb" => {
                assert!(wedge_db.abs() < 0.01 && flipped_db < -60.0, "{name}: {wedge_db}");
            }
            "flipped" => assert!(flipped && wedge_db < -60.0, "{name}: {wedge_db}"),
            // Two takes have nothing to do with each other.
            "double-tracked" => assert!((wedge_db + 3.01).abs() < 0.5, "{name}: {wedge_db}"),
            _ => assert!(!flipped, "{name}"),
        }
    }
}
