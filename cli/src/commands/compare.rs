//! `sumproof compare`.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use sumproof_cli::choose::view::view;
use sumproof_cli::input::walk::walk;
use sumproof_cli::measure::jobs::{self, Done, Job};
use sumproof_cli::{exit, output, shown};
use sumproof_core::session::part::unlike;
use sumproof_report::{Judged, Pair, Trend, View};

use super::progress::Progress;

#[derive(Args)]
pub struct Arguments {
    /// The preset before the change, a stereo file; or a folder of presets
    #[arg(value_name = "A")]
    before: PathBuf,

    /// The preset after the change; or a folder with files of the same names
    #[arg(value_name = "B")]
    after: PathBuf,

    /// Rig file with your lines, your own feed and your limits
    #[arg(long, value_name = "FILE")]
    rig: Option<PathBuf>,

    /// Compare only this feed; repeatable (see `sumproof check --help`)
    #[arg(long, value_name = "ID|{…}")]
    feed: Vec<String>,

    /// A limit, written as in a rig file, such as dry_holds_db=-6; repeatable
    #[arg(long, value_name = "KEY=DB")]
    limit: Vec<String>,

    /// Output format
    #[arg(long, value_enum, default_value_t = Form::Table)]
    format: Form,

    /// Table: explain the columns
    #[arg(long)]
    explain: bool,

    /// Output file [default: standard output]
    #[arg(long, short, value_name = "FILE")]
    output: Option<PathBuf>,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Form {
    /// Text
    Table,
    /// For other programs: both takes of every preset in one document, A before B; described in SCHEMA.md
    Json,
    /// Web page: what got better and what got worse
    Html,
}

/// Runs the subcommand and returns the exit code.
pub fn run(arguments: &Arguments) -> u8 {
    let view = match view(arguments.rig.as_deref(), &arguments.feed, &arguments.limit) {
        Ok(view) => view,
        Err(error) => return error.end(),
    };
    let named = [&arguments.before, &arguments.after];
    let is_set = match named.map(|path| path.is_dir()) {
        [true, true] => true,
        [false, false] => false,
        [before, _] => {
            let (folder, file) = if before {
                (named[0], named[1])
            } else {
                (named[1], named[0])
            };
            eprintln!(
                "{} is a folder and {} isn't; name two files or two folders",
                shown(folder),
                shown(file)
            );
            return exit::USAGE;
        }
    };
    let mut code = exit::FINE;
    let rounds = named.map(|path| files(path, &mut code));
    let (matched, gone, new) = matched(&rounds, is_set);
    let jobs: Vec<Job> = matched
        .iter()
        .flatten()
        .map(|path| Job::File((*path).clone()))
        .collect();
    let done = analysed(&jobs, &view, &mut code);
    let mut trend = Trend {
        pairs: done.chunks(2).filter_map(|pair| judged(pair, &view)).collect(),
        gone,
        new,
    };
    if trend.pairs.is_empty() && (!is_set || code != exit::FINE) {
        return code;
    }
    trend.sort();
    let place = arguments.output.as_deref();
    let form = output::form(place, arguments.explain);
    let text = match (arguments.format, trend.pairs.as_slice()) {
        (Form::Table, [pair]) if !is_set => {
            sumproof_report::comparison(&pair.before, &pair.after, &pair.unlike, form)
        }
        (Form::Table, _) => sumproof_report::trend(&trend, form),
        (Form::Html, _) => sumproof_report::trend_page(&trend, &view),
        (Form::Json, pairs) => {
            let takes: Vec<Judged<'_>> = pairs
                .iter()
                .flat_map(|pair| [pair.before.clone(), pair.after.clone()])
                .collect();
            sumproof_report::json_of_set(&takes, &view) + "\n"
        }
    };
    output::hand_over(place, text.as_bytes(), code)
}

/// The files of a round by name; in a folder the name is the relative path without the extension.
fn files(named: &Path, code: &mut u8) -> BTreeMap<PathBuf, PathBuf> {
    let mut found = BTreeMap::new();
    for one in walk(&[named.to_path_buf()]) {
        match one {
            Ok(path) => {
                let inside = path.strip_prefix(named).unwrap_or(&path);
                found.insert(inside.with_extension(""), path.clone());
            }
            Err(error) => {
                eprintln!("{error}");
                if *code == exit::FINE {
                    *code = exit::of(&error);
                }
            }
        }
    }
    found
}

/// Pairs the files in both rounds, and names those in only one. Two single files are a pair whatever their names.
#[allow(clippy::type_complexity, reason = "a pair of files, and two lists of names")]
fn matched(
    [before, after]: &[BTreeMap<PathBuf, PathBuf>; 2],
    is_set: bool,
) -> (Vec<[&PathBuf; 2]>, Vec<String>, Vec<String>) {
    if !is_set {
        let pairs = before.values().zip(after.values());
        return (pairs.map(|(a, b)| [a, b]).collect(), Vec::new(), Vec::new());
    }
    let pairs = before
        .iter()
        .filter_map(|(name, path)| Some([path, after.get(name)?]))
        .collect();
    let only = |of: &BTreeMap<PathBuf, PathBuf>, other: &BTreeMap<PathBuf, PathBuf>| {
        of.keys()
            .filter(|name| !other.contains_key(*name))
            .map(|name| name.to_string_lossy().into_owned())
            .collect()
    };
    (pairs, only(before, after), only(after, before))
}

/// The result of every job; an error is printed for each file that can't be read.
fn analysed(jobs: &[Job], view: &View, code: &mut u8) -> Vec<Option<Done>> {
    let progress = Progress::new(jobs);
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let mut all = Vec::new();
    jobs::run_all(
        jobs,
        &view.rig,
        threads,
        |result| match result {
            Ok(done) => {
                progress.done(all.len() + 1, jobs.len());
                all.push(Some(done));
            }
            Err(error) => {
                progress.say(&error.to_string());
                if *code == exit::FINE {
                    *code = error.exit_code();
                }
                all.push(None);
            }
        },
        |bytes| progress.further(bytes),
    );
    progress.end();
    all
}

/// A pair of which both files could be read.
fn judged<'a>(pair: &'a [Option<Done>], view: &'a View) -> Option<Pair<'a>> {
    let [Some(before), Some(after)] = pair else {
        return None;
    };
    Some(Pair {
        unlike: unlike(
            (&before.entry.take, &before.outline),
            (&after.entry.take, &after.outline),
        ),
        before: Judged::new(&before.entry, view),
        after: Judged::new(&after.entry, view),
    })
}
