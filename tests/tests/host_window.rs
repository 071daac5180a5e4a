//! The plugin's own window, embedded in a host's, with audio running.
#![allow(
    clippy::unwrap_used,
    reason = "a panic is how a test fails, in its helpers too"
)]

use std::time::Duration;
use sumproof_signals::demo_preset;
use sumproof_tests::host::editor::Editor;
use sumproof_tests::host::setup::plugin;
use sumproof_tests::host::{Play, Stereo};

fn demo() -> Stereo {
    const RATE_HZ: f64 = 48_000.0;
    let preset = demo_preset(RATE_HZ).full();
    let narrowed = |channel: &[f64]| channel.iter().map(|&sample| sample as f32).collect();
    Stereo::new(RATE_HZ, narrowed(&preset.left), narrowed(&preset.right))
}

#[test]
fn it_opens_draws_resizes_and_closes_again_and_again() {
    let mut plugin = plugin().unwrap();
    let running = plugin.start_realtime(demo(), Play::default()).unwrap();
    let open_files = || std::fs::read_dir("/proc/self/fd").unwrap().count();
    // The window's own thread ends after the host was told that it's closed: only files that stay open are lost.
    let settled = |at_most: usize| {
        (0..300).any(|_| {
            std::thread::sleep(Duration::from_millis(100));
            open_files() <= at_most
        })
    };
    let files_before = open_files();
    let mut files_after_first = usize::MAX;
    for round in 0..4 {
        let mut editor = Editor::open(&mut plugin, "Sumproof under test").unwrap();
        // Software drawing of the first frame takes its time; the sight of letters ends the wait.
        let mut colours = 0;
        for _ in 0..100 {
            editor.pump(&mut plugin, Duration::from_millis(100)).unwrap();
            colours = editor.capture().unwrap().colours();
            if colours > 16 {
                break;
            }
        }
        // Smoothed letters alone make dozens of shades.
        assert!(colours > 16, "round {round}: the window shows {colours} colours");
        let (width, height) = editor.size();
        // To and fro, because the window comes back in the size it was left in.
        let wish = if round % 2 == 0 {
            (width + 120, height + 80)
        } else {
            (width - 120, height - 80)
        };
        editor.resize(&mut plugin, wish.0, wish.1).unwrap();
        editor.pump(&mut plugin, Duration::from_millis(300)).unwrap();
        let picture = editor.capture().unwrap();
        assert_eq!((picture.width, picture.height), editor.size(), "round {round}");
        editor.close(&mut plugin).unwrap();
        if round == 0 {
            // What the first window loads for good (drivers, fonts) may stay; its connection must not.
            settled(files_before);
            files_after_first = open_files();
        }
    }
    assert!(
        settled(files_after_first),
        "open files grew from {files_after_first} to {}",
        open_files()
    );
    let played = running.played_samples();
    assert!(played > 0);
    plugin.stop_realtime(running).unwrap();
    // With the window closed it still processes.
    plugin.play(&demo(), &Play::default()).unwrap();
}
