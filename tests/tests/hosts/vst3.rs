//! The guarantees of the shell around the framework's VST3 wrapper (`plugin/src/vst3`), in a host of our own.

use std::time::{Duration, Instant};
use sumproof_host::ParamId;
use sumproof_host::setup::{display_to_ourselves, vst3_bundle};
use sumproof_host::vst3::{Library, Loop, OFFLINE, Plugin, REAL_TIME};
use sumproof_signals::Rng;

/// Index of the plain plugin in the library.
const PLAIN: i32 = 0;
/// Index of the plugin with a side-chain.
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

/// Plays blocks in real time; returns whether all of them came out unchanged.
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

/// The first setup already tells the plugin that it bounces; even a slow bounce must not contain the audition.
#[test]
fn a_slow_bounce_is_known_from_its_first_block() {
    let hears_mono = [(id("aud"), 1.0)];
    let bounced = plugin(PLAIN);
    bounced.setup(48_000.0, 480, OFFLINE).unwrap();
    assert!(passes_at_real_pace(&bounced, &hears_mono));
    // With the audition included in bounces it is printed, which proves that there was one.
    bounced.suspend();
    bounced.setup(48_000.0, 480, OFFLINE).unwrap();
    assert!(!passes_at_real_pace(
        &bounced,
        &[(id("aud"), 1.0), (id("audbnc"), 1.0)]
    ));
}

/// In a host that reports real time, the audition is heard once the plugin has observed real-time playing.
#[test]
fn in_real_time_what_is_auditioned_is_heard() {
    let plugin = plugin(PLAIN);
    plugin.setup(48_000.0, 480, REAL_TIME).unwrap();
    let mut changes = &[(id("aud"), 1.0)][..];
    // A busy machine doesn't always keep real time.
    let heard = (0..40).any(|_| !passes_at_real_pace(&plugin, std::mem::take(&mut changes)));
    assert!(heard);
}

/// In a plugin that isn't activated, without sound: bypass on, save, off, load.
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
    // By the host's own controls, without playing.
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

/// Null, impossible sizes and scales, meaningless keys, from the view's own thread and from another: each is answered,
/// none with success, and the window keeps working.
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
