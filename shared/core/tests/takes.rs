//! Stored takes: loading returns what was stored, for any sound.
#![cfg(feature = "serde")]

use proptest::prelude::*;
use sumproof_core::score::rig::Rig;
use sumproof_core::session::monitor::Monitor;
use sumproof_core::session::take::{Pass, Take};

fn noise(seed: u64, len: usize) -> Vec<f32> {
    let mut state = seed;
    (0..len)
        .map(|_| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 40) as f32 / (1u64 << 24) as f32 - 0.5
        })
        .collect()
}

fn take(seed: u64, rate_hz: f64, len: usize, shared: f32, level: f32) -> Take {
    let (common, one, other) = (noise(seed, len), noise(seed + 1, len), noise(seed + 2, len));
    let mix = |own: &[f32]| -> Vec<f32> {
        common
            .iter()
            .zip(own)
            .map(|(c, o)| level * (shared * c + (1.0 - shared.abs()) * o))
            .collect()
    };
    let mut monitor = Monitor::new(rate_hz);
    monitor.start_take();
    monitor.push(&mix(&one), &mix(&other));
    monitor
        .finish_take("a take".into(), Pass::Full)
        .expect("frames were pushed")
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 48,
        // Findings are turned into separate tests.
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn every_take_can_be_read_again_and_says_the_same(
        seed in 0u64..10_000,
        rate_hz in prop::sample::select(vec![8_000.0, 22_050.0, 44_100.0, 48_000.0, 96_000.0]),
        len in 1usize..60_000,
        shared in -1.0f32..1.0,
        level in prop::sample::select(vec![0.0f32, 1e-5, 0.1, 1.0, 2.0]),
    ) {
        let take = take(seed, rate_hz, len, shared, level);
        let text = serde_json::to_string(&take).expect("a take can be stored");
        let again: Take = serde_json::from_str(&text).map_err(|error| TestCaseError::fail(error.to_string()))?;
        prop_assert_eq!(again.sums, take.sums);
        let (before, after) = (take.rows(&Rig::default(), 0.0), again.rows(&Rig::default(), 0.0));
        for (before, after) in before.iter().zip(&after) {
            prop_assert_eq!(before.score.is_some(), after.score.is_some());
            if let (Some(before), Some(after)) = (&before.score, &after.score) {
                // Below −40 dB a figure is a difference of nearly equal numbers, and 24 bits are not 53.
                let same = |a: f64, b: f64| a == b || (a - b).abs() < 0.02 || (a < -40.0 && b < -40.0);
                prop_assert!(same(before.total_db, after.total_db), "{} {}", before.total_db, after.total_db);
                if let (Some(a), Some(b)) = (before.dry_db, after.dry_db) {
                    prop_assert!(same(a, b), "{a} {b}");
                }
            }
        }
    }
}

#[test]
fn a_hundred_and_twenty_eight_takes_fit_in_two_megabytes() {
    let text = serde_json::to_string(&take(1, 48_000.0, 30_000, 0.5, 0.5)).expect("a take can be stored");
    assert!(text.len() * 128 < 2_000_000, "{} bytes a take", text.len());
}

#[test]
fn a_damaged_take_is_refused_in_words() {
    let text = serde_json::to_string(&take(1, 48_000.0, 30_000, 0.5, 0.5)).expect("a take can be stored");
    let cells = text.find("\"cells\":\"").expect("it has cells") + 9;
    for (broken, word) in [
        (
            text.replacen("\"version\":2", "\"version\":9", 1),
            "newer version",
        ),
        (text.replacen("48000.0", "1e9", 1), "out of range"),
        (format!("{}!{}", &text[..cells], &text[cells + 1..]), "damaged"),
        (format!("{}{}", &text[..cells], &text[cells + 8..]), "cells"),
    ] {
        let error = serde_json::from_str::<Take>(&broken).expect_err(word).to_string();
        assert!(error.contains(word), "{error}");
    }
}
