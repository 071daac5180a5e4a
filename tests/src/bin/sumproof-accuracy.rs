//! The accuracy table: the error of each split over all synthetic presets.

use std::collections::VecDeque;
use std::io::Write;
use std::sync::Mutex;

use clap::Parser;
use indicatif::{ProgressBar, ProgressStyle};
use sumproof_core::split::Method;
use sumproof_signals::{PresetKind, PresetSpec, render};
use sumproof_tests::methods::{
    Ratios, WET_DB, has_both, heard, measured, spec, told_the_direction_db, truth,
};
use sumproof_wording::Name;

/// Prints the error of each split in the wet/dry ratio, in stereo and in a mono wedge, and how far down a flipped dry
/// is read, over all synthetic presets with dry and wet.
#[derive(Parser)]
struct Arguments {
    /// Seeds per preset and ratio.
    #[arg(long, default_value_t = 3)]
    seeds: u64,
    /// Only presets whose name contains this.
    #[arg(long, default_value = "")]
    only: String,
    /// Length of a preset, seconds.
    #[arg(long, default_value_t = 8.0)]
    seconds: f64,
}

const METHODS: [Method; 3] = [Method::TwoPass, Method::SideChain, Method::Estimated];

struct Job {
    kind: PresetKind,
    wet_db: f64,
    seed: u64,
}

struct Row {
    job: Job,
    truth: Ratios,
    found: [Ratios; 3],
    /// The remaining error when the dry's true direction is given, dB.
    told_db: f64,
    /// The estimate's bounds of wet over dry, dB.
    range_db: [f64; 2],
}

impl Row {
    fn is_inside(&self) -> bool {
        let [low, high] = self.range_db;
        (low..=high).contains(&self.truth.stereo_db)
    }
}

fn main() -> std::io::Result<()> {
    let arguments = Arguments::parse();
    let mut jobs = VecDeque::new();
    for kind in PresetKind::ALL {
        if !has_both(kind) || !kind.id().contains(&arguments.only) {
            continue;
        }
        for wet_db in WET_DB {
            for seed in 1..=arguments.seeds {
                jobs.push_back(Job { kind, wet_db, seed });
            }
        }
    }
    let bar = ProgressBar::new(jobs.len() as u64);
    if let Ok(style) = ProgressStyle::with_template("{wide_bar} {pos}/{len} presets, {eta} left") {
        bar.set_style(style);
    }
    let jobs = Mutex::new(jobs);
    let rows = Mutex::new(Vec::new());
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..workers {
            scope.spawn(|| {
                loop {
                    let job = jobs.lock().ok().and_then(|mut jobs| jobs.pop_front());
                    let Some(job) = job else { break };
                    let preset = render(&PresetSpec {
                        seconds: arguments.seconds,
                        ..spec(job.kind, job.wet_db, job.seed)
                    });
                    let row = Row {
                        range_db: heard(&preset)
                            .split
                            .wet_over_dry_range_db()
                            .unwrap_or([f64::NAN; 2]),
                        told_db: told_the_direction_db(&preset) - preset.true_wet_dry_db(),
                        truth: truth(&preset),
                        found: METHODS.map(|method| measured(method, &preset)),
                        job,
                    };
                    if let Ok(mut rows) = rows.lock() {
                        rows.push(row);
                    }
                    bar.inc(1);
                }
            });
        }
    });
    bar.finish_and_clear();
    print(&rows.into_inner().unwrap_or_default())
}

/// One line per preset and ratio: over the seeds, the error of largest magnitude, and the highest flipped dry.
fn print(rows: &[Row]) -> std::io::Result<()> {
    let mut out = std::io::stdout().lock();
    writeln!(
        out,
        "Errors in wet/dry, dB, the largest of all seeds. 'flipped': change of the dry with one line flipped, dB, the highest of all\n\
         seeds; what is true stands last.\n\
         An error of -inf: the dry is truly gone in mono, and something of it was found. 'range': what the estimate says wet/dry\n\
         may be at least and at most, of the first seed; 'in': of how many seeds it holds the truth. 'told': the largest error in\n\
         stereo that is left when a split is told how the true dry lies in every bin: what dry and wet do to each other by chance.\n"
    )?;
    write!(out, "{:<24}{:>5}", "preset", "wet")?;
    for method in METHODS {
        write!(out, " |{:^26}", method.name())?;
    }
    writeln!(out, " | true    | range          in  |   told")?;
    write!(out, "{:<24}{:>5}", "", "dB")?;
    for _ in METHODS {
        write!(out, " |{:>8} {:>7} {:>9}", "stereo", "mono", "flipped")?;
    }
    writeln!(out, " | flipped")?;
    for kind in PresetKind::ALL {
        for wet_db in WET_DB {
            let group: Vec<&Row> = rows
                .iter()
                .filter(|row| row.job.kind == kind && row.job.wet_db == wet_db)
                .collect();
            if group.is_empty() {
                continue;
            }
            write!(out, "{:<24}{wet_db:>+5}", kind.id())?;
            for index in 0..METHODS.len() {
                let largest =
                    |error: &dyn Fn(&Row) -> f64| group.iter().map(|row| error(row)).fold(0.0, larger);
                let stereo = largest(&|row| row.found[index].stereo_db - row.truth.stereo_db);
                let mono = largest(&|row| row.found[index].mono_db - row.truth.mono_db);
                let flipped = group
                    .iter()
                    .map(|row| row.found[index].flipped_db)
                    .fold(f64::NEG_INFINITY, f64::max);
                write!(out, " |{stereo:>+8.2} {mono:>+7.2} {flipped:>9.1}")?;
            }
            let flipped = group
                .iter()
                .map(|row| row.truth.flipped_db)
                .fold(f64::NEG_INFINITY, f64::max);
            let inside = group.iter().filter(|row| row.is_inside()).count();
            let [low, high] = group[0].range_db;
            let told = group.iter().map(|row| row.told_db).fold(0.0, larger);
            writeln!(
                out,
                " | {flipped:>7.1} | {low:>+6.1} {high:>+6.1}  {inside}/{} | {told:>+6.2}",
                group.len()
            )?;
        }
    }
    let seeds = rows.iter().map(|row| row.job.seed).max().unwrap_or(0);
    let inside = rows.iter().filter(|row| row.is_inside()).count();
    writeln!(
        out,
        "\n{} presets, {seeds} seeds each; the range holds the truth in {inside}.",
        rows.len()
    )
}

/// Of two errors the one of larger magnitude.
fn larger(one: f64, other: f64) -> f64 {
    if other.abs() > one.abs() { other } else { one }
}
