//! Plays noise through a CLAP plugin with its parameters held: `cargo xtask bench` counts its instructions.
//!
//! `sumproof-cost PLUGIN.clap ID BLOCK COUNT [PARAMETER=VALUE[@N]…]`: COUNT blocks of BLOCK frames at 48 kHz; a VALUE
//! is 0 to 1 along the range of a continuous parameter, the step's number of a stepped one, set with the Nth block (0).
//! Exits with 0 on success, 1 when the plugin refused, 2 for a wrong command line.
#![allow(
    clippy::cast_possible_truncation,
    reason = "a test chooses the numbers it converts"
)]

use std::path::Path;
use std::process::ExitCode;
use sumproof_signals::Rng;
use sumproof_tests::host::{Blocks, HostError, Library, ParamEvent, ParamId, Play, Stereo};

const RATE_HZ: f64 = 48_000.0;

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let Some((path, id, block, count, held)) = parsed(&args) else {
        eprintln!("usage: sumproof-cost PLUGIN.clap ID BLOCK COUNT [PARAMETER=VALUE[@N]…]");
        return ExitCode::from(2);
    };
    match played(Path::new(path), id, block, count, held) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("sumproof-cost: {error}");
            ExitCode::FAILURE
        }
    }
}

fn parsed(args: &[String]) -> Option<(&str, &str, u32, usize, Vec<ParamEvent>)> {
    let [path, id, block, count, held @ ..] = args else {
        return None;
    };
    let block = block.parse().ok().filter(|&block| block > 0)?;
    let held: Option<Vec<ParamEvent>> = held
        .iter()
        .map(|one| {
            let (param, value) = one.split_once('=')?;
            let (value, number) = value.split_once('@').unwrap_or((value, "0"));
            Some(ParamEvent {
                at_sample: number.parse::<usize>().ok()? * block as usize,
                param: ParamId::from_key(param),
                value: value.parse().ok()?,
            })
        })
        .collect();
    Some((path, id, block, count.parse().ok()?, held?))
}

fn played(path: &Path, id: &str, block: u32, count: usize, held: Vec<ParamEvent>) -> Result<(), HostError> {
    let mut rng = Rng::new(11);
    let frames = count * block as usize;
    let mut noise = || (0..frames).map(|_| rng.between(-0.3, 0.3) as f32).collect();
    let audio = Stereo::new(RATE_HZ, noise(), noise());
    let how = Play {
        blocks: Blocks::Fixed(block),
        events: held,
        ..Play::default()
    };
    let mut plugin = Library::load(path)?.instantiate(id)?;
    // A host ignores parameters that a plugin doesn't have, and the count would be of something else.
    let there = plugin.params().unwrap_or_default();
    let missing = |change: &&ParamEvent| there.iter().all(|param| param.id != change.param);
    if let Some(change) = how.events.iter().find(missing) {
        return Err(HostError::NoSuchParam(change.param.0.to_string()));
    }
    plugin.play(&audio, &how)?;
    Ok(())
}
