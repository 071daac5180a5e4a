//! The side-chain and the two-pass split in situations outside the accuracy table.

use sumproof_core::dsp::db;
use sumproof_core::session::monitor::Monitor;
use sumproof_core::session::passes::of_takes;
use sumproof_core::session::take::Pass;
use sumproof_core::split::side_chain::{Reference, SideChain};
use sumproof_core::split::two_pass::{PassAudio, PassRecorder, TwoPass, TwoPassError};
use sumproof_core::split::{Method, Split};
use sumproof_signals::{Preset, PresetKind, Stereo, amplitude, mean_power, render, tones};
use sumproof_tests::methods::{narrowed_pair, pass, ratios, spec};
use sumproof_wording::passes::pair_check;

const RATE_HZ: f64 = 48_000.0;

fn narrowed(signal: &[f64]) -> Vec<f32> {
    signal.iter().map(|&x| x as f32).collect()
}

fn preset() -> Preset {
    render(&spec(PresetKind::EqualDry, -6.0, 1))
}

fn later(signal: &[f64], frames: usize) -> Vec<f64> {
    [vec![0.0; frames], signal.to_vec()].concat()[..signal.len()].to_vec()
}

/// The delay of the channels after the reference is found, up to 200 ms, and so is a reference that is late by 10 ms.
#[test]
fn the_first_arrival_is_found_wherever_it_is() {
    let preset = preset();
    let full = preset.full();
    for (reference_late, channels_late) in [(0, 0), (0, 9000), (480, 0)] {
        let reference = narrowed(&later(&preset.reference, reference_late));
        let left = narrowed(&later(&full.left, channels_late));
        let right = narrowed(&later(&full.right, channels_late));
        let mut side_chain = SideChain::new(RATE_HZ, Reference::Mono);
        side_chain.start_take();
        side_chain.push(&reference, &[], &left, &right);
        let found = side_chain.finish_take("late".into(), Pass::Full).unwrap();
        let expected_s = (channels_late as f64 - reference_late as f64) / RATE_HZ;
        let arrival_s = found.state.arrival_s.unwrap();
        assert!(
            (arrival_s - expected_s).abs() < 1.5 / RATE_HZ,
            "{arrival_s}, not {expected_s}"
        );
        let wet_db = found.split.wet_over_dry_db().unwrap();
        assert!((wet_db + 6.0).abs() < 0.3, "{expected_s}: {wet_db}");
    }
}

/// With the dry muted there's no first arrival, and no dry.
#[test]
fn a_reverb_alone_has_no_dry() {
    let preset = render(&spec(PresetKind::WetOnly, 0.0, 1));
    let full = narrowed_pair(&preset.full(), 1.0);
    let mut side_chain = SideChain::new(RATE_HZ, Reference::Mono);
    side_chain.start_take();
    side_chain.push(&narrowed(&preset.reference), &[], &full[0], &full[1]);
    let found = side_chain.finish_take("wet".into(), Pass::Full).unwrap();
    assert_eq!(found.state.arrival_s, None);
    assert!(found.split.wet_over_dry_db().unwrap() > 40.0);
}

/// An independent sound in the channels is not linear in the reference: its share is reported.
#[test]
fn the_share_that_is_not_linear_in_the_reference_is_told() {
    let preset = preset();
    let full = preset.full();
    for share_db in [-20.0, -10.0] {
        let gain = (full.power() / 2.0).sqrt() * amplitude(share_db);
        let foreign = Stereo::new(
            tones::white_noise(full.len(), gain, 5),
            tones::white_noise(full.len(), gain, 6),
        );
        let mixed = full.plus(&foreign);
        let truth = foreign.power() / mixed.power();
        let pair = narrowed_pair(&mixed, 1.0);
        let mut side_chain = SideChain::new(RATE_HZ, Reference::Mono);
        side_chain.start_take();
        side_chain.push(&narrowed(&preset.reference), &[], &pair[0], &pair[1]);
        let found = side_chain.finish_take("foreign".into(), Pass::Full).unwrap();
        // 8 s: the taps explain up to a third of it by chance, as the documentation says.
        let told = found.state.unexplained;
        assert!((0.6 * truth..1.05 * truth).contains(&told), "{told}, not {truth}");
    }
}

/// Live: a close reading within seconds, which stays when the take begins.
#[test]
fn a_live_reading_comes_close() {
    let preset = preset();
    let full = narrowed_pair(&preset.full(), 1.0);
    let reference = narrowed(&preset.reference);
    let mut side_chain = SideChain::new(RATE_HZ, Reference::Mono);
    side_chain.set_integration(3.0);
    let mut split = Split::silent(side_chain.grid().len(), Method::SideChain);
    assert!(side_chain.read(&mut split).is_none());
    for (at, chunk) in reference.chunks(960).enumerate() {
        let range = at * 960..at * 960 + chunk.len();
        side_chain.push(chunk, &[], &full[0][range.clone()], &full[1][range]);
        side_chain.work(12);
    }
    let (state, _) = side_chain.read(&mut split).unwrap();
    assert!(state.heard_s > 6.0, "{state:?}");
    let found = ratios(&split, side_chain.grid());
    // The same frames of the truth: the last seconds, weighted alike, are near enough the last three.
    let last = |pair: &Stereo| {
        let from = pair.len() - 3 * 48_000;
        mean_power(&pair.left[from..]) + mean_power(&pair.right[from..])
    };
    let truth_db = db::from_power(last(&preset.wet) / last(&preset.dry));
    assert!(
        (found.stereo_db - truth_db).abs() < 1.5,
        "{found:?}, not {truth_db}"
    );
    assert!(found.flipped_db < -20.0, "{found:?}");
}

/// The take doesn't depend on the block size.
#[test]
fn a_take_does_not_depend_on_the_block_size() {
    let preset = preset();
    let full = narrowed_pair(&preset.full(), 1.0);
    let reference = narrowed(&preset.reference);
    let take = |size: usize| {
        let mut side_chain = SideChain::new(RATE_HZ, Reference::Mono);
        side_chain.start_take();
        for ((x, l), r) in reference
            .chunks(size)
            .zip(full[0].chunks(size))
            .zip(full[1].chunks(size))
        {
            side_chain.push(x, &[], l, r);
        }
        side_chain.finish_take("blocks".into(), Pass::Full).unwrap().take
    };
    assert_eq!(take(480_000), take(17));
}

/// Silence and invalid samples are defined input.
#[test]
fn silence_and_invalid_give_no_nonsense() {
    let mut side_chain = SideChain::new(RATE_HZ, Reference::Stereo);
    let silence = vec![0.0f32; 200_000];
    side_chain.push(&silence, &silence, &silence, &silence);
    side_chain.work(5);
    let mut split = Split::silent(side_chain.grid().len(), Method::SideChain);
    assert!(side_chain.read(&mut split).is_none());
    let invalid = vec![f32::NAN; 1000];
    side_chain.push(&invalid, &invalid, &silence, &silence);
    assert_eq!(side_chain.invalid_frames(), 1000);
    side_chain.start_take();
    side_chain.push(&silence[..1000], &silence, &silence, &silence);
    let found = side_chain.finish_take("silence".into(), Pass::Full).unwrap();
    assert_eq!(found.split.wet_over_dry_db(), None);
    assert!(found.take.split.dry.ll.iter().all(|power| *power == 0.0));
}

/// Passes that begin at different times, with different gains and one flipped, are lined up to a fraction of a sample.
#[test]
fn passes_are_lined_up_and_their_gains_fitted() {
    for kind in [PresetKind::EqualDry, PresetKind::PingPong] {
        for wet_db in [-20.0, 6.0] {
            let preset = render(&spec(kind, wet_db, 1));
            let full = narrowed_pair(&preset.full(), 1.0);
            let moved = |pair: &Stereo, frames: usize, gain: f64| {
                let moved = Stereo::new(later(&pair.left, frames), later(&pair.right, frames));
                narrowed_pair(&moved, gain)
            };
            let dry = moved(&preset.dry, 4801, amplitude(4.0));
            let wet = moved(&preset.wet, 333, -amplitude(-7.0));
            let found = TwoPass::of_audio(
                &pass(&dry, RATE_HZ),
                &pass(&wet, RATE_HZ),
                Some(&pass(&full, RATE_HZ)),
            )
            .unwrap();
            let check = found.check.unwrap();
            let name = &preset.name;
            assert!(check.holds() && check.residual_db < -30.0, "{name}: {check:?}");
            assert!((check.dry_gain_db + 4.0).abs() < 0.05, "{name}: {check:?}");
            assert!((check.wet_gain_db - 7.0).abs() < 0.1, "{name}: {check:?}");
            assert!(check.wet_flipped && !check.dry_flipped);
            assert!(
                (check.dry_offset_s * RATE_HZ + 4801.0).abs() < 0.01,
                "{name}: {check:?}"
            );
            assert!(
                (check.wet_offset_s * RATE_HZ + 333.0).abs() < 0.05,
                "{name}: {check:?}"
            );
        }
    }
}

#[test]
fn a_fraction_of_a_sample_is_found() {
    let preset = preset();
    let full = narrowed_pair(&preset.full(), 1.0);
    let shift = |pair: &Stereo, frames: f64| {
        let mut moved = Stereo::new(
            sumproof_signals::delay::delayed(&pair.left, frames),
            sumproof_signals::delay::delayed(&pair.right, frames),
        );
        moved.left.truncate(pair.len());
        moved.right.truncate(pair.len());
        narrowed_pair(&moved, 1.0)
    };
    let (dry, wet) = (shift(&preset.dry, 20.37), shift(&preset.wet, 7.8));
    let found = TwoPass::of_audio(
        &pass(&dry, RATE_HZ),
        &pass(&wet, RATE_HZ),
        Some(&pass(&full, RATE_HZ)),
    )
    .unwrap();
    let check = found.check.unwrap();
    assert!((check.dry_offset_s * RATE_HZ + 20.37).abs() < 0.01, "{check:?}");
    assert!((check.wet_offset_s * RATE_HZ + 7.8).abs() < 0.05, "{check:?}");
    assert!(check.residual_db < -40.0, "{check:?}");
}

/// A part that was played again, not looped, is not the same part.
#[test]
fn another_performance_is_told_with_its_bands() {
    let preset = preset();
    let other = render(&spec(PresetKind::DoubleTracked, -6.0, 1));
    let full = narrowed_pair(&preset.full(), 1.0);
    let dry = narrowed_pair(&Stereo::dual_mono(&other.dry.right), 1.0);
    let wet = narrowed_pair(&preset.wet, 1.0);
    let found = TwoPass::of_audio(
        &pass(&dry, RATE_HZ),
        &pass(&wet, RATE_HZ),
        Some(&pass(&full, RATE_HZ)),
    )
    .unwrap();
    let check = found.check.unwrap();
    assert!(!check.holds(), "{check:?}");
    assert!(check.failing().count() > 3, "{check:?}");
    assert!(
        pair_check(&check).starts_with("the part was not repeated the same way (at "),
        "{}",
        pair_check(&check)
    );
}

/// The wet of a dry and a full pass is only computed if the full one contains the dry unchanged.
#[test]
fn a_dry_pass_that_is_not_in_the_full_one_is_refused() {
    let preset = preset();
    let full = narrowed_pair(&preset.full(), 1.0);
    let refused = |dry: &Stereo| {
        let dry = narrowed_pair(dry, 1.0);
        TwoPass::of_dry_and_full(&pass(&dry, RATE_HZ), &pass(&full, RATE_HZ)).map(|found| found.dry_in_full)
    };
    assert!(refused(&preset.dry).is_ok());
    // The same part, played once more.
    let other = render(&spec(PresetKind::DoubleTracked, -6.0, 1));
    assert_eq!(
        refused(&Stereo::dual_mono(&other.dry.right)),
        Err(TwoPassError::NotInFull)
    );
    // The same performance through another amplifier: a resonance four octaves above middle C.
    let ringing = |x: &[f64]| {
        let (mut before, mut last) = (0.0, 0.0);
        let ring = |&x: &f64| {
            let y = 0.4 * x + 1.6 * last - 0.8 * before;
            (before, last) = (last, y);
            y
        };
        x.iter().map(ring).collect::<Vec<f64>>()
    };
    let changed = Stereo::new(ringing(&preset.dry.left), ringing(&preset.dry.right));
    assert_eq!(refused(&changed), Err(TwoPassError::NotInFull));
}

#[test]
fn passes_that_say_nothing_are_refused() {
    let sound = vec![0.1f32; 1000];
    let silence = vec![0.0f32; 1000];
    let audio = |rate_hz, samples| PassAudio {
        rate_hz,
        left: samples,
        right: samples,
    };
    let refused = |dry, wet| TwoPass::of_audio(&dry, &wet, None).unwrap_err();
    assert_eq!(
        refused(audio(48e3, &sound[..]), audio(44.1e3, &sound[..])),
        TwoPassError::Rates
    );
    assert_eq!(
        refused(audio(48e3, &sound[..0]), audio(48e3, &sound[..])),
        TwoPassError::Empty(Pass::Dry)
    );
    assert_eq!(
        refused(audio(48e3, &sound[..]), audio(48e3, &silence[..])),
        TwoPassError::Silent(Pass::Wet)
    );
}

#[test]
fn a_recorder_keeps_a_minute_and_counts_the_rest() {
    let mut recorder = PassRecorder::new(8000.0);
    let sound = vec![0.1f32; 8000];
    for _ in 0..61 {
        recorder.push(&sound, &sound);
    }
    recorder.push(&[f32::NAN], &[0.0]);
    assert_eq!(recorder.pass().left.len(), 480_000);
    assert_eq!(recorder.missed_frames(), 8001);
    recorder.clear();
    recorder.push(&[f32::NAN, 0.5], &[0.0, 0.5]);
    assert_eq!(recorder.invalid_frames(), 1);
    assert_eq!(recorder.pass().left, [0.0, 0.5]);
}

/// Two stored takes give the same split as their sound.
#[test]
fn stored_takes_make_a_split_too() {
    let preset = preset();
    let take = |pair: &Stereo, pass| {
        let pair = narrowed_pair(pair, 1.0);
        let mut monitor = Monitor::new(RATE_HZ);
        monitor.start_take();
        monitor.push(&pair[0], &pair[1]);
        monitor.finish_take("pass".into(), pass).unwrap()
    };
    let (dry, wet) = (take(&preset.dry, Pass::Dry), take(&preset.wet, Pass::Wet));
    let both = of_takes("both".into(), &dry, &wet, None).unwrap();
    assert_eq!(both.method(), Method::TwoPass);
    let found = ratios(&both.split, &both.grid());
    assert!((found.stereo_db + 6.0).abs() < 0.01, "{found:?}");
    assert!(found.flipped_db < -60.0, "{found:?}");
}
