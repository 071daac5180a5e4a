//! Repeats what hosts may do to a plugin: `sumproof-soak CASE [--turns N]`.
//!
//! Each case runs in a separate process, which makes leaks countable and isolates crashes. `tests/tests/hosts/soak.rs`
//! runs all of them with few turns, `cargo xtask soak` with many. Exits with 0 and a line of figures, or with 1 and the
//! fault.
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_possible_wrap,
    reason = "a test chooses the numbers it converts"
)]

mod calls;
mod ends;
mod held;
mod instances;
mod layouts;
mod memory;
mod sound;
mod states;
mod vst3;
mod window;

use clap::Parser;
use clap::builder::{PossibleValue, PossibleValuesParser};
use std::process::ExitCode;
use sumproof_signals::Rng;
use sumproof_tests::host::setup::{CLAP_ID, clap_bundle};
use sumproof_tests::host::{Library, Plugin, Stereo};

/// The outcome of a case: its figures in a line, or the fault.
type Outcome = Result<String, String>;

/// A case: something that hosts do.
struct Case {
    name: &'static str,
    about: &'static str,
    /// Turns in a test run.
    few: u32,
    /// Turns in a long run.
    many: u32,
    run: fn(u32) -> Outcome,
}

const CASES: [Case; 18] = [
    Case {
        name: "load",
        about: "the library loaded, a plugin made, played and taken out, the library unloaded",
        few: 200,
        many: 2000,
        run: instances::load,
    },
    Case {
        name: "crowd",
        about: "64 plugins at once, all playing",
        few: 1,
        many: 20,
        run: instances::crowd,
    },
    Case {
        name: "rates",
        about: "sample rate, block sizes and kind of rendering changed between activations, 8 to 192 kHz, blocks of 1 to 8192",
        few: 40,
        many: 2000,
        run: sound::rates,
    },
    Case {
        name: "layouts",
        about: "busses of one channel or of none handed to a stereo plugin",
        few: 4,
        many: 50,
        run: layouts::layouts,
    },
    Case {
        name: "automation",
        about: "every parameter moved at every sample (turns: tenths of a second)",
        few: 10,
        many: 600,
        run: sound::automation,
    },
    Case {
        name: "renders",
        about: "the same sound rendered offline and in real time, heard through every feed",
        few: 1,
        many: 20,
        run: sound::renders,
    },
    Case {
        name: "suspend",
        about: "bypassed, suspended and resumed at any moment, with a take being recorded",
        few: 20,
        many: 1000,
        run: sound::suspend,
    },
    Case {
        name: "states",
        about: "the state saved and loaded at any moment of playing",
        few: 100,
        many: 5000,
        run: states::any_moment,
    },
    Case {
        name: "damage",
        about: "states cut short and with bits flipped, loaded",
        few: 10_000,
        many: 200_000,
        run: states::damage,
    },
    Case {
        name: "damaged-takes",
        about: "the same with takes in the state",
        few: 300,
        many: 10_000,
        run: states::damaged_takes,
    },
    Case {
        name: "window",
        about: "the editor opened, drawn and closed while it plays, by hosts in a hurry and by slow ones",
        few: 200,
        many: 200,
        run: window::open_and_close,
    },
    Case {
        name: "window-at-once",
        about: "the editor closed before it has drawn",
        few: 4,
        many: 200,
        run: window::close_at_once,
    },
    Case {
        name: "window-pair",
        about: "two plugins with their editors open, closed in any order",
        few: 2,
        many: 50,
        run: window::pair,
    },
    Case {
        name: "no-idle",
        about: "an editor whose host never calls the plugin on its main thread",
        few: 2,
        many: 20,
        run: window::without_idle,
    },
    Case {
        name: "ends",
        about: "processes that end, or unload the library, right after one or two windows were closed",
        few: 8,
        many: 4000,
        run: ends::ends,
    },
    Case {
        name: "vst3-editor",
        about: "a VST3's parameters automated while its editor is opened and closed, the instance then taken out",
        few: 12,
        many: 500,
        run: vst3::automated_editors,
    },
    Case {
        name: "calls",
        about: "what each call costs the thread that makes it while a take is recorded beside a side-chain, 8 to 192 kHz",
        few: 3,
        many: 25,
        run: calls::calls,
    },
    Case {
        name: "memory",
        about: "playing on and on; what it holds must not grow (turns: tenths of a minute of sound)",
        few: 10,
        many: 300,
        run: memory::play_on,
    },
];

#[derive(Parser)]
#[command(about = "Does to the plugin what a host may do to it", after_help = list())]
struct Arguments {
    /// What is done; without it, the cases and their few and many turns are listed
    #[arg(value_parser = names())]
    case: Option<String>,

    /// How often
    #[arg(long)]
    turns: Option<u32>,
}

/// The names accepted: the cases, and the single process that `ends` starts.
fn names() -> PossibleValuesParser {
    let cases = CASES.iter().map(|case| PossibleValue::new(case.name));
    cases
        .chain([PossibleValue::new(ends::ONE).hide(true)])
        .collect::<Vec<_>>()
        .into()
}

fn list() -> String {
    CASES
        .iter()
        .map(|case| format!("{:<14} {}\n", case.name, case.about))
        .collect()
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let Some(name) = arguments.case else {
        for case in CASES {
            println!("{} {} {}", case.name, case.few, case.many);
        }
        return ExitCode::SUCCESS;
    };
    if name == ends::ONE {
        return told(ends::ONE, ends::one_end(arguments.turns.unwrap_or(0)));
    }
    let Some(case) = CASES.iter().find(|case| case.name == name) else {
        return ExitCode::from(2);
    };
    let turns = arguments.turns.unwrap_or(case.few).max(1);
    told(
        case.name,
        (case.run)(turns).map(|figures| format!("{turns} turns, {figures}")),
    )
}

fn told(name: &str, outcome: Outcome) -> ExitCode {
    match outcome {
        Ok(figures) => {
            println!("{name}: {figures}");
            ExitCode::SUCCESS
        }
        Err(wrong) => {
            eprintln!("{name}: {wrong}");
            ExitCode::FAILURE
        }
    }
}

fn library() -> Result<Library, String> {
    Library::load(&clap_bundle()).map_err(text)
}

fn plugin() -> Result<Plugin, String> {
    library()?.instantiate(CLAP_ID).map_err(text)
}

fn text(error: impl std::fmt::Display) -> String {
    error.to_string()
}

fn noise(seed: u64, rate_hz: f64, frames: usize) -> Stereo {
    let mut rng = Rng::new(seed);
    let mut channel = || (0..frames).map(|_| rng.between(-0.5, 0.5) as f32).collect();
    Stereo::new(rate_hz, channel(), channel())
}

/// Checks that the output equals the input, bit for bit.
fn same_bits(got: &Stereo, want: &Stereo, what: &str) -> Result<(), String> {
    for (got, want) in [(&got.left, &want.left), (&got.right, &want.right)] {
        let differs = got.iter().zip(want).position(|(g, w)| g.to_bits() != w.to_bits());
        if let Some(at) = differs {
            return Err(format!(
                "{what}: sample {at} is {:?}, not {:?}",
                got[at], want[at]
            ));
        }
        if got.len() != want.len() {
            return Err(format!("{what}: {} samples, not {}", got.len(), want.len()));
        }
    }
    Ok(())
}
