//! A window that panics says so, and neither the sound nor the host is affected. The panic happens in a separate
//! process, triggered by a variable (`plugin/src/testing/faults.rs`).
use std::process::Command;
use std::time::Duration;
use sumproof_tests::host::editor::Editor;
use sumproof_tests::host::setup::{display_to_ourselves, plugin};
use sumproof_tests::host::{Play, Plugin, Stereo};

/// Number of shades in the window, once it is as wanted or after a time limit.
fn shades(editor: &mut Editor, plugin: &mut Plugin, wanted: impl Fn(usize) -> bool) -> usize {
    let mut colours = 0;
    editor.raise().unwrap();
    for _ in 0..150 {
        editor.pump(plugin, Duration::from_millis(100)).unwrap();
        colours = editor.capture().unwrap().colours();
        if wanted(colours) {
            break;
        }
    }
    colours
}

/// The variable that tells the process how many shades an intact window has.
const WHOLE: &str = "SUMPROOF_TEST_SHADES";

fn tone() -> Stereo {
    let channel = || (0..48_000).map(|n| (n as f32 * 0.05).sin() * 0.3).collect();
    Stereo::new(48_000.0, channel(), channel())
}

#[test]
fn a_window_that_breaks_takes_nobody_along() {
    if let Ok(whole) = std::env::var(WHOLE) {
        return break_one(whole.parse().unwrap());
    }
    let _display = display_to_ourselves();
    let mut plugin = plugin().unwrap();
    let running = plugin.start_realtime(tone(), Play::default()).unwrap();
    let mut editor = Editor::open(&mut plugin, "Sumproof under test").unwrap();
    let whole = shades(&mut editor, &mut plugin, |colours| colours > 60);
    editor.close(&mut plugin).unwrap();
    plugin.stop_realtime(running).unwrap();
    // The same test in a process in which windows panic.
    let run = Command::new(std::env::current_exe().unwrap())
        .args([
            "--exact",
            "window_breaks::a_window_that_breaks_takes_nobody_along",
            "--nocapture",
        ])
        .env(WHOLE, whole.to_string())
        .env("SUMPROOF_FAULT", "window:3")
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&run.stderr);
    assert!(run.status.success(), "{}\n{said}", run.status);
    assert!(said.contains("a fault on purpose"), "nothing broke:\n{said}");
}

fn break_one(whole: usize) {
    let mut plugin = plugin().unwrap();
    let running = plugin.start_realtime(tone(), Play::default()).unwrap();
    // Twice, because a window that panicked can be closed and opened again.
    for round in 0..2 {
        let mut editor = Editor::open(&mut plugin, "Sumproof breaking").unwrap();
        // One line of text, whereas an intact sheet also has coloured parts.
        let few = |colours: usize| colours > 16 && colours < whole / 2;
        let broken = shades(&mut editor, &mut plugin, few);
        assert!(
            few(broken),
            "round {round}: {broken} shades, {whole} in a whole window"
        );
        let played = running.played_samples();
        editor.pump(&mut plugin, Duration::from_millis(500)).unwrap();
        assert!(running.played_samples() > played, "the sound goes on");
        plugin.save_state().unwrap();
        editor.close(&mut plugin).unwrap();
    }
    plugin.stop_realtime(running).unwrap();
}
