//! The bundled `.clap` in a host: loading, parameters, sound that passes, latency, state.
use std::path::Path;
use sumproof_core::routing::feed::FeedId;
use sumproof_core::score::rig::Rig;
use sumproof_signals::Rng;
use sumproof_tests::host::setup::{CLAP_ID, clap_bundle, plugin};
use sumproof_tests::host::{
    Blocks, Buffers, HostError, Library, ParamEvent, Play, Plugin, State, Stereo, Transport,
};
use sumproof_wording::Name;

const RATES_HZ: [f64; 6] = [22_050.0, 44_100.0, 48_000.0, 88_200.0, 96_000.0, 192_000.0];
const BLOCKS: [u32; 5] = [1, 17, 64, 512, 8192];

/// Every parameter: string id, name, group, lowest, highest and default as the user reads them, and whether it can be
/// automated. Projects and automation lanes depend on ids and ranges: lines here are only added, never changed. No
/// outside source: this is the plugin's own contract.
const PARAMS: &[(&str, &str, &str, &str, &str, &str, bool)] = &[
    ("byp", "Bypass", "", "Off", "On", "Off", true),
    ("aud", "Audition", "", "Off", "On", "Off", true),
    (
        "feed",
        "Feed",
        "",
        "Stereo house",
        "Your own feed",
        "Mono wedge",
        true,
    ),
    (
        "l_pol",
        "Left line polarity",
        "Left line",
        "Normal",
        "Flipped",
        "Normal",
        true,
    ),
    (
        "l_gain",
        "Left line gain",
        "Left line",
        "-40.0 dB",
        "+20.0 dB",
        "0.0 dB",
        true,
    ),
    (
        "l_del",
        "Left line delay",
        "Left line",
        "0.00 ms",
        "30.00 ms",
        "0.00 ms",
        true,
    ),
    (
        "l_hp",
        "Left line transformer corner",
        "Left line",
        "none",
        "200.0 Hz",
        "none",
        true,
    ),
    (
        "l_unp",
        "Left line unplugged",
        "Left line",
        "Plugged in",
        "Unplugged",
        "Plugged in",
        true,
    ),
    (
        "r_pol",
        "Right line polarity",
        "Right line",
        "Normal",
        "Flipped",
        "Normal",
        true,
    ),
    (
        "r_gain",
        "Right line gain",
        "Right line",
        "-40.0 dB",
        "+20.0 dB",
        "0.0 dB",
        true,
    ),
    (
        "r_del",
        "Right line delay",
        "Right line",
        "0.00 ms",
        "30.00 ms",
        "0.00 ms",
        true,
    ),
    (
        "r_hp",
        "Right line transformer corner",
        "Right line",
        "none",
        "200.0 Hz",
        "none",
        true,
    ),
    (
        "r_unp",
        "Right line unplugged",
        "Right line",
        "Plugged in",
        "Unplugged",
        "Plugged in",
        true,
    ),
    (
        "law",
        "Sum law",
        "",
        "Average (−6 dB)",
        "Unity (0 dB)",
        "Average (−6 dB)",
        true,
    ),
    ("match", "Loudness match", "", "Off", "On", "Off", true),
    ("integ", "Read over", "", "0.3 s", "Phrase", "Phrase", true),
    ("rec", "Record take", "", "Off", "Recording", "Off", true),
    (
        "kind",
        "Pass recorded",
        "",
        "Full preset",
        "Wet only",
        "Full preset",
        true,
    ),
    (
        "preset",
        "Kind of preset",
        "",
        "Not said",
        "No separate dry",
        "Not said",
        true,
    ),
    ("audbnc", "Audition in bounces", "", "Off", "On", "Off", true),
    ("auto", "Takes by phrase", "", "Off", "On", "Off", true),
    ("last", "Take the last phrase", "", "Off", "Now", "Off", true),
    ("next", "Next name", "", "Off", "Now", "Off", true),
    ("straight", "Lines straight", "", "Off", "On", "Off", true),
];

/// Noise, then all kinds of invalid samples that a broken plugin upstream may send.
fn awkward(rate_hz: f64, frames: usize) -> Stereo {
    let mut rng = Rng::new(1);
    let oddities = [
        f32::NAN,
        f32::from_bits(0xffc0_1234),
        f32::INFINITY,
        f32::NEG_INFINITY,
        f32::MAX,
        f32::from_bits(1),
        -f32::MIN_POSITIVE / 2.0,
        -0.0,
        0.0,
        1.5,
    ];
    let mut channel = || -> Vec<f32> {
        (0..frames)
            .map(|frame| match frame * 4 / frames {
                0 | 2 => rng.between(-1.0, 1.0) as f32,
                1 => 0.0,
                _ => oddities[rng.below(oddities.len())],
            })
            .collect()
    };
    Stereo::new(rate_hz, channel(), channel())
}

fn noise(rate_hz: f64, seconds: f64) -> Stereo {
    noise_of(2, rate_hz, seconds)
}

fn noise_of(seed: u64, rate_hz: f64, seconds: f64) -> Stereo {
    let mut rng = Rng::new(seed);
    let frames = (seconds * rate_hz) as usize;
    let mut channel = || (0..frames).map(|_| rng.between(-0.5, 0.5) as f32).collect();
    Stereo::new(rate_hz, channel(), channel())
}

#[track_caller]
fn assert_same_bits(got: &Stereo, want: &Stereo, what: &str) {
    for (name, got, want) in [
        ("left", &got.left, &want.left),
        ("right", &got.right, &want.right),
    ] {
        assert_eq!(got.len(), want.len(), "{what}: {name} has another length");
        let differs = got.iter().zip(want).position(|(g, w)| g.to_bits() != w.to_bits());
        if let Some(at) = differs {
            panic!("{what}: {name} sample {at} is {:?}, not {:?}", got[at], want[at]);
        }
    }
}

#[test]
fn a_daw_finds_and_loads_it() {
    let library = Library::load(&clap_bundle()).unwrap();
    assert!(
        library.plugin_ids().contains(&CLAP_ID.to_owned()),
        "{:?}",
        library.plugin_ids()
    );
    for _ in 0..20 {
        let mut plugin = library.instantiate(CLAP_ID).unwrap();
        plugin.play(&noise(48_000.0, 0.05), &Play::default()).unwrap();
    }
    // Several at once, as on a rig with many tracks.
    let mut many: Vec<_> = (0..8).map(|_| library.instantiate(CLAP_ID).unwrap()).collect();
    for plugin in &mut many {
        plugin.play(&noise(48_000.0, 0.05), &Play::default()).unwrap();
    }
}

#[test]
fn the_host_names_what_cannot_be_loaded() {
    let missing = Library::load(Path::new("/nowhere/none.clap"))
        .err()
        .map(|e| e.to_string());
    assert!(missing.unwrap().contains("/nowhere/none.clap"));
    let text = Library::load(Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/Cargo.toml")));
    assert!(matches!(text, Err(HostError::Load { .. })));
    let wrong = Library::load(&clap_bundle())
        .unwrap()
        .instantiate("io.sumproof.none");
    assert!(matches!(wrong, Err(HostError::NoSuchPlugin { .. })));
}

#[test]
fn the_parameters_are_the_published_ones() {
    let mut plugin = plugin().unwrap();
    let listed = plugin.params().unwrap();
    let mut found = Vec::new();
    for (key, ..) in PARAMS {
        let param = plugin.param(key).unwrap();
        let lowest = plugin.value_text(key, param.min).unwrap();
        let highest = plugin.value_text(key, param.max).unwrap();
        let default = plugin.value_text(key, param.default).unwrap();
        assert_eq!(param.value, param.default, "{key} does not start at its default");
        assert_eq!(
            param.bypass,
            *key == "byp",
            "{key}: the host's bypass switch is 'byp' and no other"
        );
        found.push((
            key.to_string(),
            param.name,
            param.group,
            lowest,
            highest,
            default,
            param.automatable,
        ));
    }
    let wanted: Vec<_> = PARAMS
        .iter()
        .map(|&(key, name, group, low, high, default, automatable)| {
            let text = str::to_owned;
            (
                text(key),
                text(name),
                text(group),
                text(low),
                text(high),
                text(default),
                automatable,
            )
        })
        .collect();
    assert_eq!(found, wanted);
    assert_eq!(
        listed.len(),
        PARAMS.len(),
        "a parameter is not in the list: {listed:#?}"
    );
    // The state's keys are the same ids.
    let state = State::decode(&plugin.save_state().unwrap()).unwrap();
    let mut keys: Vec<_> = PARAMS.iter().map(|param| param.0.to_owned()).collect();
    keys.sort();
    assert_eq!(state.params.keys().cloned().collect::<Vec<_>>(), keys);
}

#[test]
fn the_feeds_a_host_can_choose_are_the_rows_of_the_table() {
    let mut plugin = plugin().unwrap();
    assert_eq!(plugin.param("feed").unwrap().max as usize + 1, FeedId::ALL.len());
    for (number, id) in (0..).zip(FeedId::ALL) {
        let how = Play {
            events: vec![ParamEvent::step("feed", number)],
            ..Play::default()
        };
        plugin.play(&noise(48_000.0, 0.02), &how).unwrap();
        let state = State::decode(&plugin.save_state().unwrap()).unwrap();
        assert_eq!(state.params["feed"], id.id());
    }
}

#[test]
fn text_that_is_no_finite_number_is_refused() {
    let mut plugin = plugin().unwrap();
    for key in ["l_gain", "r_gain", "l_del", "r_del", "l_hp", "r_hp"] {
        for text in ["nan", "NaN", "inf", "-inf", "infinity", "1e999", "", "loud"] {
            assert_eq!(plugin.text_value(key, text).unwrap(), None, "{key} took '{text}'");
        }
        let value = plugin.text_value(key, "1.5").unwrap();
        assert!(value.is_some_and(f64::is_finite), "{key} did not take 1.5");
    }
}

#[test]
fn sound_passes_bit_for_bit_with_no_latency() {
    for rate_hz in RATES_HZ {
        let audio = awkward(rate_hz, 20_000);
        for block in BLOCKS {
            for buffers in [Buffers::Separate, Buffers::InPlace] {
                for offline in [false, true] {
                    let mut plugin = plugin().unwrap();
                    let how = Play {
                        blocks: Blocks::Fixed(block),
                        buffers,
                        offline,
                        ..Play::default()
                    };
                    let out = plugin.play(&audio, &how).unwrap();
                    let what = format!("{rate_hz} Hz, blocks of {block}, {buffers:?}, offline {offline}");
                    assert_same_bits(&out, &audio, &what);
                    assert_eq!(plugin.latency_samples(), 0, "{what}");
                    assert_eq!(plugin.latency_changes(), 0, "{what}");
                }
            }
        }
    }
}

#[test]
fn sound_passes_whatever_is_set_while_nothing_is_auditioned() {
    let audio = awkward(44_100.0, 60_000);
    let mut plugin = plugin().unwrap();
    let mut events = Vec::new();
    for (index, param) in plugin.params().unwrap().into_iter().enumerate() {
        // Moves every parameter to its far end, one after the other, except the two switches that change the output.
        if param.id != ParamEvent::step("aud", 0).param && !param.bypass {
            events.push(ParamEvent {
                at_sample: index * 2000,
                param: param.id,
                value: param.max,
            });
        }
    }
    let how = Play {
        blocks: Blocks::Random { seed: 3, max: 1000 },
        events,
        ..Play::default()
    };
    assert_same_bits(
        &plugin.play(&audio, &how).unwrap(),
        &audio,
        "all parameters but the audition moved",
    );
}

/// How much the middle of `out` differs from `audio`, RMS.
fn difference(out: &Stereo, audio: &Stereo) -> f64 {
    let skip = audio.len_samples() / 2;
    let sum: f64 = [(&out.left, &audio.left), (&out.right, &audio.right)]
        .iter()
        .flat_map(|(out, audio)| out[skip..].iter().zip(&audio[skip..]))
        .map(|(o, a)| f64::from(o - a).powi(2))
        .sum();
    (sum / (2 * (audio.len_samples() - skip)) as f64).sqrt()
}

#[test]
fn audition_stays_out_of_bounces_and_recordings_unless_it_is_wanted_there() {
    let audio = noise(48_000.0, 1.0);
    let mono_wedge = [ParamEvent::step("aud", 1), ParamEvent::step("feed", 1)];
    let play = |events: &[ParamEvent], offline, transport| {
        let how = Play {
            offline,
            transport,
            events: events.to_vec(),
            ..Play::default()
        };
        plugin().unwrap().play(&audio, &how).unwrap()
    };
    let playing = Some(Transport {
        playing: true,
        recording: false,
    });
    let recording = Some(Transport {
        playing: true,
        recording: true,
    });

    // This host runs ahead of the clock without reporting that it renders, so it may be bouncing. (For real time see
    // `window.rs`.)
    assert_same_bits(&play(&mono_wedge, false, playing), &audio, "ahead of the clock");
    assert_same_bits(&play(&mono_wedge, false, None), &audio, "without a transport");

    assert_same_bits(&play(&mono_wedge, true, playing), &audio, "bounced offline");
    assert_same_bits(&play(&mono_wedge, false, recording), &audio, "recording");
    let bypassed = [&mono_wedge[..], &[ParamEvent::step("byp", 1)]].concat();
    assert_same_bits(&play(&bypassed, false, playing), &audio, "bypassed");

    let wanted = [&mono_wedge[..], &[ParamEvent::step("audbnc", 1)]].concat();
    assert!(
        difference(&play(&wanted, true, playing), &audio) > 0.1,
        "asked for, but not in the bounce"
    );
    let heard = play(&wanted, false, playing);
    let tail = heard.len_samples() / 2;
    assert_eq!(heard.left[tail..], heard.right[tail..], "a wedge is mono");
    assert!(
        difference(&play(&wanted, false, recording), &audio) > 0.1,
        "asked for, but not recorded"
    );
}

#[test]
fn what_is_heard_of_a_feed_has_the_level_that_the_table_says() {
    // Half-correlated noise, the right channel 3 dB down; dry and wet depend on the split, the total is the closed form
    // of the feed's power (algebra).
    let (common, own) = (noise(48_000.0, 8.0), noise_of(3, 48_000.0, 8.0));
    let mix = |common: &[f32], own: &[f32], gain: f32| -> Vec<f32> {
        common
            .iter()
            .zip(own)
            .map(|(c, o)| gain * 0.7 * (c + o))
            .collect()
    };
    let audio = Stereo::new(
        48_000.0,
        mix(&common.left, &own.left, 1.0),
        mix(&common.left, &own.right, 0.708),
    );
    let mut recorder = plugin().unwrap();
    recorder.record_take(&audio, Blocks::Fixed(512), true).unwrap();
    let takes = State::decode(&recorder.save_state().unwrap())
        .unwrap()
        .takes()
        .unwrap();
    let rows = takes[0].rows(&Rig::default(), 0.0);
    for (number, row) in (0..).zip(&rows) {
        if matches!(row.id, FeedId::MonoSubs | FeedId::MonoSubsLineFlipped) {
            // Their changes are relative to the band they play.
            continue;
        }
        let how = Play {
            offline: true,
            events: vec![
                ParamEvent::step("audbnc", 1),
                ParamEvent::step("feed", number),
                ParamEvent::step("aud", 1),
            ],
            ..Play::default()
        };
        let heard = plugin().unwrap().play(&audio, &how).unwrap();
        let heard_db = 10.0 * (late_power(&heard) / late_power(&audio)).log10();
        let score = row.score.unwrap();
        let table_db = score.total_db - score.makeup_db;
        assert!(
            (heard_db - table_db).abs() < 0.1,
            "{}: heard at {heard_db:.2} dB, the table says {table_db:.2} dB",
            row.id.name()
        );
    }
}

/// Mean power of both channels over the second half.
fn late_power(audio: &Stereo) -> f64 {
    let skip = audio.len_samples() / 2;
    let power = |channel: &[f32]| channel[skip..].iter().map(|s| f64::from(*s).powi(2)).sum::<f64>();
    (power(&audio.left) + power(&audio.right)) / (2 * (audio.len_samples() - skip)) as f64
}

#[test]
fn audition_is_restored_and_not_heard() {
    let audio = noise(48_000.0, 0.5);
    let mut plugin = plugin().unwrap();
    let how = Play {
        events: vec![
            ParamEvent::step("aud", 1),
            ParamEvent::step("audbnc", 1),
            ParamEvent::step("feed", 2),
        ],
        ..Play::default()
    };
    assert!(difference(&plugin.play(&audio, &how).unwrap(), &audio) > 0.01);
    let saved = plugin.save_state().unwrap();
    let mut again = another();
    again.load_state(&saved).unwrap();
    assert_eq!(
        again.param("feed").unwrap().text,
        "Left line only",
        "everything is restored"
    );
    assert_eq!(again.param("aud").unwrap().value, 1.0);
    assert_eq!(again.param("audbnc").unwrap().value, 1.0);
    assert_same_bits(
        &again.play(&audio, &Play::default()).unwrap(),
        &audio,
        "after loading",
    );
}

/// A second plugin, in scopes where the name `plugin` is taken.
fn another() -> Plugin {
    plugin().unwrap()
}

#[test]
fn state_comes_back_as_it_was() {
    let mut plugin = plugin().unwrap();
    let events = vec![
        plugin.change(0, "l_gain", "-20 dB").unwrap(),
        plugin.change(0, "r_del", "1.25 ms").unwrap(),
        plugin.change(0, "l_hp", "30 Hz").unwrap(),
        ParamEvent::step("r_pol", 1),
        ParamEvent::step("l_unp", 1),
        ParamEvent::step("law", 2),
        ParamEvent::step("integ", 0),
        ParamEvent::step("feed", 7),
        ParamEvent::step("match", 1),
        ParamEvent::step("kind", 2),
    ];
    let how = Play {
        events,
        ..Play::default()
    };
    plugin.play(&noise(48_000.0, 0.1), &how).unwrap();
    let saved = plugin.save_state().unwrap();
    let state = State::decode(&saved).unwrap();
    assert_eq!(state.params["l_gain"], -20.0);
    assert_eq!(state.params["r_del"], 1.25);
    assert_eq!(state.params["l_hp"], 30.0);
    assert_eq!(state.version, env!("CARGO_PKG_VERSION"));

    let mut again = another();
    again.load_state(&saved).unwrap();
    let values = |plugin: &mut Plugin| -> Vec<(String, String)> {
        plugin
            .params()
            .unwrap()
            .into_iter()
            .map(|p| (p.name, p.text))
            .collect()
    };
    assert_eq!(values(&mut again), values(&mut plugin));
    assert_eq!(State::decode(&again.save_state().unwrap()).unwrap(), state);
    assert!(
        again.rescans() > 0,
        "the host was not told to read the parameters again"
    );
}

#[test]
fn broken_state_is_refused_and_changes_nothing() {
    let mut plugin = plugin().unwrap();
    let gain = plugin.change(0, "l_gain", "-6 dB").unwrap();
    let how = Play {
        events: vec![gain],
        ..Play::default()
    };
    plugin.play(&noise(48_000.0, 0.1), &how).unwrap();
    let saved = plugin.save_state().unwrap();
    let mut rng = Rng::new(11);
    let invalid: Vec<u8> = (0..500).map(|_| rng.below(256) as u8).collect();
    let mut wrong_json = 12_u64.to_le_bytes().to_vec();
    wrong_json.extend_from_slice(b"{\"params\": 3");
    let mut endless = u64::MAX.to_le_bytes().to_vec();
    endless.extend_from_slice(b"{}");
    for (what, bytes) in [
        ("nothing", &[][..]),
        ("invalid", &invalid),
        ("cut short", &saved[..saved.len() / 2]),
        ("wrong JSON", &wrong_json),
        ("an endless length", &endless),
    ] {
        assert!(plugin.load_state(bytes).is_err(), "{what} was taken");
        let after = State::decode(&plugin.save_state().unwrap()).unwrap();
        assert_eq!(after, State::decode(&saved).unwrap(), "{what} changed something");
    }
}

#[test]
fn values_out_of_range_in_a_state_are_brought_into_range() {
    let mut plugin = plugin().unwrap();
    let mut state = State::decode(&plugin.save_state().unwrap()).unwrap();
    state.params["l_gain"] = serde_json::json!(4000.0);
    state.params["r_del"] = serde_json::json!(-3.0);
    plugin.load_state(&state.encode()).unwrap();
    let state = State::decode(&plugin.save_state().unwrap()).unwrap();
    assert_eq!(state.params["l_gain"], 20.0);
    assert_eq!(state.params["r_del"], 0.0);
}

#[test]
fn what_a_newer_version_wrote_is_kept_word_for_word() {
    let mut plugin = plugin().unwrap();
    let mut state = State::decode(&plugin.save_state().unwrap()).unwrap();
    let from_the_future = serde_json::json!({"lines": [1, 2.5, "three"], "nested": {"deep": null}});
    state.version = "99.0.0".to_owned();
    state.fields.insert("future".to_owned(), from_the_future.clone());
    state.params.insert("futpar".to_owned(), serde_json::json!(0.25));
    plugin.load_state(&state.encode()).unwrap();
    let once = plugin.save_state().unwrap();
    let mut again = another();
    again.load_state(&once).unwrap();
    let json = String::from_utf8_lossy(&again.save_state().unwrap()[8..]).into_owned();
    for kept in ["futpar", "three", "99.0.0"] {
        assert!(json.contains(kept), "'{kept}' is gone: {json}");
    }
}
