//! An offline render with a side-chain take running, and the take's end: `sumproof-render SECONDS [PRESET]`, with the
//! plugin that SUMPROOF_CLAP names. Prints how many seconds of sound it renders per second of processor time of all
//! threads, and the cost of the take's end.
#![allow(
    clippy::cast_possible_truncation,
    reason = "a test chooses the numbers it converts"
)]

use std::process::ExitCode;
use std::time::Duration;

use sumproof_core::split::Method;
use sumproof_signals::{PresetKind, PresetSpec, render};
use sumproof_tests::host::cost::{process_time, thread_time};
use sumproof_tests::host::setup::side_chain_plugin;
use sumproof_tests::host::{Blocks, HostError, Plugin, State, Stereo};
use sumproof_tests::methods::narrowed_pair;

/// Interval at which the take's split is polled; the cost of polling is subtracted.
const LOOK_EVERY: Duration = Duration::from_millis(50);
/// Most polls.
const LOOKS: usize = 2400;

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let seconds = args.first().and_then(|seconds| seconds.parse::<f64>().ok());
    let Some(seconds) = seconds.filter(|seconds| (1.0..=600.0).contains(seconds)) else {
        eprintln!("usage: sumproof-render SECONDS, 1 to 600");
        return ExitCode::from(2);
    };
    for kind in [PresetKind::HalfCorrelatedReverb, PresetKind::DoubleTracked] {
        match rendered(kind, seconds) {
            Ok(line) => println!("{line}"),
            Err(error) => {
                eprintln!("{}: {error}", kind.id());
                return ExitCode::FAILURE;
            }
        }
    }
    ExitCode::SUCCESS
}

fn rendered(kind: PresetKind, seconds: f64) -> Result<String, HostError> {
    let preset = render(&PresetSpec {
        seconds,
        ..PresetSpec::new(kind)
    });
    let [left, right] = narrowed_pair(&preset.full(), 1.0);
    let audio = Stereo::new(preset.rate_hz, left, right);
    let narrowed = |channel: &[f64]| -> Vec<f32> { channel.iter().map(|&sample| sample as f32).collect() };
    let dry = preset.stereo_reference.as_ref().map_or_else(
        || vec![narrowed(&preset.reference)],
        |both| vec![narrowed(&both.left), narrowed(&both.right)],
    );
    let mut plugin = side_chain_plugin()?;
    let begun = process_time();
    plugin.record_take_beside(&audio, &dry, Blocks::Fixed(512), true)?;
    let (played, own) = (process_time(), thread_time());
    told(&mut plugin)?;
    // This thread only polled meanwhile.
    let looking = thread_time() - own;
    let render_s = (played - begun).as_secs_f64();
    let end_s = (process_time() - played).saturating_sub(looking).as_secs_f64();
    Ok(format!(
        "{:<24}{:>4} reference{} rendered at {:>5.1} times real time; the end of its take {:.2} s",
        kind.id(),
        dry.len(),
        if dry.len() == 1 { " " } else { "s" },
        seconds / render_s,
        end_s
    ))
}

/// Waits until the take is split by the side-chain.
fn told(plugin: &mut Plugin) -> Result<(), HostError> {
    for _ in 0..LOOKS {
        std::thread::sleep(LOOK_EVERY);
        let takes = State::decode(&plugin.save_state()?)?.takes()?;
        if takes.iter().any(|take| take.method() == Method::SideChain) {
            return Ok(());
        }
    }
    Err(HostError::Misuse("the side-chain told no take apart"))
}
