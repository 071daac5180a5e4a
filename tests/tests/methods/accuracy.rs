//! Error bounds of the two-pass and the side-chain split on synthetic presets with known truth. `sumproof-accuracy`
//! prints the whole table.

use sumproof_core::split::Method;
use sumproof_signals::{Preset, PresetKind, render};
use sumproof_tests::methods::{WET_DB, has_both, measured, spec, truth};

/// Whether a level is within `tolerance_db` of the truth; for an infinite truth, whether it is beyond `beyond_db` on
/// that side.
fn is_near(found_db: f64, true_db: f64, tolerance_db: f64, beyond_db: f64) -> bool {
    if true_db.is_infinite() {
        found_db * true_db.signum() > beyond_db
    } else {
        (found_db - true_db).abs() < tolerance_db
    }
}

fn holds(method: Method, preset: &Preset, tolerance_db: f64, beyond_db: f64) {
    let (found, true_) = (measured(method, preset), truth(preset));
    for (found_db, true_db) in [
        (found.stereo_db, true_.stereo_db),
        (found.mono_db, true_.mono_db),
        (found.flipped_db, true_.flipped_db),
    ] {
        assert!(
            is_near(found_db, true_db, tolerance_db, beyond_db),
            "{}: {found:?}, not {true_:?}",
            preset.name
        );
    }
}

#[test]
fn two_pass_is_within_a_tenth_and_sees_a_flipped_dry_go() {
    for kind in PresetKind::ALL.into_iter().filter(|&kind| has_both(kind)) {
        for wet_db in WET_DB {
            holds(Method::TwoPass, &render(&spec(kind, wet_db, 1)), 0.1, 60.0);
        }
    }
}

fn side_chain_holds(kinds: &[PresetKind]) {
    for &kind in kinds {
        for wet_db in WET_DB {
            holds(Method::SideChain, &render(&spec(kind, wet_db, 2)), 0.3, 35.0);
        }
    }
}

/// Every time-invariant kind with dry and wet, divided among the tests below.
const SHARES: [&[PresetKind]; 3] = [
    &[
        PresetKind::EqualDry,
        PresetKind::HalfCorrelatedReverb,
        PresetKind::AntiPhaseReverb,
        PresetKind::PingPong,
    ],
    &[
        PresetKind::LateChannel300Us,
        PresetKind::LateChannel12Ms,
        PresetKind::TwoAmplifiers,
        PresetKind::DryOffset6Db,
    ],
    &[
        PresetKind::FlippedChannel,
        PresetKind::DoubleTracked,
        PresetKind::MonoReverb,
    ],
];

#[test]
fn no_time_invariant_kind_is_left_out() {
    let expected = PresetKind::ALL
        .into_iter()
        .filter(|&kind| has_both(kind) && kind.is_time_invariant())
        .count();
    assert_eq!(SHARES.iter().map(|share| share.len()).sum::<usize>(), expected);
}

#[test]
fn side_chain_is_within_three_tenths_with_equal_dry() {
    side_chain_holds(SHARES[0]);
}

#[test]
fn side_chain_is_within_three_tenths_with_unequal_dry() {
    side_chain_holds(SHARES[1]);
}

#[test]
fn side_chain_is_within_three_tenths_with_flipped_doubled_and_mono() {
    side_chain_holds(SHARES[2]);
}
