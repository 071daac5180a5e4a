//! The bounds that the two-pass and the side-chain split keep on synthetic presets whose truth is known.
//! `sumproof-accuracy` prints the whole table.

use sumproof_core::split::Method;
use sumproof_signals::{PresetKind, render};
use sumproof_tests::methods::{WET_DB, has_both, measured, spec, truth};

#[test]
fn two_pass_is_within_a_tenth_and_sees_a_flipped_dry_go() {
    for kind in PresetKind::ALL.into_iter().filter(|&kind| has_both(kind)) {
        for wet_db in WET_DB {
            let preset = render(&spec(kind, wet_db, 1));
            let (found, true_) = (measured(Method::TwoPass, &preset), truth(&preset));
            let name = &preset.name;
            assert!(
                (found.stereo_db - true_.stereo_db).abs() < 0.1,
                "{name}: {found:?}, {true_:?}"
            );
            assert!(
                (found.mono_db - true_.mono_db).abs() < 0.1,
                "{name}: {found:?}, {true_:?}"
            );
            if true_.flipped_db == f64::NEG_INFINITY {
                assert!(found.flipped_db < -60.0, "{name}: {found:?}");
            } else {
                assert!(
                    (found.flipped_db - true_.flipped_db).abs() < 0.1,
                    "{name}: {found:?}, {true_:?}"
                );
            }
        }
    }
}

fn side_chain_holds(kinds: &[PresetKind]) {
    for &kind in kinds {
        for wet_db in WET_DB {
            let preset = render(&spec(kind, wet_db, 2));
            let (found, true_) = (measured(Method::SideChain, &preset), truth(&preset));
            let name = &preset.name;
            assert!(
                (found.stereo_db - true_.stereo_db).abs() < 0.3,
                "{name}: {found:?}, {true_:?}"
            );
            assert!(
                (found.mono_db - true_.mono_db).abs() < 0.3,
                "{name}: {found:?}, {true_:?}"
            );
            if true_.flipped_db == f64::NEG_INFINITY {
                assert!(found.flipped_db < -35.0, "{name}: {found:?}");
            } else {
                assert!(
                    (found.flipped_db - true_.flipped_db).abs() < 0.3,
                    "{name}: {found:?}, {true_:?}"
                );
            }
        }
    }
}

/// Every time-invariant kind with dry and wet; the tests below share them out.
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
