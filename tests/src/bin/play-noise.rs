//! Plays noise through any CLAP plugin, in blocks of random sizes, while its parameters move: a program of its own, so
//! that a plugin which aborts takes nobody else along.
//!
//! `play-noise PLUGIN.clap ID SECONDS`; ends with 0 when the plugin got through, 1 when it refused, 2 for a wrong command
//! line, or by the signal that the plugin raised.

use std::path::Path;
use std::process::ExitCode;
use sumproof_signals::Rng;
use sumproof_tests::host::{Blocks, HostError, Library, ParamEvent, Play, Stereo};

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [path, id, seconds] = args.as_slice() else {
        eprintln!("usage: play-noise PLUGIN.clap ID SECONDS");
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

/// Plays `seconds` of noise in real-time mode, then again offline, with a parameter changed about every 50 ms.
fn soak(path: &Path, id: &str, seconds: f64) -> Result<(), HostError> {
    const RATE_HZ: f64 = 48_000.0;
    let mut rng = Rng::new(7);
    let frames = (seconds * RATE_HZ) as usize;
    let mut noise = || (0..frames).map(|_| rng.between(-0.5, 0.5) as f32).collect();
    let audio = Stereo::new(RATE_HZ, noise(), noise());
    // What is on a second input has something to do with the sound.
    let side_chain = vec![audio.left.clone(), noise()];
    let mut plugin = Library::load(path)?.instantiate(id)?;
    // A plugin without any is fine too.
    let params = plugin.params().unwrap_or_default();
    for offline in [false, true] {
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
        let how = Play {
            blocks: Blocks::Random { seed: 5, max: 2048 },
            offline,
            events,
            side_chain: side_chain.clone(),
            ..Play::default()
        };
        plugin.play(&audio, &how)?;
        plugin.save_state()?;
    }
    Ok(())
}
