//! Plays noise through a CLAP plugin with its parameters held: what `cargo xtask bench` counts the instructions of.
//!
//! `sumproof-cost PLUGIN.clap ID BLOCK COUNT [PARAMETER=VALUE…]`: COUNT blocks of BLOCK frames at 48 kHz; a VALUE is 0 to 1
//! along the range of a continuous parameter, the step's number of a stepped one. Ends with 0 when the plugin got through, 1
//! when it refused, 2 for a wrong command line.

use std::path::Path;
use std::process::ExitCode;
use sumproof_signals::Rng;
use sumproof_tests::host::{Blocks, HostError, Library, ParamEvent, ParamId, Play, Stereo};

const RATE_HZ: f64 = 48_000.0;

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let Some((path, id, block, count, held)) = parsed(&args) else {
        eprintln!("usage: sumproof-cost PLUGIN.clap ID BLOCK COUNT [PARAMETER=VALUE…]");
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
    let held: Option<Vec<ParamEvent>> = held
        .iter()
        .map(|one| {
            let (param, value) = one.split_once('=')?;
            Some(ParamEvent {
                at_sample: 0,
                param: ParamId::from_key(param),
                value: value.parse().ok()?,
            })
        })
        .collect();
    let block = block.parse().ok().filter(|&block| block > 0)?;
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
    Library::load(path)?.instantiate(id)?.play(&audio, &how)?;
    Ok(())
}
