//! The VST3 in hosts that automate it while its editor is opened and closed.

use crate::held::{Held, kept_by_driver_kb};
use crate::{Outcome, text};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::time::Duration;
use sumproof_host::setup::{display_to_ourselves, vst3_bundle};
use sumproof_host::vst3::{Library, Loop, Player, Plugin, REAL_TIME};
use sumproof_signals::Rng;

/// Editors per instance before it is removed.
const EDITORS_EACH: u32 = 10;
/// Frames of a block: at 48 kHz one every 1.3 ms.
const FRAMES: usize = 64;

/// Plays block after block until `stop` is set, changing one or two parameters in each.
fn automate(player: &Player, params: &[u32], stop: &AtomicBool, blocks: &AtomicU32) -> Result<(), String> {
    let mut rng = Rng::new(11);
    while !stop.load(Ordering::Relaxed) {
        let mut sound = [vec![0.1; FRAMES], vec![0.1; FRAMES]];
        let changes: Vec<(u32, f64)> = (0..1 + rng.below(2))
            .map(|_| (params[rng.below(params.len())], rng.uniform()))
            .collect();
        player.block(&mut sound, &changes, 1).map_err(text)?;
        blocks.fetch_add(1, Ordering::Relaxed);
        std::thread::sleep(Duration::from_micros(1300));
    }
    Ok(())
}

/// Opens and closes the editor of one instance; every third time the host has no event loop.
fn editors(plugin: &Plugin, turns: std::ops::Range<u32>, blocks: &AtomicU32) -> Result<(), String> {
    for turn in turns {
        let event_loop = if turn % 3 == 2 { Loop::None } else { Loop::Offered };
        let editor = plugin.open(event_loop).map_err(text)?;
        let before = blocks.load(Ordering::Relaxed);
        editor.pump(Duration::from_millis([0, 5, 40][turn as usize / 3 % 3]));
        if turn % 9 == 8 && blocks.load(Ordering::Relaxed) == before {
            return Err(format!("turn {turn}: nothing was played meanwhile"));
        }
        let left = editor.close().map_err(text)?;
        if left > 0 {
            return Err(format!("turn {turn}: {left} handlers stayed in the event loop"));
        }
    }
    Ok(())
}

fn instance(library: &Library, turns: std::ops::Range<u32>) -> Result<u32, String> {
    let plugin = library.make(0).map_err(text)?;
    plugin.setup(48_000.0, FRAMES as i32, REAL_TIME).map_err(text)?;
    let (stop, blocks) = (Arc::new(AtomicBool::new(false)), Arc::new(AtomicU32::new(0)));
    let (player, params) = (plugin.player(), plugin.params());
    let audio = {
        let (stop, blocks) = (Arc::clone(&stop), Arc::clone(&blocks));
        std::thread::spawn(move || automate(&player, &params, &stop, &blocks))
    };
    let opened = editors(&plugin, turns, &blocks);
    stop.store(true, Ordering::Relaxed);
    audio.join().map_err(|_| "the audio thread panicked")??;
    opened?;
    plugin.suspend();
    Ok(blocks.load(Ordering::Relaxed))
}

/// Automates parameters while the editor is opened and closed, then removes the instance.
pub fn automated_editors(turns: u32) -> Outcome {
    let _display = display_to_ourselves();
    let library = Library::load(&vst3_bundle()).map_err(text)?;
    // The first ones load drivers and fonts.
    instance(&library, 0..EDITORS_EACH.min(turns))?;
    let before = Held::now();
    let mut blocks = 0;
    for first in (0..turns).step_by(EDITORS_EACH as usize) {
        blocks += instance(&library, first..(first + EDITORS_EACH).min(turns))?;
    }
    let grown = Held::now().grown_since(before, kept_by_driver_kb(turns))?;
    Ok(format!("{turns} editors, {blocks} blocks automated, {grown}"))
}
