//! States saved and loaded at any moment, and damaged ones.

use crate::{Outcome, noise, plugin, text};
use std::time::Duration;
use sumproof_signals::Rng;
use sumproof_tests::fuzz::StateSubject;
use sumproof_tests::host::setup::workspace;
use sumproof_tests::host::{ParamEvent, Play, State};

/// Saves and loads while another thread plays and parameters move.
pub fn any_moment(turns: u32) -> Outcome {
    let mut rng = Rng::new(8);
    let mut plugin = plugin()?;
    let untouched = plugin.save_state().map_err(text)?;
    let mut states = vec![untouched.clone()];
    let running = plugin
        .start_realtime(noise(1, 48_000.0, 48_000), Play::default())
        .map_err(text)?;
    let (mut saved, mut loaded) = (0, 0);
    for turn in 0..turns {
        match rng.below(4) {
            0 => running.set_param(["l_gain", "r_del", "l_hp"][rng.below(3)], rng.uniform()),
            1 => running.set_param(["rec", "r_pol", "match"][rng.below(3)], rng.below(2) as f64),
            2 => {
                let bytes = plugin.save_state().map_err(text)?;
                State::decode(&bytes)
                    .map_err(|error| format!("turn {turn}, saved while it plays: {error}"))?;
                saved += 1;
                if states.len() < 32 {
                    states.push(bytes);
                }
            }
            _ => {
                let bytes = &states[rng.below(states.len())];
                plugin.load_state(bytes).map_err(text)?;
                loaded += 1;
            }
        }
        if rng.below(3) == 0 {
            std::thread::sleep(Duration::from_millis(rng.below(12) as u64));
        }
        if running.has_ended() {
            break;
        }
    }
    plugin.load_state(&untouched).map_err(text)?;
    plugin.stop_realtime(running).map_err(text)?;
    // The takes recorded meanwhile are in no state any more.
    let how = Play {
        events: vec![ParamEvent::step("rec", 0)],
        ..Play::default()
    };
    plugin.play(&noise(2, 48_000.0, 4800), &how).map_err(text)?;
    plugin.load_state(&untouched).map_err(text)?;
    let now = State::decode(&plugin.save_state().map_err(text)?).map_err(text)?;
    if now != State::decode(&untouched).map_err(text)? {
        return Err(format!("an untouched state, loaded last, gives {now:?}"));
    }
    Ok(format!("saved {saved} times and loaded {loaded} times"))
}

/// A small state, cut and with bits flipped.
pub fn damage(turns: u32) -> Outcome {
    let mut plugin = plugin()?;
    let event = plugin.change(0, "l_gain", "-6.5 dB").map_err(text)?;
    let how = Play {
        events: vec![event, ParamEvent::step("r_pol", 1)],
        ..Play::default()
    };
    plugin.play(&noise(1, 48_000.0, 512), &how).map_err(text)?;
    damaged(&plugin.save_state().map_err(text)?, turns)
}

/// The stored state with takes in it.
pub fn damaged_takes(turns: u32) -> Outcome {
    let path = workspace().join("tests/states/v0.1.0.json");
    let json = std::fs::read(&path).map_err(|error| format!("{}: {error}", path.display()))?;
    let mut stream = (json.len() as u64).to_le_bytes().to_vec();
    stream.extend_from_slice(&json);
    damaged(&stream, turns)
}

fn damaged(good: &[u8], turns: u32) -> Outcome {
    let mut rng = Rng::new(9);
    let mut subject = StateSubject::new();
    let (mut loaded, mut refused) = (0, 0);
    for turn in 0..turns {
        let mut bad = good.to_vec();
        match rng.below(3) {
            0 => bad.truncate(rng.below(good.len())),
            1 => flip(&mut bad, 0, &mut rng),
            // Of the right length, but cut inside, like a half-written file.
            _ => {
                let cut = 8 + rng.below(good.len() - 8);
                bad.truncate(cut);
                bad[..8].copy_from_slice(&((cut - 8) as u64).to_le_bytes());
                flip(&mut bad, 8, &mut rng);
            }
        }
        let came_of_it = subject
            .run(&bad)
            .map_err(|wrong| format!("turn {turn}: {wrong}"))?;
        if came_of_it == "refused" {
            refused += 1;
        } else {
            loaded += 1;
        }
    }
    if refused == 0 || (turns > 200 && loaded == 0) {
        return Err(format!(
            "{loaded} loaded and {refused} refused: nothing was tried"
        ));
    }
    Ok(format!(
        "{loaded} loaded whole, {refused} refused and nothing changed"
    ))
}

fn flip(bytes: &mut [u8], from: usize, rng: &mut Rng) {
    for _ in 0..1 << rng.below(4) {
        if bytes.len() > from {
            let at = from + rng.below(bytes.len() - from);
            bytes[at] ^= 1 << rng.below(8);
        }
    }
}
