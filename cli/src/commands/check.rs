//! `sumproof check`.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use sumproof_cli::choose::kind::Said;
use sumproof_cli::choose::select::{Condition, Order, Selection};
use sumproof_cli::choose::view::view;
use sumproof_cli::input::pairs::{self, NamePattern};
use sumproof_cli::input::walk::walk;
use sumproof_cli::measure::jobs::{self, Job};
use sumproof_cli::measure::passes::Others;
use sumproof_cli::{exit, output};
use sumproof_core::score::outcome::Outcome;
use sumproof_recordings::analyse::tell_apart;
use sumproof_report::{Entry, Judged, View};
use sumproof_wording::Name;

use super::progress::Progress;

#[derive(Args)]
pub struct Arguments {
    /// Stereo files, 8 to 192 kHz, and folders of them: WAV, AIFF, FLAC, MP3, M4A, Ogg, CAF, Matroska and others
    #[arg(required_unless_present = "dry", value_name = "FILE|FOLDER")]
    named: Vec<PathBuf>,

    /// The same part with all effects off, so that dry and wet are known instead of estimated: a file; or, for all of
    /// FILE|FOLDER, a pattern of their names with one * for the preset's name, such as '*-dry' or 'dry/*'
    #[arg(long, value_name = "FILE|PATTERN", help_heading = "Dry and wet from passes")]
    dry: Option<String>,

    /// The same part with the dry off. Without it, the wet is the full part less the dry, which is right if the effects
    /// add to the dry
    #[arg(
        long,
        value_name = "FILE|PATTERN",
        requires = "dry",
        help_heading = "Dry and wet from passes"
    )]
    wet: Option<String>,

    /// With patterns: the same part with dry and wet. Checks the other two, or replaces a missing wet one
    #[arg(
        long,
        value_name = "PATTERN",
        requires = "dry",
        default_value = "*",
        help_heading = "Dry and wet from passes"
    )]
    full: String,

    /// The kind of preset, if you know it: where its one dry is (centre, one-side), that it has two (two-amplifiers,
    /// two-takes, late-copy), or none (no-dry). It settles what an estimate leaves open. For all presets, or for those
    /// whose names match a pattern: '*-wide=two-amplifiers'; repeatable
    #[arg(long, value_name = "KIND|NAMES=KIND", value_parser = Said::parse, help_heading = "What is judged")]
    kind: Vec<Said>,

    /// Rig file with your lines, your own feed and your limits
    #[arg(long, value_name = "FILE", help_heading = "What is judged")]
    rig: Option<PathBuf>,

    /// Show and judge only this feed; repeatable. One of the ids below, or a feed described as in a rig file:
    /// '{name = "front fill", ending = "sum", right = {delay_ms = 2}}'
    #[arg(long, value_name = "ID|{…}", help_heading = "What is judged", long_help = feed_help())]
    feed: Vec<String>,

    /// A limit, written as in a rig file, such as dry_holds_db=-6; repeatable
    #[arg(long, value_name = "KEY=DB", help_heading = "What is judged")]
    limit: Vec<String>,

    /// Exit with code 1 if any preset has this outcome or a worse one (in the feeds that decide; filters are ignored)
    #[arg(long, value_enum, help_heading = "What is judged")]
    fail_on: Option<FailOn>,

    /// Output format
    #[arg(long, value_enum, default_value_t = Form::Table, help_heading = "Output")]
    format: Form,

    /// Table: print every feed of every preset, as for a single file
    #[arg(long, help_heading = "Output")]
    detail: bool,

    /// Table: explain the columns
    #[arg(long, help_heading = "Output")]
    explain: bool,

    /// Output file [default: standard output]
    #[arg(long, short, value_name = "FILE", help_heading = "Output")]
    output: Option<PathBuf>,

    /// Write a PNG picture of every preset shown to this folder
    #[arg(long, value_name = "FOLDER", help_heading = "Output")]
    pictures: Option<PathBuf>,

    /// Order: worst (worst first; default of table and html), name, given (default of json and csv), or a figure, lowest
    /// first
    #[arg(long, value_name = "ORDER", value_parser = clap::builder::PossibleValuesParser::new(Order::names()), help_heading = "Which presets, in which order")]
    sort: Option<String>,

    /// Reverse the order
    #[arg(long, help_heading = "Which presets, in which order")]
    reverse: bool,

    /// Show only presets with this outcome; repeatable
    #[arg(long, value_enum, help_heading = "Which presets, in which order")]
    only: Vec<Only>,

    /// Show only presets whose name contains this text
    #[arg(long, value_name = "TEXT", help_heading = "Which presets, in which order")]
    name: Option<String>,

    /// Show only presets for which this is true, such as 'correlation<0.3'; repeatable. Figures as for --sort
    #[arg(long = "where", value_name = "CONDITION", value_parser = Condition::parse, help_heading = "Which presets, in which order")]
    conditions: Vec<Condition>,

    /// Number of files to analyse at once [default: the number of processors]
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u16).range(1..=256))]
    jobs: Option<u16>,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Form {
    /// Text: a line per preset, or all feeds of a single one
    Table,
    /// For other programs; described in SCHEMA.md
    Json,
    /// For spreadsheets: a row per preset and feed
    Csv,
    /// Web page: pictures, what to change, sortable table
    Html,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum FailOn {
    /// It thins or drops out
    Thins,
    /// It drops out
    DropsOut,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Only {
    /// Holds wherever it is judged
    Holds,
    /// Thins somewhere
    Thins,
    /// Drops out somewhere
    DropsOut,
}

fn feed_help() -> String {
    let mut text = String::from(
        "Show and judge only this feed; repeatable. A feed described as in a rig file, such as\n  \
         {name = \"front fill\", ending = \"sum\", right = {delay_ms = 2}}\nor one of:",
    );
    for id in sumproof_core::routing::feed::FeedId::ALL {
        text.push_str(&format!("\n  {:26}{}", id.id(), id.name()));
    }
    text
}

/// Runs the subcommand and returns the exit code.
pub fn run(arguments: &Arguments) -> u8 {
    let view = match view(arguments.rig.as_deref(), &arguments.feed, &arguments.limit) {
        Ok(view) => view,
        Err(error) => return error.end(),
    };
    let (jobs, mut code) = match jobs(arguments) {
        Ok(jobs) => jobs,
        Err(line) => return usage(&line),
    };
    let mut entries = analyse(&jobs, &view, threads(arguments), &mut code);
    for entry in &mut entries {
        if let Some(kind) = Said::of(&arguments.kind, &entry.take.name) {
            entry.take = entry.take.clone().with_kind(kind);
        }
    }
    let mut presets: Vec<Judged<'_>> = entries.iter().map(|entry| Judged::new(entry, &view)).collect();
    let failed = arguments.fail_on.is_some_and(|fail_on| {
        let bound = match fail_on {
            FailOn::Thins => Outcome::Thins,
            FailOn::DropsOut => Outcome::DropsOut,
        };
        presets
            .iter()
            .any(|preset| preset.outcome().is_some_and(|outcome| outcome >= bound))
    });
    let alone = presets.len() == 1;
    if let Err(line) = selection(arguments).map(|selection| selection.apply(&mut presets)) {
        return usage(&line);
    }
    let place = arguments.output.as_deref();
    let form = output::form(place, arguments.explain);
    let text = match arguments.format {
        Form::Json => sumproof_report::json_of_set(&presets, &view) + "\n",
        Form::Csv => sumproof_report::csv(&presets),
        Form::Html => sumproof_report::html(&presets, &view),
        Form::Table if alone || arguments.detail => presets
            .iter()
            .map(|preset| sumproof_report::table_of(preset, form))
            .collect::<Vec<_>>()
            .join("\n"),
        // Every file was bad, and an error was printed for each.
        Form::Table if entries.is_empty() => String::new(),
        Form::Table => sumproof_report::overview(&presets, form),
    };
    let pictured = arguments
        .pictures
        .as_deref()
        .map_or(Ok(()), |folder| draw(&presets, folder));
    match output::deliver(place, text.as_bytes()).and(pictured) {
        Ok(()) if code == exit::FINE && failed => exit::FAILED,
        Ok(()) => code,
        Err(line) => {
            eprintln!("{line}");
            exit::OUTPUT
        }
    }
}

fn usage(line: &str) -> u8 {
    eprintln!("{line}");
    exit::USAGE
}

fn threads(arguments: &Arguments) -> usize {
    arguments.jobs.map_or_else(
        || std::thread::available_parallelism().map_or(1, |count| count.get()),
        usize::from,
    )
}

fn selection(arguments: &Arguments) -> Result<Selection, String> {
    let order = match &arguments.sort {
        Some(name) => Order::parse(name)?,
        None if matches!(arguments.format, Form::Table | Form::Html) => Order::Worst,
        None => Order::Given,
    };
    Ok(Selection {
        order,
        reverse: arguments.reverse,
        outcomes: arguments
            .only
            .iter()
            .map(|only| match only {
                Only::Holds => Outcome::Holds,
                Only::Thins => Outcome::Thins,
                Only::DropsOut => Outcome::DropsOut,
            })
            .collect(),
        name: arguments.name.clone(),
        conditions: arguments.conditions.clone(),
    })
}

/// The jobs. An error is printed for each that is impossible; the exit code is that of the first.
fn jobs(arguments: &Arguments) -> Result<(Vec<Job>, u8), String> {
    let mut code = exit::FINE;
    let mut bad = |line: String, exit_code: u8| {
        eprintln!("{line}");
        if code == exit::FINE {
            code = exit_code;
        }
    };
    let wet = arguments.wet.as_deref();
    if let Some(dry) = &arguments.dry
        && !NamePattern::is_one(dry)
        && !wet.is_some_and(NamePattern::is_one)
    {
        let full = match arguments.named.as_slice() {
            [] => None,
            [full] => Some(full.clone()),
            _ => return Err("with --dry name one FILE at the most: the same part as it is".into()),
        };
        let others = Others::of(wet.map(PathBuf::from), full)
            .ok_or("with --dry name the same part as it is, or with --wet the one with the dry off")?;
        let job = Job::Passes {
            dry: dry.into(),
            others,
            name: None,
        };
        return Ok((vec![job], code));
    }
    let mut files = Vec::new();
    for found in walk(&arguments.named) {
        match found {
            Ok(path) => files.push(path),
            Err(error) => bad(error.to_string(), exit::of(&error)),
        }
    }
    let Some(dry) = &arguments.dry else {
        return Ok((files.into_iter().map(Job::File).collect(), code));
    };
    let (dry, wet) = (NamePattern::parse(dry)?, wet.map(NamePattern::parse).transpose()?);
    if arguments.named.is_empty() {
        return Err(
            "with patterns in --dry or --wet name the folders or files they are to be looked for in".into(),
        );
    }
    let mut jobs = Vec::new();
    for job in pairs::pair(files, &dry, wet.as_ref(), &NamePattern::parse(&arguments.full)?) {
        match job {
            Ok(job) => jobs.push(job),
            Err(line) => bad(line, exit::PASSES),
        }
    }
    Ok((jobs, code))
}

/// Analyses every preset that can be read. For a bad one an error is printed, and the others go on.
fn analyse(jobs: &[Job], view: &View, threads: usize, code: &mut u8) -> Vec<Entry> {
    let progress = Progress::new(jobs);
    let mut entries = Vec::new();
    let mut done = 0;
    jobs::run_all(
        jobs,
        &view.rig,
        threads,
        |result| {
            done += 1;
            progress.done(done, jobs.len());
            let (line, exit_code) = match result {
                Ok(result) => {
                    entries.push(result.entry);
                    let code = if result.passes_hold {
                        exit::FINE
                    } else {
                        exit::PASSES
                    };
                    (result.note, code)
                }
                Err(error) => (Some(error.to_string()), error.exit_code()),
            };
            if let Some(line) = line {
                progress.say(&line);
            }
            if *code == exit::FINE {
                *code = exit_code;
            }
        },
        |bytes| progress.further(bytes),
    );
    progress.end();
    tell_apart(&mut entries);
    entries
}

/// Writes a picture of every preset. No two file names are the same, even on systems that ignore case.
fn draw(presets: &[Judged<'_>], folder: &Path) -> Result<(), String> {
    std::fs::create_dir_all(folder).map_err(|error| output::refused(folder, &error))?;
    let mut taken = BTreeSet::new();
    for preset in presets {
        let name: String = preset
            .take
            .name
            .chars()
            .map(|c| {
                if c.is_alphanumeric() || " -_.,()+".contains(c) {
                    c
                } else {
                    '_'
                }
            })
            .collect();
        let free = (1..)
            .map(|number| match number {
                1 => name.clone(),
                number => format!("{name} {number}"),
            })
            .find(|name| taken.insert(name.to_lowercase()))
            .unwrap_or_default();
        let png = sumproof_report::png(preset)?;
        let path = folder.join(free + ".png");
        output::write_whole(&path, &png).map_err(|error| output::refused(&path, &error))?;
    }
    Ok(())
}
