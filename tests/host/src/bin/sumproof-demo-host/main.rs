//! Hosts the bundled plugin and shows the figures of every feed for a recording. `cargo xtask demo` calls it.
#![allow(
    clippy::cast_possible_truncation,
    reason = "a test chooses the numbers it converts"
)]

mod listen;
mod window;

use clap::Parser;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use sumproof_cli::read_stereo;
use sumproof_core::score::rig::Rig;
use sumproof_core::session::take::Take;
use sumproof_host::setup::CLAP_ID;
use sumproof_host::{Library, Stereo};
use sumproof_signals::demo_preset;

/// Sample rate of the preset that plays when no file is given.
const DEMO_RATE_HZ: f64 = 48_000.0;

/// The exit codes of unreadable recordings.
const OF_RECORDINGS: std::ops::RangeInclusive<u8> = 10..=19;

/// Host the plugin, play recordings through it, and say what every feed gets.
#[derive(Debug, Parser)]
#[command(
    version,
    after_help = exit_codes()
)]
struct Args {
    /// The plugin's .clap bundle
    #[arg(long)]
    clap: PathBuf,
    /// Folder for the WAV of every feed and the table as JSON
    #[arg(long)]
    out: PathBuf,
    /// Afterwards, open the plugin's window with the first recording running
    #[arg(long)]
    window: bool,
    /// Close the window by itself after so many seconds
    #[arg(long, value_name = "SECONDS", requires = "window")]
    close_after: Option<f64>,
    /// Stereo recordings of presets; without any, a preset of our own
    files: Vec<PathBuf>,
}

/// The meaning of every exit code. Recordings are read by the command's own reader, so its codes apply here too.
fn exit_codes() -> String {
    let mut text = String::from(
        "Exit codes (the other recordings are still played; with several bad ones: that of the first):\n   \
         0  done\n   \
         1  the plugin, the window or the output folder refused\n   \
         2  the command line was not understood\n",
    );
    for (code, meaning) in sumproof_cli::exit::TABLE
        .iter()
        .filter(|(code, _)| OF_RECORDINGS.contains(code))
    {
        text.push_str(&format!("  {code:>2}  {meaning}\n"));
    }
    text
}

/// A recording and its name.
pub struct Recording {
    name: String,
    audio: Stereo,
}

fn main() -> ExitCode {
    let args = Args::parse();
    let (recordings, unusable) = read_all(&args.files);
    match run(&args, &recordings) {
        Ok(()) => unusable.map_or(ExitCode::SUCCESS, ExitCode::from),
        Err(error) => {
            eprintln!("sumproof-demo-host: {error}");
            ExitCode::FAILURE
        }
    }
}

/// Reads all files. Each one that can't be read gets a line of its own; the exit code of the first is returned.
fn read_all(files: &[PathBuf]) -> (Vec<Recording>, Option<u8>) {
    if files.is_empty() {
        return (vec![demo()], None);
    }
    let mut unusable = None;
    let mut recordings = Vec::new();
    for path in files {
        match read_stereo(path) {
            Ok(file) => recordings.push(Recording {
                name: path
                    .file_stem()
                    .unwrap_or_default()
                    .to_string_lossy()
                    .into_owned(),
                audio: Stereo::new(file.rate_hz, file.left, file.right),
            }),
            Err(error) => {
                eprintln!("sumproof-demo-host: {error}");
                unusable = unusable.or(Some(sumproof_cli::exit::of(&error)));
            }
        }
    }
    (recordings, unusable)
}

fn demo() -> Recording {
    let preset = demo_preset(DEMO_RATE_HZ);
    let full = preset.full();
    let narrowed = |channel: &[f64]| channel.iter().map(|&sample| sample as f32).collect();
    Recording {
        name: preset.name,
        audio: Stereo::new(DEMO_RATE_HZ, narrowed(&full.left), narrowed(&full.right)),
    }
}

fn run(args: &Args, recordings: &[Recording]) -> Result<(), Box<dyn std::error::Error>> {
    let library = Library::load(&args.clap)?;
    let mut takes: Vec<Take> = Vec::new();
    let mut first_state = None;
    for recording in recordings {
        let (take, state) = listen::analyse(&mut library.instantiate(CLAP_ID)?, recording)?;
        println!("{}", sumproof_report::table(&take, &Rig::default()));
        let folder = args.out.join(&recording.name);
        listen::write_feeds(&mut library.instantiate(CLAP_ID)?, recording, &folder)?;
        println!("every feed to listen to: {}\n", folder.display());
        first_state.get_or_insert(state);
        takes.push(take);
    }
    if takes.is_empty() {
        return Ok(());
    }
    let table = args.out.join("feeds.json");
    write_text(&table, &sumproof_report::json(&takes, &Rig::default()))?;
    println!("the same as JSON: {}", table.display());
    if let (true, Some(first), Some(state)) = (args.window, recordings.first(), first_state) {
        window::show(
            &mut library.instantiate(CLAP_ID)?,
            first,
            &state,
            args.close_after,
        )?;
    }
    Ok(())
}

/// Writes a temporary file beside its target, then renames it into place.
fn write_text(path: &Path, text: &str) -> std::io::Result<()> {
    let partial = path.with_extension("part");
    std::fs::write(&partial, text)?;
    std::fs::rename(&partial, path)
}
