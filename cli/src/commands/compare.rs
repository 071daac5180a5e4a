//! `sumproof compare`.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use sumproof_cli::choose::view::view;
use sumproof_cli::measure::jobs::{self, Job};
use sumproof_cli::{exit, output};
use sumproof_report::Judged;

#[derive(Args)]
pub struct Arguments {
    /// The preset as it was: a stereo file
    #[arg(value_name = "A")]
    before: PathBuf,

    /// The preset as it is now
    #[arg(value_name = "B")]
    after: PathBuf,

    /// The rig's lines, own feed and limits, from a rig file
    #[arg(long, value_name = "FILE")]
    rig: Option<PathBuf>,

    /// Compare in this feed only; may be given several times (see check)
    #[arg(long, value_name = "ID|{…}")]
    feed: Vec<String>,

    /// A limit in the rig file's words, such as dry_holds_db=-6; may be given several times
    #[arg(long, value_name = "KEY=DB")]
    limit: Vec<String>,

    /// What to print
    #[arg(long, value_enum, default_value_t = Form::Table)]
    format: Form,

    /// Write there instead of to the terminal
    #[arg(long, short, value_name = "FILE")]
    output: Option<PathBuf>,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Form {
    /// For people
    Table,
    /// For programs: both takes in one document, A first; see SCHEMA.md
    Json,
}

/// Runs it and returns the exit code.
pub fn run(arguments: &Arguments) -> u8 {
    let view = match view(arguments.rig.as_deref(), &arguments.feed, &arguments.limit) {
        Ok(view) => view,
        Err(error) => return error.end(),
    };
    let files = [&arguments.before, &arguments.after].map(|path| Job::File(path.clone()));
    let mut entries = Vec::new();
    let mut code = exit::FINE;
    jobs::run_all(
        &files,
        &view.rig,
        2,
        |result| match result {
            Ok(done) => entries.push(done.entry),
            Err(error) => {
                eprintln!("{error}");
                if code == exit::FINE {
                    code = error.exit_code();
                }
            }
        },
        |_| {},
    );
    let [before, after] = entries.as_slice() else {
        return code;
    };
    let (before, after) = (Judged::new(before, &view), Judged::new(after, &view));
    let text = match arguments.format {
        Form::Table => sumproof_report::comparison(&before, &after),
        Form::Json => sumproof_report::json_of_set(&[before, after], &view) + "\n",
    };
    output::hand_over(arguments.output.as_deref(), text.as_bytes(), code)
}
