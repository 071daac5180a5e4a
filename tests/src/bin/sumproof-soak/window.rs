//! The editor's comings and goings.

use crate::held::Held;
use crate::{Outcome, noise, plugin, text};
use std::time::Duration;
use sumproof_tests::host::editor::Editor;
use sumproof_tests::host::setup::display_to_ourselves;
use sumproof_tests::host::{Play, Plugin};

/// Whether the window shows letters, after a while that is long even on a machine that is very busy.
fn has_letters(editor: &mut Editor, plugin: &mut Plugin) -> Result<bool, String> {
    editor.raise().map_err(text)?;
    for _ in 0..600 {
        editor.pump(plugin, Duration::from_millis(25)).map_err(text)?;
        // Smoothed letters alone make dozens of shades.
        if editor.capture().map_err(text)?.colours() > 16 {
            return Ok(true);
        }
    }
    Ok(false)
}

/// Opens, draws, closes.
pub fn open_and_close(turns: u32) -> Outcome {
    windows(turns, |_, editor, plugin| has_letters(editor, plugin))
}

/// Closes at once, or in the middle of the first frame.
pub fn close_at_once(turns: u32) -> Outcome {
    windows(turns, |turn, editor, plugin| {
        let millis = u64::from(turn) * 7 % 60;
        editor.pump(plugin, Duration::from_millis(millis)).map_err(text)?;
        Ok(true)
    })
}

/// What is done between opening a window and closing it; the number of the turn comes first.
/// Gives whether the window is as it should be.
type Meanwhile = fn(u32, &mut Editor, &mut Plugin) -> Result<bool, String>;

fn windows(turns: u32, meanwhile: Meanwhile) -> Outcome {
    let _display = display_to_ourselves();
    let mut plugin = plugin()?;
    let running = plugin
        .start_realtime(noise(1, 48_000.0, 48_000), Play::default())
        .map_err(text)?;
    let mut blank = 0;
    let mut round = |turn: u32, meanwhile: Meanwhile| -> Result<(), String> {
        let mut editor = Editor::open(&mut plugin, "Sumproof under test").map_err(text)?;
        let done = meanwhile(turn, &mut editor, &mut plugin);
        editor.close(&mut plugin).map_err(text)?;
        blank += u32::from(!done.map_err(|wrong| format!("turn {turn}: {wrong}"))?);
        Ok(())
    };
    // Drivers and fonts come with the first ones that are drawn.
    for turn in 0..4.min(turns) {
        round(turn, |_, editor, plugin| has_letters(editor, plugin))?;
    }
    let before = settled(None);
    for turn in 0..turns {
        round(turn, meanwhile)?;
    }
    let after = settled(Some(before));
    let played = running.played_samples();
    plugin.stop_realtime(running).map_err(text)?;
    if played == 0 {
        return Err("nothing was played meanwhile".to_owned());
    }
    // The windowing library asks the X server for a first frame before it listens for the answer; on a machine so busy that the
    // answer comes in between, the window stays blank until it is opened anew (docs/hosts.md).
    if blank > 1 + turns / 50 {
        return Err(format!("{blank} of {turns} windows stayed blank"));
    }
    // Mesa's software driver keeps nearly half a megabyte of every context (heaptrack: all but a few kB of what stays is its own).
    // A window of ours that stayed would be 15 MB.
    let grown = after.grown_since(before, 8192 + 700 * u64::from(turns))?;
    Ok(format!("{blank} stayed blank, {grown}"))
}

/// A window's own thread ends after the host was told that it is closed.
fn settled(wanted: Option<Held>) -> Held {
    for _ in 0..60 {
        let now = Held::now();
        match wanted {
            None => {
                std::thread::sleep(Duration::from_secs(1));
                return Held::now();
            }
            Some(wanted) if now.threads <= wanted.threads && now.files <= wanted.files => return now,
            Some(_) => std::thread::sleep(Duration::from_millis(200)),
        }
    }
    Held::now()
}

/// The host opens a window and never again calls the plugin's main thread, while it plays and saves.
pub fn without_idle(turns: u32) -> Outcome {
    let _display = display_to_ourselves();
    let mut plugin = plugin()?;
    let mut drawn = 0;
    for _ in 0..turns {
        let running = plugin
            .start_realtime(noise(1, 48_000.0, 48_000), Play::default())
            .map_err(text)?;
        let editor = Editor::open(&mut plugin, "Sumproof, left alone").map_err(text)?;
        editor.raise().map_err(text)?;
        for _ in 0..100 {
            std::thread::sleep(Duration::from_millis(100));
            if editor.capture().map_err(text)?.colours() > 16 {
                drawn += 1;
                break;
            }
        }
        running.set_param("lgain", 0.25);
        running.set_param("rec", 1.0);
        std::thread::sleep(Duration::from_millis(300));
        running.set_param("rec", 0.0);
        let before = running.played_samples();
        plugin.save_state().map_err(text)?;
        std::thread::sleep(Duration::from_millis(300));
        if running.played_samples() <= before {
            return Err("the sound stands still".to_owned());
        }
        editor.close(&mut plugin).map_err(text)?;
        plugin.stop_realtime(running).map_err(text)?;
    }
    // As many as may stay blank in any host, see above; one at least is drawn.
    if drawn == 0 || drawn + 1 + turns / 50 < turns {
        return Err(format!("of {turns} windows {drawn} were drawn"));
    }
    Ok(format!("{drawn} windows drawn"))
}
