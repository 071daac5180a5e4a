//! `sumproof linecheck`: make the test signal, read its recording.

use std::path::{Path, PathBuf};

use clap::{Args, Subcommand, ValueEnum};
use sumproof_cli::input::rig;
use sumproof_cli::output::wav;
use sumproof_cli::{exit, output, read_recording, shown};
use sumproof_core::line_check::{
    Findings, Generator, LONGEST_S, Mode, Plan, ReadFailure, SignalSettings, read,
};
use sumproof_report::line_check::{NotKnown, html, json, save, text};
use sumproof_report::rig::file::LARGEST_BYTES;
use sumproof_wording::line_check::advice;

#[derive(Args)]
pub struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Write the test signal, a stereo WAV of less than half a minute to play through your rig
    #[command(after_help = exit::help(exit::Subcommand::Make))]
    Make(Make),

    /// Report what the lines did to the signal, from a recording of what arrived
    #[command(after_help = exit::help(exit::Subcommand::Read))]
    Read(Read),
}

/// What maker and reader must agree on.
#[derive(Args)]
struct Signal {
    /// For one mono source that feeds both lines: plays the signal three times, with pauses to unplug each line by hand
    #[arg(long)]
    mono: bool,

    /// Length of the pauses for changing plugs, seconds (with --mono)
    #[arg(long, value_name = "SECONDS", requires = "mono", default_value_t = 8.0)]
    pause: f64,

    /// Lowest and highest frequency of the sweeps, Hz
    #[arg(long, value_name = "HZ", num_args = 2, default_values_t = [20.0, 20_000.0])]
    band: Vec<f64>,

    /// Length of each sweep, seconds
    #[arg(long, value_name = "SECONDS", default_value_t = 2.0)]
    length: f64,
}

impl Signal {
    fn settings(&self) -> SignalSettings {
        SignalSettings {
            mode: if self.mono {
                Mode::Mono { pause_s: self.pause }
            } else {
                Mode::Stereo
            },
            low_hz: self.band[0],
            high_hz: self.band[1],
            sweep_s: self.length,
            ..SignalSettings::default()
        }
    }
}

#[derive(Args)]
struct Make {
    /// Output file
    #[arg(long, short, value_name = "FILE.wav", default_value = "line-check.wav")]
    output: PathBuf,

    /// Peak level, dBFS
    #[arg(long, value_name = "DBFS", allow_negative_numbers = true, default_value_t = -20.0)]
    level: f64,

    /// Sample rate, Hz
    #[arg(long, value_name = "HZ", default_value_t = 48_000, value_parser = clap::value_parser!(u32).range(44_100..=192_000))]
    rate: u32,

    #[command(flatten)]
    signal: Signal,
}

#[derive(Args)]
struct Read {
    /// The recording as your phone made it (a video will do), mono or stereo, 8 to 192 kHz
    #[arg(value_name = "RECORDING")]
    file: PathBuf,

    /// Output format
    #[arg(long, value_enum, default_value_t = Printed::Table)]
    format: Printed,

    /// Output file [default: standard output]
    #[arg(long, short, value_name = "FILE")]
    output: Option<PathBuf>,

    /// Save what was found as your own feed in this rig file; the rest of the file stays as it is
    #[arg(long, value_name = "RIG.toml")]
    save: Option<PathBuf>,

    /// Name of that feed
    #[arg(long, value_name = "NAME", default_value = "as measured", requires = "save")]
    name: String,

    #[command(flatten)]
    signal: Signal,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Printed {
    /// Text: the sentence for the engineer, and what was found
    Table,
    /// For other programs; described in SCHEMA.md
    Json,
    /// Web page, with pictures
    Html,
}

/// Runs the subcommand and returns the exit code.
pub fn run(arguments: &Arguments) -> u8 {
    let done = match &arguments.command {
        Command::Make(arguments) => make(arguments),
        Command::Read(arguments) => read_file(arguments),
    };
    match done {
        Ok(()) => exit::FINE,
        Err((line, code)) => {
            eprintln!("{line}");
            code
        }
    }
}

/// The test signal is written as WAV: a name with another extension is refused.
fn is_wav(path: &Path) -> Result<(), (String, u8)> {
    let Some(ending) = path.extension() else {
        return Ok(());
    };
    if ["wav", "wave"]
        .iter()
        .any(|known| ending.eq_ignore_ascii_case(known))
    {
        return Ok(());
    }
    Err((
        format!(
            "{}: the test signal is written as WAV; end the name in .wav",
            shown(path)
        ),
        exit::USAGE,
    ))
}

fn make(arguments: &Make) -> Result<(), (String, u8)> {
    is_wav(&arguments.output)?;
    let settings = SignalSettings {
        level_dbfs: arguments.level,
        ..arguments.signal.settings()
    };
    let plan = plan(settings)?;
    let reach_hz = 0.47 * f64::from(arguments.rate);
    if settings.high_hz > reach_hz {
        return Err((
            format!(
                "--band: {} Hz can't be carried at {} Hz; give at most {reach_hz:.0}",
                settings.high_hz, arguments.rate
            ),
            exit::USAGE,
        ));
    }
    let (seconds, pauses) = (plan.seconds(), plan.pauses_s());
    let mut generator = Generator::new(plan, f64::from(arguments.rate));
    let frames = usize::try_from(generator.frames()).unwrap_or(usize::MAX);
    let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
    generator.fill(&mut left, &mut right);
    let bytes = wav::pcm24(&left, &right, arguments.rate);
    output::write_whole(&arguments.output, &bytes)
        .map_err(|error| (output::refused(&arguments.output, &error), exit::OUTPUT))?;
    let form = output::form(None, false);
    let file = format!(
        "{}: {seconds:.1} s, peaks at {} dBFS",
        shown(&arguments.output),
        settings.level_dbfs
    );
    let mut said = form.paragraph(&file, 2);
    for (start, what) in pauses.iter().zip([
        "unplug the right line",
        "plug the right line again and unplug the left one",
    ]) {
        let text = format!("at {start:.1} s, for {} s: {what}", arguments.signal.pause);
        said += &form.hanging("  ", &text, 4);
    }
    for line in advice(settings.mode) {
        said += &form.hanging("- ", line, 2);
    }
    said += &format!(
        "Then: sumproof linecheck read{} RECORDING\n",
        again(&arguments.signal)
    );
    output::deliver(None, said.as_bytes()).map_err(|line| (line, exit::OUTPUT))
}

/// The options that have to be repeated for the reader.
fn again(signal: &Signal) -> String {
    let mut options = String::new();
    if signal.mono {
        options += " --mono";
        if signal.pause != 8.0 {
            options += &format!(" --pause {}", signal.pause);
        }
    }
    if signal.band != [20.0, 20_000.0] {
        options += &format!(" --band {} {}", signal.band[0], signal.band[1]);
    }
    if signal.length != 2.0 {
        options += &format!(" --length {}", signal.length);
    }
    options
}

fn plan(settings: SignalSettings) -> Result<Plan, (String, u8)> {
    Plan::new(settings).map_err(|error| (error.to_string(), exit::USAGE))
}

fn read_file(arguments: &Read) -> Result<(), (String, u8)> {
    let plan = plan(arguments.signal.settings())?;
    let path = &arguments.file;
    let finding = {
        let recording =
            read_recording(path, LONGEST_S).map_err(|error| (error.to_string(), exit::of(&error)))?;
        let channels: Vec<&[f32]> = recording.channels.iter().map(Vec::as_slice).collect();
        read(&channels, recording.rate_hz, &plan)
            .map_err(|failure| (format!("{}: {failure}", shown(path)), code(&failure)))?
    };
    let name = shown(Path::new(path.file_name().unwrap_or(path.as_os_str())));
    let place = arguments.output.as_deref();
    let said = match arguments.format {
        Printed::Table => text(&finding, &name, output::form(place, false)),
        Printed::Json => json(&finding, &name) + "\n",
        Printed::Html => html(&finding, &name),
    };
    output::deliver(place, said.as_bytes()).map_err(|line| (line, exit::OUTPUT))?;
    match &arguments.save {
        Some(rig) => keep(rig, &finding, &arguments.name),
        None => Ok(()),
    }
}

/// Writes the finding into a rig file, which may exist already.
fn keep(rig: &Path, finding: &Findings, name: &str) -> Result<(), (String, u8)> {
    let existing = if rig.exists() {
        rig::text(rig, LARGEST_BYTES, "rig file").map_err(|error| (error.to_string(), exit::RIG_FILE))?
    } else {
        String::new()
    };
    let merged = save(&existing, finding, name).map_err(|reason| {
        let code = match reason {
            NotKnown::TooLittle => exit::SIGNAL_WEAK,
            NotKnown::Wrong(_) => exit::RIG_FILE,
        };
        (format!("{}: {reason}", shown(rig)), code)
    })?;
    output::write_whole(rig, merged.as_bytes()).map_err(|error| (output::refused(rig, &error), exit::OUTPUT))
}

fn code(failure: &ReadFailure) -> u8 {
    match failure {
        ReadFailure::Shape => exit::NO_FRAMES,
        ReadFailure::Silence => exit::SILENT,
        ReadFailure::NotNumbers => exit::NOT_NUMBERS,
        ReadFailure::NotFound => exit::NO_SIGNAL,
        ReadFailure::Partial { .. } => exit::SIGNAL_PART,
        ReadFailure::TooShort { .. } => exit::SIGNAL_SHORT,
        ReadFailure::TooLong { .. } => exit::SIGNAL_LONG,
        ReadFailure::Faint => exit::SIGNAL_WEAK,
    }
}
