//! The plugin with a side-chain, from the bundled `.clap`: its ports, sound that passes, and takes whose dry and wet
//! are split by the second input.
use sumproof_core::session::take::Take;
use sumproof_core::split::Method;
use sumproof_signals::{Preset, PresetKind, Rng, render};
use sumproof_tests::host::setup::{CLAP_ID, SIDE_CHAIN_ID, clap_bundle, plugin, side_chain_plugin};
use sumproof_tests::host::{Blocks, Buffers, Library, ParamEvent, Play, Plugin, State, Stereo};
use sumproof_tests::methods::{Ratios, narrowed_pair, ratios, spec, truth};

/// The accuracy that the project guarantees, dB.
const RATIO_DB: f64 = 0.3;
const FLIPPED_DB: f64 = -35.0;

fn full(preset: &Preset) -> Stereo {
    let [left, right] = narrowed_pair(&preset.full(), 1.0);
    Stereo::new(preset.rate_hz, left, right)
}

fn reference(preset: &Preset) -> Vec<f32> {
    preset.reference.iter().map(|&sample| sample as f32).collect()
}

fn takes(plugin: &mut Plugin) -> Vec<Take> {
    State::decode(&plugin.save_state().unwrap())
        .unwrap()
        .takes()
        .unwrap()
}

/// The takes once the side-chain has split them: until then a take is stored with dry and wet estimated. Waits a minute
/// at most.
fn told(plugin: &mut Plugin) -> Vec<Take> {
    for _ in 0..3000 {
        let takes = takes(plugin);
        if takes.iter().all(|take| take.method() == Method::SideChain) {
            return takes;
        }
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
    takes(plugin)
}

fn take_of(audio: &Stereo, side_chain: &[Vec<f32>], offline: bool) -> Take {
    let mut plugin = side_chain_plugin().unwrap();
    let blocks = Blocks::Random { seed: 3, max: 1500 };
    plugin
        .record_take_beside(audio, side_chain, blocks, offline)
        .unwrap();
    // It is stored at once with the estimate.
    assert_eq!(takes(&mut plugin).len(), 1);
    let mut takes = if side_chain.is_empty() {
        takes(&mut plugin)
    } else {
        told(&mut plugin)
    };
    assert_eq!(takes.len(), 1);
    takes.remove(0)
}

fn late(sound: &[f32], frames: usize) -> Vec<f32> {
    let mut late = vec![0.0; frames];
    late.extend_from_slice(&sound[..sound.len() - frames]);
    late
}

#[track_caller]
fn assert_told(take: &Take, preset: &Preset, what: &str) {
    assert_eq!(take.method(), Method::SideChain, "{what}");
    let (found, true_): (Ratios, Ratios) = (ratios(&take.split, &take.grid()), truth(preset));
    let told = format!("{what}, {}: {found:?}, not {true_:?}", preset.name);
    assert!((found.stereo_db - true_.stereo_db).abs() < RATIO_DB, "{told}");
    assert!((found.mono_db - true_.mono_db).abs() < RATIO_DB, "{told}");
    if true_.flipped_db.is_infinite() {
        assert!(found.flipped_db < FLIPPED_DB, "{told}");
    } else {
        assert!((found.flipped_db - true_.flipped_db).abs() < RATIO_DB, "{told}");
    }
}

#[test]
fn the_library_has_both_plugins_and_only_one_has_the_second_input() {
    let library = Library::load(&clap_bundle()).unwrap();
    assert_eq!(library.plugin_ids(), [CLAP_ID, SIDE_CHAIN_ID]);
    let channels = |plugin: &mut Plugin| -> Vec<u32> {
        plugin
            .input_ports()
            .iter()
            .map(|(_, channels)| *channels)
            .collect()
    };
    let (mut plain, mut second) = (plugin().unwrap(), side_chain_plugin().unwrap());
    assert_eq!(channels(&mut plain), [2]);
    assert_eq!(channels(&mut second), [2, 2]);
    assert_eq!(second.input_ports()[1].0, "Dry (side-chain)");
    // The same parameters plus one.
    let (plain, second) = (plain.params().unwrap(), second.params().unwrap());
    assert_eq!(second[..plain.len()], plain);
    let [split] = &second[plain.len()..] else {
        panic!("{} more parameters", second.len() - plain.len())
    };
    assert_eq!(
        (split.name.as_str(), split.text.as_str()),
        ("Side-chain split time", "20.0 ms")
    );
    assert_eq!(split.id, ParamEvent::step("split_1", 0).param);
    assert!(split.automatable);
}

#[test]
fn sound_passes_bit_for_bit_with_no_latency() {
    let mut rng = Rng::new(4);
    let mut noise = || {
        (0..12_000)
            .map(|_| rng.between(-1.0, 1.0) as f32)
            .collect::<Vec<_>>()
    };
    let side_chains = [vec![], vec![noise(), noise()]];
    for rate_hz in [44_100.0, 96_000.0] {
        let mut audio = Stereo::new(rate_hz, noise(), noise());
        (audio.left[5000], audio.right[7000]) = (f32::NAN, 1e-40);
        for block in [1, 64, 8192] {
            for buffers in [Buffers::Separate, Buffers::InPlace] {
                for side_chain in &side_chains {
                    let mut plugin = side_chain_plugin().unwrap();
                    let how = Play {
                        blocks: Blocks::Fixed(block),
                        buffers,
                        offline: block == 64,
                        side_chain: side_chain.clone(),
                        ..Play::default()
                    };
                    let out = plugin.play(&audio, &how).unwrap();
                    let bits =
                        |sound: &[f32]| sound.iter().map(|sample| sample.to_bits()).collect::<Vec<_>>();
                    let same = bits(&out.left) == bits(&audio.left) && bits(&out.right) == bits(&audio.right);
                    let what = format!(
                        "{rate_hz} Hz, blocks of {block}, {buffers:?}, {} beside",
                        side_chain.len()
                    );
                    assert!(same, "{what}");
                    assert_eq!(
                        (plugin.latency_samples(), plugin.latency_changes()),
                        (0, 0),
                        "{what}"
                    );
                }
            }
        }
    }
}

#[test]
fn dry_and_wet_are_told_apart_by_it() {
    for (kind, wet_db) in [
        (PresetKind::EqualDry, -6.0),
        (PresetKind::HalfCorrelatedReverb, 0.0),
        (PresetKind::TwoAmplifiers, -10.0),
    ] {
        let preset = render(&spec(kind, wet_db, 5));
        let reference = reference(&preset);
        let take = take_of(&full(&preset), &[reference.clone(), reference], true);
        assert_told(&take, &preset, "stereo");
    }
}

#[test]
fn one_channel_will_do_and_the_sound_may_come_late() {
    let preset = render(&spec(PresetKind::EqualDry, -6.0, 6));
    let (audio, reference) = (full(&preset), reference(&preset));
    assert_told(
        &take_of(&audio, std::slice::from_ref(&reference), true),
        &preset,
        "mono",
    );
    // 61 ms, as behind an effects loop through a converter.
    let frames = (0.061 * preset.rate_hz) as usize;
    let behind = Stereo::new(
        audio.rate_hz,
        late(&audio.left, frames),
        late(&audio.right, frames),
    );
    let silent = vec![0.0; reference.len()];
    assert_told(
        &take_of(&behind, &[silent, reference], false),
        &preset,
        "61 ms late, right only",
    );
}

#[test]
fn without_anything_on_it_dry_and_wet_are_estimated() {
    let preset = render(&spec(PresetKind::EqualDry, -6.0, 7));
    let audio = full(&preset);
    let alone = take_of(&audio, &[], true);
    assert_eq!(alone.method(), Method::Estimated);
    // The same as in the plain plugin.
    let mut plain = plugin().unwrap();
    plain.record_take(&audio, Blocks::Fixed(512), true).unwrap();
    let plain = takes(&mut plain).remove(0);
    let (one, other) = (
        ratios(&alone.split, &alone.grid()),
        ratios(&plain.split, &plain.grid()),
    );
    assert!(
        (one.stereo_db - other.stereo_db).abs() < 1e-6,
        "{one:?}, not {other:?}"
    );
}

#[test]
fn a_longer_split_time_counts_more_as_dry() {
    let preset = render(&spec(PresetKind::EqualDry, 0.0, 8));
    let (audio, reference) = (full(&preset), reference(&preset));
    let wet_db = |split: &str| {
        let mut plugin = side_chain_plugin().unwrap();
        let how = Play {
            events: vec![plugin.change(0, "split_1", split).unwrap()],
            ..Play::default()
        };
        plugin
            .play(&Stereo::new(preset.rate_hz, vec![0.0; 64], vec![0.0; 64]), &how)
            .unwrap();
        plugin
            .record_take_beside(
                &audio,
                &[reference.clone(), reference.clone()],
                Blocks::Fixed(512),
                true,
            )
            .unwrap();
        let take = told(&mut plugin).remove(0);
        ratios(&take.split, &take.grid()).stereo_db
    };
    let (short, long) = (wet_db("20 ms"), wet_db("100 ms"));
    assert!(long < short - 0.5, "{long} dB with 100 ms, {short} dB with 20 ms");
}

#[test]
fn a_take_in_real_time_loses_nothing() {
    let preset = render(&spec(PresetKind::EqualDry, -6.0, 9));
    let mut audio = full(&preset);
    let length = (4.0 * preset.rate_hz) as usize;
    audio.left.truncate(length);
    audio.right.truncate(length);
    let mut plugin = side_chain_plugin().unwrap();
    let running = plugin
        .start_realtime_take_beside(
            &audio,
            &[reference(&preset), reference(&preset)],
            Blocks::Fixed(256),
        )
        .unwrap();
    while !running.has_ended() {
        plugin.answer();
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
    plugin.stop_realtime(running).unwrap();
    let take = told(&mut plugin).remove(0);
    assert_eq!(
        (take.method(), take.sums.frames),
        (Method::SideChain, length as u64)
    );
    assert_eq!(take.invalid_frames, 0);
}
