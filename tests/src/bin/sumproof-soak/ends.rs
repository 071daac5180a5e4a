//! Processes that end, or that unload the library, right after a window was closed.

use crate::{Outcome, text};
use std::process::Command;
use std::time::Duration;
use sumproof_host::Library;
use sumproof_host::editor::Editor;
use sumproof_host::setup::{CLAP_ID, clap_bundle, display_to_ourselves};

/// Number of windows in the processes that `ends` starts, by turn; after them comes the end or an unloading.
const WINDOWS: [usize; 4] = [1, 2, 1, 2];
/// Concurrent processes: more than there are processors, so each is interrupted at any point.
const AT_A_TIME: u32 = 6;

/// The name of the case of a single process.
pub const ONE: &str = "one-end";

/// Starts a process for every turn, and checks how each ends.
pub fn ends(turns: u32) -> Outcome {
    let _display = display_to_ourselves();
    let program = std::env::current_exe().map_err(text)?;
    let (mut died, mut complaints, mut unmapped) = (Vec::new(), 0, 0);
    for first in (0..turns).step_by(AT_A_TIME as usize) {
        let children: Vec<_> = (first..(first + AT_A_TIME).min(turns))
            .map(|turn| {
                let child = Command::new(&program)
                    .args([ONE, "--turns", &turn.to_string()])
                    .env("NICE_LOG", "stderr")
                    .stdout(std::process::Stdio::piped())
                    .stderr(std::process::Stdio::piped())
                    .spawn();
                (turn, child)
            })
            .collect();
        for (turn, child) in children {
            let output = child
                .and_then(std::process::Child::wait_with_output)
                .map_err(text)?;
            let (said, wrong) = (
                String::from_utf8_lossy(&output.stdout),
                String::from_utf8_lossy(&output.stderr),
            );
            if !output.status.success() {
                let last = wrong.lines().last().unwrap_or_default();
                died.push(format!("turn {turn}: {}: {last}", output.status));
            }
            unmapped += usize::from(said.contains("unloaded"));
            // The windowing library's message about a window destroyed before it was notified.
            complaints += wrong.lines().filter(|line| line.contains("X11")).count();
        }
    }
    let figures = format!(
        "{turns} processes, {} died, the library gone in {unmapped}, {complaints} complaints of X11",
        died.len()
    );
    if died.is_empty() && complaints == 0 {
        Ok(figures)
    } else {
        Err(format!("{figures}; {}", died.join("; ")))
    }
}

/// One such process: it ends, or unloads the library and then ends, as soon as its windows are closed.
pub fn one_end(turn: u32) -> Outcome {
    let kind = turn as usize % WINDOWS.len();
    let library = Library::load(&clap_bundle()).map_err(text)?;
    // The library's thread-local values keep it loaded until the thread has ended.
    let host = std::thread::spawn(move || open_and_close(turn, kind));
    host.join().map_err(|_| "the host's thread panicked")??;
    drop(library);
    let gone = !sumproof_host::vst3::Library::is_mapped(&clap_bundle());
    // Leaves time for code that still runs to crash.
    std::thread::sleep(Duration::from_millis(20));
    Ok(String::from(if gone { "unloaded" } else { "kept loaded" }))
}

fn open_and_close(turn: u32, kind: usize) -> Result<(), String> {
    let library = Library::load(&clap_bundle()).map_err(text)?;
    let mut open = Vec::new();
    for _ in 0..WINDOWS[kind] {
        let mut plugin = library.instantiate(CLAP_ID).map_err(text)?;
        let editor = Editor::open(&mut plugin, "Sumproof, soon closed").map_err(text)?;
        open.push((plugin, editor));
    }
    // Before, during and after its first drawing.
    let millis = [0, 3, 10, 30, 60, 120][turn as usize / WINDOWS.len() % 6];
    for (plugin, editor) in &mut open {
        editor.pump(plugin, Duration::from_millis(millis)).map_err(text)?;
    }
    let mut plugins = Vec::new();
    for (mut plugin, editor) in open {
        editor.close(&mut plugin).map_err(text)?;
        plugins.push(plugin);
    }
    if kind < WINDOWS.len() / 2 {
        // With everything else still alive, and with the exit handlers that libraries registered.
        std::process::exit(0);
    }
    Ok(())
}
