//! `sumproof check`.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use indicatif::{ProgressBar, ProgressStyle};
use sumproof_cli::analyse::analyse_with;
use sumproof_cli::{exit, output, passes};
use sumproof_core::board::Rig;
use sumproof_core::take::Take;

/// Steps of the progress bar for one file.
const STEPS: u64 = 1000;

#[derive(Args)]
pub struct Arguments {
    /// Stereo WAV, AIFF, FLAC, MP3 or Ogg Vorbis files, 8 to 192 kHz
    #[arg(required_unless_present = "dry", value_name = "FILE")]
    files: Vec<PathBuf>,

    /// The same part with all effects off: with --wet, dry and wet are known instead of estimated. FILE may then be the
    /// part as it is, which checks the two
    #[arg(long, value_name = "FILE", requires = "wet")]
    dry: Option<PathBuf>,

    /// The same part with the dry off
    #[arg(long, value_name = "FILE", requires = "dry")]
    wet: Option<PathBuf>,

    /// What to print
    #[arg(long, value_enum, default_value_t = Form::Table)]
    format: Form,

    /// Write there instead of to the terminal
    #[arg(long, value_name = "FILE")]
    output: Option<PathBuf>,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Form {
    /// For people
    Table,
    /// For programs: see SCHEMA.md
    Json,
}

/// Runs it and returns the exit code.
pub fn run(arguments: &Arguments) -> u8 {
    let rig = Rig::default();
    let (takes, code) = match (&arguments.dry, &arguments.wet) {
        (Some(dry), Some(wet)) => match analyse_passes(dry, wet, &arguments.files) {
            Ok(done) => done,
            Err(code) => return code,
        },
        _ => analyse_all(&arguments.files),
    };
    let text = match arguments.format {
        Form::Json => sumproof_report::json(&takes, &rig) + "\n",
        Form::Table => takes
            .iter()
            .map(|take| sumproof_report::table(take, &rig))
            .collect::<Vec<_>>()
            .join("\n"),
    };
    let written = match &arguments.output {
        Some(path) => output::write_whole(path, text.as_bytes()).map_err(|error| {
            format!(
                "{}: could not be written ({error}); choose another place",
                path.display()
            )
        }),
        None => to_terminal(&text),
    };
    match written {
        Ok(()) => code,
        Err(line) => {
            eprintln!("{line}");
            exit::OUTPUT
        }
    }
}

/// The one take of two passes, and the exit code; or the code alone, when its line has been said.
fn analyse_passes(dry: &Path, wet: &Path, files: &[PathBuf]) -> Result<(Vec<Take>, u8), u8> {
    let full = match files {
        [] => None,
        [full] => Some(full.as_path()),
        _ => {
            eprintln!("with --dry and --wet name one FILE at the most: the same part as it is");
            return Err(exit::USAGE);
        }
    };
    match passes::split(dry, wet, full) {
        Ok(passes) => {
            if let Some(check) = &passes.check {
                eprintln!("{}: {check}", passes.take.name);
            }
            let code = if passes.holds { exit::FINE } else { exit::PASSES };
            Ok((vec![passes.take], code))
        }
        Err(error) => {
            eprintln!("{error}");
            Err(error.exit_code())
        }
    }
}

/// Every file that can be read, and the exit code of the first that can't. A bad one gets its line and the others go on.
fn analyse_all(files: &[PathBuf]) -> (Vec<Take>, u8) {
    // Draws only where somebody sees it: not into a pipe.
    let bar = ProgressBar::new(STEPS * files.len() as u64);
    if let Ok(style) = ProgressStyle::with_template("{bar:40} {percent:>3} %  {eta} left  {msg}") {
        bar.set_style(style);
    }
    let mut takes = Vec::new();
    let mut code = exit::FINE;
    for (index, path) in files.iter().enumerate() {
        let done = STEPS * index as u64;
        bar.set_position(done);
        bar.set_message(path.display().to_string());
        match analyse_with(path, |share| {
            bar.set_position(done + (share * STEPS as f64) as u64)
        }) {
            Ok(take) => takes.push(take),
            Err(error) => {
                bar.suspend(|| eprintln!("{error}"));
                if code == exit::FINE {
                    code = error.exit_code();
                }
            }
        }
    }
    bar.finish_and_clear();
    (takes, code)
}

fn to_terminal(text: &str) -> Result<(), String> {
    let mut out = std::io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Ok(()) => Ok(()),
        // Whoever reads the pipe has seen enough.
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => Ok(()),
        Err(error) => Err(format!("the output could not be written ({error})")),
    }
}
