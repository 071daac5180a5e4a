//! The verdicts on presets with known dry and wet: what holds, what drops out, and the accuracy of the estimate.

use crate::support::take;
use sumproof_core::explain::diagnosis::Cause;
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

/// The kinds of most good presets.
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

/// Equal dry drops out when one line is flipped, on either side and into a stereo jack; the stereo house doesn't show
/// it: all its figures stay at zero.
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

/// A dry that cancels altogether is 'at least 20 dB' down: the estimate has a floor, and says so in the table and in
/// the JSON. Returns a text without its line breaks.
fn in_one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn at_the_floor_of_the_estimate_only_a_bound_is_given() {
    let take = heard(&preset(PresetKind::DryOnly, -6.0, 1));
    let rig = Rig::default();
    let flipped = score(&take, FeedId::WedgeLineFlipped);
    assert_eq!((flipped.dry_db, flipped.dry_at_floor), (Some(-20.0), true));
    assert!(in_one_line(&sumproof_report::table(&take, &rig)).contains("at least 20 dB down"));
    assert!(sumproof_report::json(&[take], &rig).contains("at least 20 dB down"));
}

/// The number of presets whose intervals of dry and wet in the mono wedge contain the truth, and the dry's median
/// width, over wet/dry from −3 to −11 dB and four seeds.
fn held(kinds: &[PresetKind]) -> ([usize; 2], usize, f64, String) {
    const SLACK_DB: f64 = 0.1;
    let (mut held, mut count, mut widths, mut table) = ([0; 2], 0, Vec::new(), String::new());
    for &kind in kinds {
        for wet_db in [-3.0, -7.0, -11.0] {
            for seed in 1..=4 {
                let preset = preset(kind, wet_db, seed);
                let wedge = score(&heard(&preset), FeedId::MonoWedge);
                let truth = truth::changes(&preset, &MonoFeed::wedge());
                count += 1;
                for (held, (found, truth)) in held
                    .iter_mut()
                    .zip([(wedge.dry, truth.dry_db), (wedge.wet, truth.wet_db)])
                {
                    let holds = found
                        .is_some_and(|ends| ends.low - SLACK_DB <= truth && truth <= ends.high + SLACK_DB);
                    *held += usize::from(holds);
                    table += &format!(
                        "{:24} {wet_db:5} dB seed {seed}: {found:?}, true {truth:+.2}\n",
                        kind.id()
                    );
                }
                widths.extend(wedge.dry.map(|dry| dry.high - dry.low));
            }
        }
    }
    widths.sort_by(f64::total_cmp);
    let middle = widths.get(widths.len() / 2).copied().unwrap_or(f64::INFINITY);
    (held, count, middle, table)
}

/// With one dry in both channels its change in the wedge has a narrow interval that contains the truth; the wet's
/// interval is wide, because a wet that cancels in the sum and one that doesn't can look alike.
#[test]
fn the_intervals_hold_the_truth_with_one_dry() {
    let ([dry, wet], count, middle_db, table) = held(&[
        PresetKind::EqualDry,
        PresetKind::DryOffset6Db,
        PresetKind::LateChannel300Us,
    ]);
    assert!(10 * dry >= 9 * count, "dry: {dry} of {count}:\n{table}");
    assert!(10 * wet >= 9 * count, "wet: {wet} of {count}:\n{table}");
    assert!(middle_db <= 1.0, "{middle_db:.2} dB wide:\n{table}");
}

/// With a different amplifier and cabinet in each channel the interval is wider, and still contains the truth.
#[test]
fn the_intervals_hold_the_truth_with_two_amplifiers() {
    let ([dry, wet], count, _, table) = held(&[PresetKind::TwoAmplifiers]);
    assert!(10 * dry >= 9 * count, "dry: {dry} of {count}:\n{table}");
    assert!(10 * wet >= 9 * count, "wet: {wet} of {count}:\n{table}");
}

/// The sign trap: a reverb so wide that it works against itself looks like an inverted dry in the average. Neither the
/// diagnosis nor the report calls it a flipped channel.
#[test]
fn the_sign_trap_is_not_called_a_flipped_channel() {
    let either = "an inverted channel, or a wet that works against itself";
    let is_flipped = |take: &Take| {
        let diagnosis = take.diagnosis.as_ref().unwrap();
        diagnosis
            .findings()
            .any(|finding| finding.cause == Cause::FlippedChannel)
    };
    for seed in 1..=4 {
        let take = heard(&preset(PresetKind::AntiPhaseReverb, 6.0, seed));
        assert!(take.sums.correlation().unwrap() < 0.0, "the trap is set");
        assert!(!is_flipped(&take), "seed {seed}");
        let table = in_one_line(&sumproof_report::table(&take, &Rig::default()));
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
    // A channel that is flipped is reported.
    assert!(is_flipped(&heard(&preset(PresetKind::FlippedChannel, -6.0, 1))));
}
