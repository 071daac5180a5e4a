//! `sumproof card`.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use sumproof_cli::input::rig::{self, RigError};
use sumproof_cli::{exit, output, shown};
use sumproof_core::score::rig::Rig;
use sumproof_report::formats::written::LARGEST_BYTES;
use sumproof_report::rig::card::{CardForm, Paper, Preset, card, presets_of_json};

#[derive(Args)]
pub struct Arguments {
    /// Rig file with your lines and the card's texts (see docs/rig-file.md)
    #[arg(value_name = "RIG.toml")]
    rig: PathBuf,

    /// Results of `sumproof check --format json`: presets at risk are named on the card
    #[arg(value_name = "TAKES.json")]
    takes: Vec<PathBuf>,

    /// Format of the card [default: by the extension of --output]
    #[arg(long, value_enum)]
    format: Option<Format>,

    /// Output file; without --format its name must end in .html or .pdf
    #[arg(long, short, value_name = "FILE")]
    output: PathBuf,

    /// Paper size
    #[arg(long, value_enum, default_value_t = PaperIs::A4)]
    paper: PaperIs,
}

#[derive(Clone, Copy, ValueEnum)]
enum Format {
    /// For sending: one file, needs no network
    Html,
    /// For printing
    Pdf,
}

#[derive(Clone, Copy, ValueEnum)]
enum PaperIs {
    /// 210 × 297 mm
    A4,
    /// 8.5 × 11 inch
    Letter,
}

/// Runs the subcommand and returns the exit code.
pub fn run(arguments: &Arguments) -> u8 {
    match make(arguments) {
        Ok(bytes) => output::hand_over(Some(&arguments.output), &bytes, exit::FINE),
        Err(error) => error.end(),
    }
}

fn make(arguments: &Arguments) -> Result<Vec<u8>, RigError> {
    let form = match arguments.format {
        Some(Format::Html) => CardForm::Html,
        Some(Format::Pdf) => CardForm::Pdf,
        None => form_of(&arguments.output)?,
    };
    let file = rig::read(&arguments.rig)?;
    let mut presets = Vec::new();
    for path in &arguments.takes {
        presets.extend(presets_of(path, &file.rig())?);
    }
    let paper = match arguments.paper {
        PaperIs::A4 => Paper::A4,
        PaperIs::Letter => Paper::Letter,
    };
    let made = card(&file, &presets, paper, form)
        .map_err(|error| RigError::Wrong(format!("{}: {error}", shown(&arguments.rig))))?;
    for notice in made.notices() {
        eprintln!("{}: {notice}", shown(&arguments.output));
    }
    Ok(made.bytes)
}

fn form_of(path: &Path) -> Result<CardForm, RigError> {
    let ending = path
        .extension()
        .map(|ending| ending.to_string_lossy().to_lowercase());
    match ending.as_deref() {
        Some("html" | "htm") => Ok(CardForm::Html),
        Some("pdf") => Ok(CardForm::Pdf),
        _ => Err(RigError::Usage(format!(
            "{}: the name says neither HTML nor PDF; end it in .html or .pdf, or add --format",
            shown(path)
        ))),
    }
}

fn presets_of(path: &Path, rig: &Rig) -> Result<Vec<Preset>, RigError> {
    let name = shown(path);
    let text = rig::text(path, LARGEST_BYTES, "file of takes")?;
    presets_of_json(&text, rig).map_err(|error| RigError::Wrong(format!("{name}: {error}")))
}
