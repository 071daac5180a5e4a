//! Memory during long playing.

use crate::held::Held;
use crate::{Outcome, noise, plugin, same_bits, text};
use sumproof_signals::Rng;
use sumproof_tests::host::{Blocks, ParamEvent, Play, State};

/// Sound of a turn, seconds.
const TURN_S: usize = 6;

/// Plays as fast as the analysis follows (offline the plugin waits for it), in three activations of equal length;
/// settings change, takes are recorded and removed from the state again, states are saved.
pub fn play_on(turns: u32) -> Outcome {
    const RATE_HZ: f64 = 48_000.0;
    let mut rng = Rng::new(10);
    let mut plugin = plugin()?;
    let empty = plugin.save_state().map_err(text)?;
    let audio = noise(1, RATE_HZ, TURN_S * RATE_HZ as usize);
    let mut round = |turn: u32| -> Result<(), String> {
        let mut events = Vec::new();
        for at_sample in (0..audio.len_samples()).step_by(12_000) {
            let key = ["l_gain", "r_gain", "l_del", "r_del", "l_hp", "r_hp"][rng.below(6)];
            events.push(ParamEvent {
                at_sample,
                value: rng.uniform(),
                ..ParamEvent::step(key, 0)
            });
            events.push(ParamEvent {
                at_sample,
                ..ParamEvent::step("feed", rng.below(13) as u32)
            });
        }
        if turn.is_multiple_of(5) {
            events.push(ParamEvent::step("rec", 1));
            events.push(ParamEvent {
                at_sample: audio.len_samples() / 2,
                ..ParamEvent::step("rec", 0)
            });
        }
        events.sort_by_key(|event| event.at_sample);
        let how = Play {
            offline: true,
            blocks: Blocks::Fixed([64, 512, 480][turn as usize % 3]),
            events,
            ..Play::default()
        };
        same_bits(&plugin.play(&audio, &how).map_err(text)?, &audio, "playing on")?;
        let state = plugin.save_state().map_err(text)?;
        if turn.is_multiple_of(5) {
            let takes = State::decode(&state)
                .and_then(|state| state.takes())
                .map_err(text)?;
            if takes.len() != 1 {
                return Err(format!("{} takes, not one", takes.len()));
            }
            // As if the user deleted the take; takes that stay would use memory legitimately.
            plugin.load_state(&empty).map_err(text)?;
        }
        Ok(())
    };
    for turn in 0..5 {
        round(turn)?;
    }
    let before = Held::now();
    for turn in 0..turns {
        round(turn)?;
    }
    let minutes = f64::from(turns) * TURN_S as f64 / 60.0;
    let grown = Held::now().grown_since(before, 256)?;
    Ok(format!("{minutes:.1} minutes of sound, {grown}"))
}
