//! Opening and closing the editor.

use crate::held::{Held, kept_by_driver_kb};
use crate::{Outcome, noise, plugin, text};
use std::time::Duration;
use sumproof_tests::host::editor::{Editor, Tempo};
use sumproof_tests::host::setup::display_to_ourselves;
use sumproof_tests::host::{Play, Plugin};

/// Whether the window shows letters, within a time that is long even on a very busy machine.
fn has_letters(editor: &mut Editor, plugin: &mut Plugin) -> Result<bool, String> {
    editor.raise().map_err(text)?;
    for _ in 0..600 {
        editor.pump(plugin, Duration::from_millis(25)).map_err(text)?;
        // Antialiased letters alone have dozens of shades.
        if editor.capture().map_err(text)?.colours() > 16 {
            return Ok(true);
        }
    }
    Ok(false)
}

/// Whether the window continues to draw what is played.
fn moves(editor: &mut Editor, plugin: &mut Plugin) -> Result<bool, String> {
    editor.raise().map_err(text)?;
    editor.pump(plugin, Duration::from_millis(25)).map_err(text)?;
    let before = editor.capture().map_err(text)?;
    for _ in 0..600 {
        editor.pump(plugin, Duration::from_millis(25)).map_err(text)?;
        if editor.capture().map_err(text)? != before {
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

/// The action between opening and closing a window; the first argument is the turn. Returns whether the window is as it
/// should be.
type Meanwhile = fn(u32, &mut Editor, &mut Plugin) -> Result<bool, String>;

fn windows(turns: u32, meanwhile: Meanwhile) -> Outcome {
    let _display = display_to_ourselves();
    let mut plugin = plugin()?;
    let running = plugin
        .start_realtime(noise(1, 48_000.0, 48_000), Play::default())
        .map_err(text)?;
    let mut round = |turn: u32, meanwhile: Meanwhile| -> Result<(), String> {
        let mut editor =
            Editor::open_slowly(&mut plugin, "Sumproof under test", tempo(turn)).map_err(text)?;
        let done = meanwhile(turn, &mut editor, &mut plugin);
        editor.close(&mut plugin).map_err(text)?;
        match done {
            Ok(true) => Ok(()),
            Ok(false) => Err(format!("the window of turn {turn} stayed blank")),
            Err(wrong) => Err(format!("turn {turn}: {wrong}")),
        }
    };
    // The first ones drawn load drivers and fonts.
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
    after.grown_since(before, kept_by_driver_kb(turns))
}

/// The delays of hosts that pause between the steps of opening a window.
fn tempo(turn: u32) -> Tempo {
    let pick = |choices: [u64; 4], at: u32| Duration::from_millis(choices[at as usize % 4]);
    Tempo {
        before_parent: pick([0, 20, 60, 120], turn),
        before_show: pick([0, 0, 30, 90], turn / 4),
        own_window_late: (turn % 5 == 4).then_some(Duration::from_millis(40)),
    }
}

/// Two playing plugins with a window each, opened and closed in any order.
pub fn pair(turns: u32) -> Outcome {
    let _display = display_to_ourselves();
    let mut pair = Vec::new();
    for seed in [1, 2] {
        let mut plugin = plugin()?;
        let running = plugin
            .start_realtime(noise(seed, 48_000.0, 48_000), Play::default())
            .map_err(text)?;
        pair.push((plugin, running));
    }
    for turn in 0..turns {
        let mut windows = Vec::new();
        for (number, (plugin, _)) in pair.iter_mut().enumerate() {
            let title = format!("Sumproof, number {number}");
            windows.push(Editor::open_slowly(plugin, &title, tempo(turn + number as u32)).map_err(text)?);
        }
        for ((plugin, _), window) in pair.iter_mut().zip(&mut windows) {
            if !has_letters(window, plugin)? {
                return Err(format!("a window of turn {turn} stayed blank"));
            }
        }
        // The remaining one continues to draw when the other is closed.
        let first = turn as usize % 2;
        let gone = windows.remove(first);
        gone.close(&mut pair[first].0).map_err(text)?;
        let (plugin, _) = &mut pair[1 - first];
        let Some(mut left) = windows.pop() else { continue };
        if !moves(&mut left, plugin)? {
            return Err(format!("the window that was left in turn {turn} stands still"));
        }
        left.close(plugin).map_err(text)?;
    }
    for (mut plugin, running) in pair {
        if running.played_samples() == 0 {
            return Err("nothing was played meanwhile".to_owned());
        }
        plugin.stop_realtime(running).map_err(text)?;
    }
    Ok(format!("{} windows drawn", 2 * turns))
}

/// Waits for the window's own thread, which ends after the host was told that the window is closed.
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

/// The host opens a window and never calls the plugin's main thread again, while it plays and saves.
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
        for _ in 0..150 {
            std::thread::sleep(Duration::from_millis(100));
            if editor.capture().map_err(text)?.colours() > 16 {
                drawn += 1;
                break;
            }
        }
        running.set_param("l_gain", 0.25);
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
    if drawn < turns {
        return Err(format!("of {turns} windows {drawn} were drawn"));
    }
    Ok(format!("{drawn} windows drawn"))
}
