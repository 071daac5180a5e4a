//! Plays noise through any CLAP plugin, in blocks of random sizes, while its parameters move: a separate program, so a
//! plugin that aborts doesn't end the test run.
//!
//! `play-noise PLUGIN.clap ID SECONDS [--watched|--through]`; exits with 0 on success, 1 when the plugin refused, 2 for
//! a wrong command line, or by the signal that the plugin raised. With `--watched` it plays in real time only, and
//! exits with 3 if the plugin makes a system call while it processes. With `--through` no parameter moves, and it exits
//! with 1 if the output differs from the input.
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a test chooses the numbers it converts"
)]

use std::path::Path;
use std::process::ExitCode;
use std::time::Duration;
use sumproof_signals::Rng;
use sumproof_tests::host::{Blocks, HostError, Library, ParamEvent, Play, Plugin, Stereo};

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let (args, soak): (_, Soak) = match args.as_slice() {
        [args @ .., last] if last == "--watched" => (args, watched_soak),
        [args @ .., last] if last == "--through" => (args, through),
        args => (args, fast_soak),
    };
    let [path, id, seconds] = args else {
        eprintln!("usage: play-noise PLUGIN.clap ID SECONDS [--watched|--through]");
        return ExitCode::from(2);
    };
    let Ok(seconds) = seconds.parse::<f64>() else {
        eprintln!("play-noise: '{seconds}' is no number of seconds");
        return ExitCode::from(2);
    };
    match soak(Path::new(path), id, seconds) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("play-noise: {error}");
            ExitCode::FAILURE
        }
    }
}

/// A way of playing a number of seconds through a plugin.
type Soak = fn(&Path, &str, f64) -> Result<(), HostError>;

const RATE_HZ: f64 = 48_000.0;

/// The noise, and a second input correlated with it.
fn noise(seconds: f64, rng: &mut Rng) -> (Stereo, Vec<Vec<f32>>) {
    let frames = (seconds * RATE_HZ) as usize;
    let mut noise = || (0..frames).map(|_| rng.between(-0.5, 0.5) as f32).collect();
    let audio = Stereo::new(RATE_HZ, noise(), noise());
    let side_chain = vec![audio.left.clone(), noise()];
    (audio, side_chain)
}

/// A parameter changed about every 50 ms. A plugin without any is fine too.
fn changes(plugin: &mut Plugin, frames: usize, rng: &mut Rng) -> Vec<ParamEvent> {
    let params = plugin.params().unwrap_or_default();
    let mut events = Vec::new();
    let mut at_sample = 0;
    while at_sample < frames && !params.is_empty() {
        let param = &params[rng.below(params.len())];
        let value = rng.between(param.min, param.max);
        events.push(ParamEvent {
            at_sample,
            param: param.id,
            value: if param.stepped { value.round() } else { value },
        });
        at_sample += rng.below(4800);
    }
    events
}

/// Plays `seconds` of noise in real-time mode, then again offline, both as fast as possible.
fn fast_soak(path: &Path, id: &str, seconds: f64) -> Result<(), HostError> {
    let mut rng = Rng::new(7);
    let (audio, side_chain) = noise(seconds, &mut rng);
    let mut plugin = Library::load(path)?.instantiate(id)?;
    for offline in [false, true] {
        let how = Play {
            blocks: Blocks::Random { seed: 5, max: 2048 },
            offline,
            events: changes(&mut plugin, audio.len_samples(), &mut rng),
            side_chain: side_chain.clone(),
            ..Play::default()
        };
        plugin.play(&audio, &how)?;
        plugin.save_state()?;
    }
    Ok(())
}

/// Plays `seconds` of noise in real time, with system calls watched.
fn watched_soak(path: &Path, id: &str, seconds: f64) -> Result<(), HostError> {
    let mut rng = Rng::new(8);
    let (audio, side_chain) = noise(seconds, &mut rng);
    let frames = audio.len_samples();
    let mut plugin = Library::load(path)?.instantiate(id)?;
    let how = Play {
        blocks: Blocks::Random { seed: 6, max: 1024 },
        events: changes(&mut plugin, frames, &mut rng),
        side_chain,
        no_system_calls: true,
        ..Play::default()
    };
    let running = plugin.start_realtime(audio, how)?;
    while running.played_samples() < frames && !running.has_ended() {
        std::thread::sleep(Duration::from_millis(20));
        plugin.answer();
    }
    plugin.stop_realtime(running)
}

/// Plays `seconds` of noise through a plugin that passes sound, twice, with a pause in between for its threads.
fn through(path: &Path, id: &str, seconds: f64) -> Result<(), HostError> {
    let mut rng = Rng::new(9);
    let (audio, side_chain) = noise(seconds, &mut rng);
    let mut plugin = Library::load(path)?.instantiate(id)?;
    let how = Play {
        side_chain,
        ..Play::default()
    };
    let bits = |channel: &[f32]| channel.iter().map(|sample| sample.to_bits()).collect::<Vec<_>>();
    for _ in 0..2 {
        let out = plugin.play(&audio, &how)?;
        if bits(&out.left) != bits(&audio.left) || bits(&out.right) != bits(&audio.right) {
            return Err(HostError::Misuse("the sound did not come out as it went in"));
        }
        std::thread::sleep(Duration::from_millis(700));
        plugin.save_state()?;
    }
    Ok(())
}
