//! The verdicts on presets whose dry and wet are known: what holds, what drops out, and how near the estimate is.

use crate::support::take;
use sumproof_core::routing::feed::{FeedId, Lines, SumLaw};
use sumproof_core::routing::line::{Line, Polarity};
use sumproof_core::score::board::Row;
use sumproof_core::score::outcome::Outcome;
use sumproof_core::score::rig::Rig;
use sumproof_core::score::scorer::FeedScore;
use sumproof_core::session::take::Take;
use sumproof_signals::truth::{self, MonoFeed};
use sumproof_signals::{Preset, PresetKind, PresetSpec, render};
use sumproof_wording::Name;

fn preset(kind: PresetKind, wet_db: f64, seed: u64) -> Preset {
    render(&PresetSpec {
        wet_db,
        seed,
        ..PresetSpec::new(kind)
    })
}

fn heard(preset: &Preset) -> Take {
    take(&preset.full(), preset.rate_hz)
}

fn row(take: &Take, rig: &Rig, id: FeedId) -> Row {
    *take.rows(rig, 0.0).iter().find(|row| row.id == id).unwrap()
}

fn score(take: &Take, id: FeedId) -> FeedScore {
    row(take, &Rig::default(), id).score.unwrap()
}

/// What most good presets are.
const ORDINARY: [PresetKind; 4] = [
    PresetKind::EqualDry,
    PresetKind::HalfCorrelatedReverb,
    PresetKind::MonoReverb,
    PresetKind::DryOnly,
];

/// The feeds in which nothing is inverted or late.
const HARMLESS: [FeedId; 8] = [
    FeedId::StereoHouse,
    FeedId::MonoWedge,
    FeedId::LeftLineOnly,
    FeedId::RightLineOnly,
    FeedId::WedgeLinePadded,
    FeedId::WedgeLineUnplugged,
    FeedId::WedgeLineTransformer,
    FeedId::MonoSubs,
];

/// Ordinary presets hold wherever nothing is inverted or late, whatever the sum law and any pad on both lines.
#[test]
fn ordinary_presets_hold_under_any_sum_law_and_pad() {
    for kind in ORDINARY {
        for seed in [1, 2, 3] {
            let take = heard(&preset(kind, -6.0, seed));
            for law in SumLaw::ALL {
                for gain_db in [6.0, 0.0, -10.0, -20.0, -40.0] {
                    let padded = Line {
                        gain_db,
                        ..Line::STRAIGHT
                    };
                    let rig = Rig {
                        law,
                        lines: Lines {
                            left: padded,
                            right: padded,
                        },
                        ..Rig::default()
                    };
                    for id in HARMLESS {
                        let row = row(&take, &rig, id);
                        assert_eq!(
                            row.outcome,
                            Some(Outcome::Holds),
                            "{} seed {seed}, {} with {law:?} and {gain_db} dB: {:?}",
                            kind.id(),
                            id.name(),
                            row.score
                        );
                    }
                }
            }
        }
    }
}

/// Equal dry drops out when one line is flipped, on either side and into a stereo jack; the stereo house is silent about
/// it: every figure of it stays at nothing.
#[test]
fn equal_dry_drops_out_when_a_line_is_flipped_and_stereo_says_nothing() {
    for wet_db in [-3.0, -6.0, -11.0] {
        for seed in [1, 2, 3] {
            let take = heard(&preset(PresetKind::EqualDry, wet_db, seed));
            for id in [FeedId::WedgeLineFlipped, FeedId::BalancedJackDifference] {
                let row = row(&take, &Rig::default(), id);
                assert_eq!(
                    row.outcome,
                    Some(Outcome::DropsOut),
                    "{}, {wet_db} dB, seed {seed}",
                    id.name()
                );
            }
            let flipped = Rig {
                lines: Lines {
                    right: Line {
                        polarity: Polarity::Flipped,
                        ..Line::STRAIGHT
                    },
                    ..Lines::default()
                },
                ..Rig::default()
            };
            let house = row(&take, &flipped, FeedId::StereoHouse);
            assert_eq!(house.outcome, Some(Outcome::Holds));
            let score = house.score.unwrap();
            for (what, figure) in [
                ("dry", score.dry_db.unwrap()),
                ("wet", score.wet_db.unwrap()),
                ("total", score.total_db),
                ("level", score.level_lu),
                ("tone", score.tone_db.unwrap()),
            ] {
                crate::support::check(format!("stereo house, {what}"), figure, 0.0, 1e-9);
            }
            assert_eq!(
                row(&take, &flipped, FeedId::MonoWedge).outcome,
                Some(Outcome::DropsOut)
            );
            assert_eq!(
                row(&take, &flipped, FeedId::WedgeLineFlipped).outcome,
                Some(Outcome::Holds)
            );
        }
    }
}

/// A dry that cancels altogether is 'at least 20 dB' down: the estimate sees no deeper, and says so in the table and in the
/// JSON.
#[test]
fn at_the_floor_of_the_estimate_only_a_bound_is_given() {
    let take = heard(&preset(PresetKind::DryOnly, -6.0, 1));
    let rig = Rig::default();
    let flipped = score(&take, FeedId::WedgeLineFlipped);
    assert_eq!((flipped.dry_db, flipped.dry_at_floor), (Some(-20.0), true));
    assert!(sumproof_report::table(&take, &rig).contains("at least 20 dB down"));
    assert!(sumproof_report::json(&[take], &rig).contains("at least 20 dB down"));
}

/// Wet over dry in stereo and in the mono wedge: estimated, true.
fn ratios(preset: &Preset) -> [(f64, f64); 2] {
    let take = heard(preset);
    let wedge = score(&take, FeedId::MonoWedge);
    let stereo = take.split.wet_over_dry_db().unwrap();
    let shift = wedge.balance_shift_db.unwrap_or(f64::NAN);
    [
        (stereo, preset.true_wet_dry_db()),
        (stereo + shift, truth::wet_dry_db(preset, &MonoFeed::wedge())),
    ]
}

/// The largest error over wet/dry from −3 to −11 dB and four seeds, with every figure.
fn errors(kinds: &[PresetKind]) -> (f64, String) {
    let mut table = String::new();
    let mut worst: f64 = 0.0;
    for &kind in kinds {
        for wet_db in [-3.0, -7.0, -11.0] {
            for seed in 1..=4 {
                let [stereo, mono] = ratios(&preset(kind, wet_db, seed));
                table += &format!(
                    "{:24} {wet_db:5} dB seed {seed}: stereo {:+6.2} true {:+6.2}, mono {:+6.2} true {:+6.2}\n",
                    kind.id(),
                    stereo.0,
                    stereo.1,
                    mono.0,
                    mono.1
                );
                worst = worst.max((stereo.0 - stereo.1).abs());
                // Of a dry that cancels the estimate gives a bound, not a ratio.
                if kind != PresetKind::FlippedChannel {
                    worst = worst.max((mono.0 - mono.1).abs());
                }
            }
        }
    }
    (worst, table)
}

/// Where the wet's channels have nothing to do with each other the estimate is within 1.2 dB of the truth, in stereo and
/// in the mono sum, for 8 s of guitar and wet/dry from −3 to −11 dB. (More of it: `methods_estimate.rs`.)
#[test]
fn the_estimate_is_near_the_truth_where_the_wet_is_decorrelated() {
    let (worst, table) = errors(&[
        PresetKind::EqualDry,
        PresetKind::DryOffset6Db,
        PresetKind::FlippedChannel,
        PresetKind::LateChannel300Us,
    ]);
    assert!(worst <= 1.2, "off by {worst:.2} dB:\n{table}");
}

/// The same where the dry's channels differ too, another amplifier and cabinet in each: the direction of the dry has to be
/// found band by band, each from a few partials, which costs some more.
#[test]
fn the_estimate_is_near_the_truth_with_two_amplifiers() {
    let (worst, table) = errors(&[PresetKind::TwoAmplifiers]);
    assert!(worst <= 1.8, "off by {worst:.2} dB:\n{table}");
}

/// The sign trap: a reverb so wide that it works against itself looks like an inverted dry over the whole sound. The report
/// names both possibilities and claims neither.
#[test]
fn the_sign_trap_is_not_called_a_flipped_channel() {
    let either = "an inverted channel, or a wet that works against itself";
    let mut named = 0;
    for seed in 1..=4 {
        let take = heard(&preset(PresetKind::AntiPhaseReverb, 6.0, seed));
        assert!(take.sums.correlation().unwrap() < 0.0, "the trap is set");
        let table = sumproof_report::table(&take, &Rig::default());
        named += usize::from(table.contains(either));
        let rest = table.replace(either, "").to_lowercase();
        for words in [
            "inverted",
            "channel flipped",
            "flipped channel",
            "opposite polarity",
        ] {
            assert!(!rest.contains(words), "seed {seed}: '{words}' in\n{table}");
        }
    }
    assert!(
        named > 0,
        "the delay finder saw opposite signs in none: the trap was not set"
    );
    // A channel that is flipped gets the same sentence: from the averages alone the two are alike.
    let take = heard(&preset(PresetKind::FlippedChannel, -6.0, 1));
    assert!(sumproof_report::table(&take, &Rig::default()).contains(either));
}
