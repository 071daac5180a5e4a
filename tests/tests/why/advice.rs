//! Advice applied to the sound itself: each piece has the promised effect, on every synthetic preset, and is worth
//! giving.

use sumproof_core::alignment::delay::DelayFinder;
use sumproof_core::explain::advice::{Action, Advice, Part, Quantity, Situation, advise};
use sumproof_core::explain::diagnosis::Diagnoser;
use sumproof_core::routing::feed::Side;
use sumproof_core::score::board::Board;
use sumproof_core::score::rig::Rig;
use sumproof_core::score::scorer::Scorer;
use sumproof_core::spectrum::welch::spectrum_of;
use sumproof_core::split::{Method, Split};
use sumproof_signals::truth::{MonoFeed, change_db, wet_dry_db};
use sumproof_signals::{LineFault, Preset, PresetKind, PresetSpec, Stereo, amplitude, render};
use sumproof_tests::why::diagnosed;

/// Tolerance between a promise and the truth, dB.
const ALLOWED_DB: f64 = 0.5;
/// Figures below this count as gone, true or promised, dB.
const GONE_DB: f64 = -60.0;

/// The advice with separately known dry and wet.
fn advice_for(preset: &Preset) -> Vec<Advice> {
    let (rate_hz, len) = (preset.rate_hz, 8192);
    let spectrum = |part: &Stereo| spectrum_of(&part.left, &part.right, rate_hz, len);
    let full = preset.full();
    let (grid, total) = spectrum(&full);
    let dry = spectrum(&preset.dry).1;
    let delay = DelayFinder::new(rate_hz, len).find(&dry);
    let split = Split::new(dry, spectrum(&preset.wet).1, total, Method::TwoPass);
    let rig = Rig::default();
    let mut rows = Board::empty_rows();
    Board::new(Scorer::new(grid.clone(), 0.0), rig, split.delays_s()).score(&split, &mut rows);
    let before = diagnosed(&full, rate_hz);
    let delay_s = delay.map_or(0.0, |delay| delay.delay_s);
    let diagnosis = Diagnoser::new(grid.clone())
        .examine_parts(&split, delay_s, Some(&before))
        .settled(&rows);
    advise(&Situation {
        split: &split,
        grid: &grid,
        rows: &rows,
        rig: &rig,
        diagnosis: Some(&diagnosis),
    })
}

/// The quantity before and after, in the time domain.
fn truth(preset: &Preset, advice: &Advice) -> (f64, f64) {
    let rate_hz = preset.rate_hz;
    let wedge = MonoFeed::wedge();
    let flip = LineFault::FLIP;
    // Without a dry the total is judged.
    let judged = if preset.dry.power() > 0.0 {
        preset.dry.clone()
    } else {
        preset.full()
    };
    let dry = |feed: &MonoFeed| change_db(&judged, feed, rate_hz);
    let ahead = |late: Side, delay_s: f64, right: LineFault| {
        let line = LineFault {
            flip: right.flip,
            ..LineFault::late(delay_s)
        };
        match late {
            Side::Right => MonoFeed::wedge_with(line, LineFault::NONE),
            Side::Left => MonoFeed::wedge_with(LineFault::NONE, line),
        }
    };
    match (advice.action, advice.quantity) {
        (Action::FlipChannel, Quantity::Wedge(Part::Dry)) => {
            (dry(&wedge), dry(&MonoFeed::wedge_with(LineFault::NONE, flip)))
        }
        (Action::RemoveDelay { late, delay_s }, Quantity::Wedge(Part::Dry)) => {
            (dry(&wedge), dry(&ahead(late, delay_s, LineFault::NONE)))
        }
        (Action::FlipAndRemoveDelay { late, delay_s }, Quantity::Wedge(Part::Dry)) => {
            (dry(&wedge), dry(&ahead(late, delay_s, flip)))
        }
        (Action::MonoEffect { from }, Quantity::Wedge(Part::Wet)) => {
            let channel = match from {
                Side::Left => preset.wet.left.clone(),
                Side::Right => preset.wet.right.clone(),
            };
            let mono = Stereo::new(channel.clone(), channel);
            (
                change_db(&preset.wet, &wedge, rate_hz),
                change_db(&mono, &wedge, rate_hz),
            )
        }
        (Action::WetLevel { change_db }, Quantity::WedgeBalance) => {
            let stereo = preset.true_wet_dry_db();
            let mut changed = preset.clone();
            changed.wet.scale(amplitude(change_db));
            (
                wet_dry_db(preset, &wedge) - stereo,
                wet_dry_db(&changed, &wedge) - stereo,
            )
        }
        (Action::CheckPolarity, Quantity::FlippedDry) => {
            (dry(&MonoFeed::wedge_with(LineFault::NONE, flip)), dry(&wedge))
        }
        (Action::SendAlike, Quantity::LateDry) => {
            let late = LineFault::late(0.001);
            let worse = dry(&MonoFeed::wedge_with(late, LineFault::NONE))
                .min(dry(&MonoFeed::wedge_with(LineFault::NONE, late)));
            (worse, dry(&wedge))
        }
        (Action::OneLine { .. } | Action::EitherLine, Quantity::Wedge(part)) => {
            let part = if part == Part::Dry {
                preset.dry.clone()
            } else {
                preset.full()
            };
            let alone = match advice.action {
                Action::OneLine { line: Side::Right } => MonoFeed::right_only(),
                _ => MonoFeed::left_only(),
            };
            (
                change_db(&part, &wedge, rate_hz),
                change_db(&part, &alone, rate_hz),
            )
        }
        (action, quantity) => panic!("{action:?} has nothing to do with {quantity:?}"),
    }
}

fn near(promised: f64, true_db: f64) -> bool {
    (promised - true_db).abs() <= ALLOWED_DB || promised < GONE_DB && true_db < GONE_DB
}

/// On every synthetic preset, following the advice improves its quantity by the promised amount, within 0.5 dB. Dry and
/// wet are known here; an estimated split promises no more than it can show.
#[test]
fn advice_brings_what_it_promises() {
    let mut pieces = 0;
    for kind in PresetKind::ALL {
        for (wet_db, seed) in [(-10.0, 11), (-3.0, 12), (3.0, 13)] {
            let preset = render(&PresetSpec {
                wet_db,
                seed,
                seconds: 6.0,
                ..PresetSpec::new(kind)
            });
            let all = advice_for(&preset);
            assert!(all.len() <= 3, "{}: {all:?}", preset.name);
            for advice in all {
                let (before, after) = truth(&preset, &advice);
                let said = sumproof_wording::advice::sentence(&advice);
                assert!(
                    near(advice.before_db, before),
                    "{}: {said} Before is {before}",
                    preset.name
                );
                assert!(
                    near(advice.after_db, after),
                    "{}: {said} After is {after}",
                    preset.name
                );
                let better = if advice.quantity == Quantity::WedgeBalance {
                    after.abs() < before.abs()
                } else {
                    after > before
                };
                assert!(better, "{}: {said} {before} to {after}", preset.name);
                pieces += 1;
            }
        }
    }
    assert!(pieces > 40, "only {pieces} pieces of advice");
}

fn actions(kind: PresetKind) -> Vec<Action> {
    let preset = render(&PresetSpec {
        seconds: 6.0,
        seed: 21,
        ..PresetSpec::new(kind)
    });
    advice_for(&preset).iter().map(|advice| advice.action).collect()
}

#[test]
fn each_preset_gets_the_advice_it_needs() {
    assert_eq!(actions(PresetKind::FlippedChannel)[0], Action::FlipChannel);
    let late = actions(PresetKind::LateChannel12Ms);
    let Action::RemoveDelay { late, delay_s } = late[0] else {
        panic!("the delay is not named first: {late:?}")
    };
    assert!(late == Side::Right && (delay_s - 0.012).abs() < 1e-5, "{delay_s}");
    // A preset that holds gets no advice to change it, only advice about its lines.
    let equal = actions(PresetKind::EqualDry);
    assert_eq!(equal, [Action::CheckPolarity, Action::SendAlike]);
}

/// A dry 6 dB louder in one channel holds in the sum and in the louder line; the headline says so, and there is no
/// advice against it.
#[test]
fn nothing_is_advised_against_the_headline() {
    for kind in PresetKind::ALL {
        let actions = actions(kind);
        let one_line = |action: &Action| matches!(action, Action::OneLine { .. } | Action::EitherLine);
        let changes = |action: &Action| {
            matches!(
                action,
                Action::FlipChannel | Action::RemoveDelay { .. } | Action::FlipAndRemoveDelay { .. }
            )
        };
        assert!(
            !(actions.iter().any(one_line) && actions.iter().any(changes)),
            "{kind:?}: {actions:?}"
        );
    }
}
