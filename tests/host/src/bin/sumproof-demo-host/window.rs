//! The plugin's own window on a running recording.

use crate::Recording;
use std::time::{Duration, Instant};
use sumproof_host::editor::Editor;
use sumproof_host::{HostError, Play, Plugin};

/// How long the window's events are handled between two looks at the clock.
const TURN: Duration = Duration::from_millis(100);

/// Opens the window with the recording looping in real time, until the user closes it or the time is up.
///
/// # Errors
/// A refusal of the plugin or the display.
pub fn show(
    plugin: &mut Plugin,
    recording: &Recording,
    state: &[u8],
    close_after_s: Option<f64>,
) -> Result<(), HostError> {
    plugin.load_state(state)?;
    let running = plugin.start_realtime(recording.audio.clone(), Play::default())?;
    let mut editor = Editor::open(plugin, &format!("Sumproof: {}", recording.name))?;
    eprintln!(
        "the window is open and {} runs through it in a loop",
        recording.name
    );
    eprintln!("(this host has no sound output: listen to the WAV files); close the window to end");
    let opened = Instant::now();
    let time_is_up = || close_after_s.is_some_and(|seconds| opened.elapsed().as_secs_f64() >= seconds);
    while editor.is_open() && !time_is_up() {
        editor.pump(plugin, TURN)?;
    }
    editor.close(plugin)?;
    plugin.stop_realtime(running)
}
