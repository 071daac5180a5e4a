//! A dozen presets of a sampled guitar through third-party effects (`tests/presets`), in every test run: their sheets
//! are right.

use std::path::{Path, PathBuf};

use sumproof_core::explain::diagnosis::diagnose;
use sumproof_core::routing::feed::{FeedId, Side};
use sumproof_core::score::outcome::Outcome;
use sumproof_core::score::rig::Rig;
use sumproof_core::session::monitor::Monitor;
use sumproof_core::session::take::{Pass, Take};
use sumproof_core::split::two_pass::{PassAudio, TwoPass};
use sumproof_tests::methods::narrowed_pair;
use sumproof_tests::presets::causes::{self, Named};
use sumproof_tests::presets::{Preset, folders, truth};

fn presets() -> Vec<Preset> {
    let folder = std::env::var_os("SUMPROOF_PRESETS").map_or_else(
        || Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/presets/few/dev"),
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
            // A single dry in the middle adds up, or cancels.
            "plain" | "reverb" | "echo" | "mid-side-chorus" | "anti-phase-reverb" => {
                assert!(wedge_db.abs() < 0.01 && flipped_db < -60.0, "{name}: {wedge_db}");
            }
            "flipped" => assert!(flipped && wedge_db < -60.0, "{name}: {wedge_db}"),
            // Two takes are unrelated.
            "double-tracked" => assert!((wedge_db + 3.01).abs() < 0.5, "{name}: {wedge_db}"),
            _ => assert!(!flipped, "{name}"),
        }
    }
}

/// A take from the pair alone.
fn heard(preset: &Preset) -> Take {
    let [left, right] = narrowed_pair(&preset.full, 1.0);
    let mut monitor = Monitor::for_takes(preset.rate_hz);
    monitor.start_take();
    monitor.push(&left, &right);
    monitor.finish_take(preset.name.clone(), Pass::Full).unwrap()
}

/// A take from a dry pass, a wet one and the part as it is.
fn passes(preset: &Preset) -> Take {
    let rate_hz = preset.rate_hz;
    let [dry, wet, full] = [&preset.dry, &preset.wet, &preset.full].map(|part| narrowed_pair(part, 1.0));
    let [dry, wet, full] = [&dry, &wet, &full].map(|[left, right]| PassAudio { rate_hz, left, right });
    let two = TwoPass::of_audio(&dry, &wet, Some(&full)).unwrap();
    let mut take = two.take(preset.name.clone());
    take.explain_parts(Some(&diagnose(full.left, full.right, rate_hz)));
    take
}

fn named(preset: &Preset, take: &Take, wet_known: bool) -> Named {
    let rows = take.rows(&Rig::default(), 0.0);
    let diagnosis = take.diagnosis.unwrap().settled(&rows);
    causes::judge(&preset.sheet, &diagnosis, wet_known)
}

/// From the pair alone, at most one diagnosis is wrong, and none is a false flip. With passes all are right.
#[test]
fn the_causes_are_right() {
    let mut wrong = Vec::new();
    for preset in presets() {
        let blind = named(&preset, &heard(&preset), false);
        assert!(!blind.has_false_flip(), "{}: {blind:?}", preset.name);
        if !blind.is_right() {
            wrong.push(format!("{}: {blind:?}", preset.name));
        }
        if preset.has_wet() {
            let known = named(&preset, &passes(&preset), true);
            assert!(known.is_right(), "{} with passes: {known:?}", preset.name);
        }
    }
    assert!(wrong.len() <= 1, "{wrong:#?}");
}

/// In the wedge the partials lie on the same side of the limit as the true dry's, except for one: a late copy whose
/// true partials are 1 dB above it.
#[test]
fn partials_are_on_the_side_of_the_true_dry() {
    let limit = Rig::default().limits.partials_db;
    let mut wrong = Vec::new();
    for preset in presets() {
        let truth = truth::truth(&preset, &Rig::default());
        let true_db = truth.of(FeedId::MonoWedge, Side::Left).partials_db.unwrap();
        let row = heard(&preset).rows(&Rig::default(), 0.0)[FeedId::MonoWedge as usize];
        let Some(found) = row.score.unwrap().colour.partials_db else {
            // A dry that cancels has no partials.
            assert_eq!(row.outcome, Some(Outcome::DropsOut), "{}", preset.name);
            continue;
        };
        if (found.likely > limit) != (true_db > limit) {
            wrong.push(format!("{}: {found:?}, true {true_db:.1}", preset.name));
        }
    }
    assert!(wrong.len() <= 1, "{wrong:#?}");
}
