//! What the shell around the framework's VST3 wrapper promises (`plugin/src/vst3`), by a host of our own.

use std::time::{Duration, Instant};
use sumproof_host::ParamId;
use sumproof_host::setup::{display_to_ourselves, vst3_bundle};
use sumproof_host::vst3::{Library, Loop, OFFLINE, Plugin, REAL_TIME};
use sumproof_signals::Rng;

/// The plain plugin and the one with a side-chain, by their places in the library.
const PLAIN: i32 = 0;
const SIDE_CHAIN: i32 = 1;

fn plugin(index: i32) -> Plugin {
    Library::load(&vst3_bundle()).unwrap().make(index).unwrap()
}

fn id(key: &str) -> u32 {
    ParamId::from_key(key).0
}

fn noise(frames: usize) -> [Vec<f32>; 2] {
    let mut rng = Rng::new(3);
    [(); 2].map(|()| (0..frames).map(|_| rng.between(-0.5, 0.5) as f32).collect())
}

/// Plays blocks at the pace of a sound card; whether all of them came out as they went in.
fn passes_at_real_pace(plugin: &Plugin, changes: &[(u32, f64)]) -> bool {
    let player = plugin.player();
    let mut changes = changes;
    let mut due = Instant::now();
    (0..60).all(|_| {
        let sound = noise(480);
        let mut block = sound.clone();
        player.block(&mut block, changes, 1).unwrap();
        changes = &[];
        due += Duration::from_millis(10);
        std::thread::sleep(due.saturating_duration_since(Instant::now()));
        block == sound
    })
}

/// The first setup already tells the plugin that it bounces; and as slowly as it may bounce, what is auditioned isn't printed.
#[test]
fn a_slow_bounce_is_known_from_its_first_block() {
    let hears_mono = [(id("aud"), 1.0)];
    let bounced = plugin(PLAIN);
    bounced.setup(48_000.0, 480, OFFLINE).unwrap();
    assert!(passes_at_real_pace(&bounced, &hears_mono));
    // Told to, it is printed: so something was to be heard at all.
    bounced.suspend();
    bounced.setup(48_000.0, 480, OFFLINE).unwrap();
    assert!(!passes_at_real_pace(
        &bounced,
        &[(id("aud"), 1.0), (id("audbnc"), 1.0)]
    ));
}

/// At the pace of a sound card, in a host that says it plays in real time, it is heard once that has been seen.
#[test]
fn in_real_time_what_is_auditioned_is_heard() {
    let plugin = plugin(PLAIN);
    plugin.setup(48_000.0, 480, REAL_TIME).unwrap();
    let mut changes = &[(id("aud"), 1.0)][..];
    // On a busy machine the pace isn't always kept.
    let heard = (0..40).any(|_| !passes_at_real_pace(&plugin, std::mem::take(&mut changes)));
    assert!(heard);
}

/// A host that asks a plugin it hasn't activated, without any sound: bypass on, saved, off, loaded.
#[test]
fn bypass_comes_back_from_a_state() {
    let plugin = plugin(PLAIN);
    plugin.setup(48_000.0, 480, REAL_TIME).unwrap();
    plugin.suspend();
    let bypass = id("byp");
    let set = |value| {
        plugin.process_silently(true);
        plugin.player().flush(&[(bypass, value)]).unwrap();
        plugin.process_silently(false);
    };
    set(1.0);
    assert_eq!(plugin.value(bypass), 1.0);
    let saved = plugin.save().unwrap();
    set(0.0);
    assert_eq!(plugin.value(bypass), 0.0);
    plugin.load(saved).unwrap();
    assert_eq!(plugin.value(bypass), 1.0);
    // By the host's own controls, while nothing plays.
    plugin.set_value(bypass, 0.0);
    assert_eq!(plugin.value(bypass), 0.0);
}

#[test]
fn busses_that_are_not_brought_are_not_read() {
    for index in [PLAIN, SIDE_CHAIN] {
        let plugin = plugin(index);
        plugin.setup(48_000.0, 480, REAL_TIME).unwrap();
        let player = plugin.player();
        let sound = noise(480);
        let mut block = sound.clone();
        player.block(&mut block, &[], 1).unwrap();
        assert_eq!(block, sound, "plugin {index}");
        player.block(&mut block, &[], 0).unwrap();
        assert!(block.iter().flatten().all(|sample| sample.is_finite()));
    }
}

#[test]
fn a_parameter_after_the_last_is_none() {
    for index in [PLAIN, SIDE_CHAIN] {
        let plugin = plugin(index);
        let count = plugin.params().len() as i32;
        assert!(plugin.info(count - 1).is_some());
        assert!(plugin.info(count).is_none());
        assert!(plugin.info(-1).is_none());
    }
}

/// A state may come from any thread.
#[test]
fn another_thread_loads_a_state() {
    let plugin = plugin(PLAIN);
    let gain = id("l_gain");
    plugin.set_value(gain, 0.25);
    let saved = plugin.save().unwrap();
    plugin.set_value(gain, 0.75);
    let elsewhere = plugin.loader();
    std::thread::spawn(move || elsewhere.load(saved).unwrap())
        .join()
        .unwrap();
    assert!((plugin.value(gain) - 0.25).abs() < 1e-6);
}

/// Null, sizes and scales that no window has, keys without a meaning, from the view's own thread and from another: each is answered,
/// none with yes, and the window goes on being one.
#[test]
fn rude_calls_of_its_view_are_answered() {
    let _display = display_to_ourselves();
    for event_loop in [Loop::Offered, Loop::None] {
        let plugin = plugin(PLAIN);
        plugin.setup(48_000.0, 480, REAL_TIME).unwrap();
        let editor = plugin.open(event_loop).unwrap();
        for _ in 0..3 {
            let here = editor.rude_calls();
            let elsewhere = editor.rude_calls_from_elsewhere().unwrap();
            for (what, answer) in here.into_iter().chain(elsewhere) {
                assert_ne!(answer, 0, "{what} was taken");
            }
            editor.pump(Duration::from_millis(50));
        }
        assert!(editor.resize(900, 700), "a size that is one");
        assert_eq!(editor.close().unwrap(), 0);
        plugin.suspend();
    }
}
