//! `sumproof lines`.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use sumproof_cli::input::rig::{self, RigError};
use sumproof_cli::{exit, output};
use sumproof_core::routing::boxes::{DeskInput, Drive, Gig, Kind, Mains, Offered, limits};
use sumproof_report::rig::file::{PEAK_DBU, RigFile, RigLine};
use sumproof_report::rig::lines::{lines, lines_json, lines_table};

#[derive(Args)]
pub struct Arguments {
    /// Rig file with the boxes on your lines (see docs/rig-file.md)
    #[arg(value_name = "RIG.toml")]
    rig: Option<PathBuf>,

    /// Box on the left line [default: the rig file's]
    #[arg(long, value_name = "BOX", value_parser = kind_parser())]
    left: Option<String>,

    /// Box on the right line [default: the rig file's]
    #[arg(long, value_name = "BOX", value_parser = kind_parser())]
    right: Option<String>,

    /// Boxes of which you could get two, separated by commas [default: every kind]
    #[arg(long, value_name = "BOX", value_delimiter = ',', value_parser = kind_parser())]
    have: Vec<String>,

    /// Whether the stage and the desk are on the same mains supply
    #[arg(long, value_enum)]
    mains: Option<MainsAre>,

    /// Free inputs of the desk or stage box [default: whatever suits each box]
    #[arg(long, value_enum)]
    inputs: Option<Inputs>,

    /// Whether these inputs have phantom power on
    #[arg(long, value_enum)]
    phantom: Option<Switch>,

    /// Level of loud playing at your outputs, dBu rms [default: the rig file's]
    #[arg(long, value_name = "DBU", allow_negative_numbers = true)]
    level_dbu: Option<f64>,

    /// Highest peaks of loud playing, dBu [default: the rig file's]
    #[arg(long, value_name = "DBU", allow_negative_numbers = true)]
    peak_dbu: Option<f64>,

    /// Impedance of your outputs, ohms [default: the rig file's]
    #[arg(long, value_name = "OHM")]
    impedance_ohm: Option<f64>,

    /// How your outputs drive tip and ring [default: the rig file's]
    #[arg(long, value_enum)]
    drive: Option<DriveIs>,

    /// Output format
    #[arg(long, value_enum, default_value_t = Form::Table)]
    format: Form,

    /// Output file [default: standard output]
    #[arg(long, short, value_name = "FILE")]
    output: Option<PathBuf>,
}

#[derive(Clone, Copy, ValueEnum)]
enum MainsAre {
    /// The same supply
    Same,
    /// Different supplies, so that their grounds differ
    Separate,
}

#[derive(Clone, Copy, ValueEnum)]
enum Inputs {
    /// Microphone inputs only
    Mic,
    /// Line inputs only
    Line,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Switch {
    /// On
    On,
    /// Off
    Off,
}

#[derive(Clone, Copy, ValueEnum)]
enum DriveIs {
    /// Signal on the tip; the ring is grounded through the same impedance
    SingleEnded,
    /// Signal on both
    Symmetric,
}

#[derive(Clone, Copy, ValueEnum)]
enum Form {
    /// Text
    Table,
    /// For other programs; described in docs/boxes.md
    Json,
}

fn kind_parser() -> clap::builder::PossibleValuesParser {
    Kind::ALL.map(Kind::id).into()
}

/// Runs the subcommand and returns the exit code.
pub fn run(arguments: &Arguments) -> u8 {
    match report(arguments) {
        Ok(text) => output::hand_over(arguments.output.as_deref(), text.as_bytes(), exit::FINE),
        Err(error) => error.end(),
    }
}

fn report(arguments: &Arguments) -> Result<String, RigError> {
    let file = with_options(rig::read_or_default(arguments.rig.as_deref())?, arguments)?;
    let gig = Gig {
        mains: match arguments.mains {
            None => Mains::Unknown,
            Some(MainsAre::Same) => Mains::Same,
            Some(MainsAre::Separate) => Mains::Separate,
        },
        offered: match arguments.inputs {
            None => Offered::Either,
            Some(Inputs::Mic) => Offered::MicOnly,
            Some(Inputs::Line) => Offered::LineOnly,
        },
        phantom: arguments.phantom.map(|switch| switch == Switch::On),
    };
    let have: Vec<Kind> = if arguments.have.is_empty() {
        Kind::ALL.to_vec()
    } else {
        arguments.have.iter().filter_map(|id| Kind::from_id(id)).collect()
    };
    let report = lines(&file, &gig, &have);
    Ok(match arguments.format {
        Form::Table => lines_table(&report, output::form(arguments.output.as_deref(), false)),
        Form::Json => lines_json(&report) + "\n",
    })
}

/// The rig file with the values of the options in place of its own.
fn with_options(mut file: RigFile, arguments: &Arguments) -> Result<RigFile, RigError> {
    if let Some(level_dbu) = arguments.level_dbu {
        file.source.level_dbu = within("--level-dbu", level_dbu, &limits::LEVEL_DBU)?;
        file.level_known = true;
        // The file's peaks belong to the file's level.
        file.source.peak_dbu = None;
    }
    if let Some(peak_dbu) = arguments.peak_dbu {
        let range = file.source.level_dbu..=*PEAK_DBU.end();
        file.source.peak_dbu = Some(within("--peak-dbu", peak_dbu, &range)?);
    }
    if let Some(ohm) = arguments.impedance_ohm {
        file.source.impedance_ohm = within("--impedance-ohm", ohm, &limits::SOURCE_OHM)?;
    }
    if let Some(drive) = arguments.drive {
        file.source.drive = match drive {
            DriveIs::SingleEnded => Drive::SingleEnded,
            DriveIs::Symmetric => Drive::Symmetric,
        };
    }
    let input = arguments.inputs.map(|inputs| match inputs {
        Inputs::Mic => DeskInput::Mic,
        Inputs::Line => DeskInput::Line,
    });
    for (line, id) in [
        (&mut file.left, &arguments.left),
        (&mut file.right, &arguments.right),
    ] {
        if let Some(kind) = id.as_deref().and_then(Kind::from_id) {
            *line = RigLine {
                kind: Some(kind),
                ..RigLine::default()
            };
        }
        if line.input.is_none() {
            line.input = input.filter(|_| line.kind.is_some());
        }
    }
    if file.left.kind.is_some() != file.right.kind.is_some() {
        let missing = if file.left.kind.is_none() { "left" } else { "right" };
        return Err(RigError::Usage(format!(
            "the box on the {missing} line is not known; add --{missing} BOX, or box under [{missing}] in the rig file"
        )));
    }
    Ok(file)
}

fn within(option: &str, value: f64, range: &core::ops::RangeInclusive<f64>) -> Result<f64, RigError> {
    if range.contains(&value) {
        return Ok(value);
    }
    Err(RigError::Usage(format!(
        "{option} {value} is out of range; give {} to {}",
        range.start(),
        range.end()
    )))
}
