//! Feeds damaged inputs to every reader, for a given time: `sumproof-fuzz [--seconds N] [--seed N] [--out FOLDER]
//! [TARGET]…`, called by `cargo xtask fuzz`.
//!
//! An input that breaks something is written to FOLDER/TARGET and reported; put it into `tests/fuzz/found/TARGET`, and
//! every test run tries it from then on. Exits with 1 when something was found.

use clap::Parser;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Mutex;
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};
use sumproof_tests::fuzz::guide::Guide;
use sumproof_tests::fuzz::{Driver, Finding, TARGETS, Target, found};

/// Findings after which a target is left: the first ones should be corrected before more are looked for.
const ENOUGH: usize = 8;
/// A case that takes longer than this is reported with its input; the coverage build takes ten times as long.
const LONG: Duration = Duration::from_secs(20);
const LONG_COUNTED: Duration = Duration::from_secs(200);

#[derive(Parser)]
#[command(about = "Feeds everything that reads with damaged inputs", after_help = list())]
struct Arguments {
    /// What is fed; without any, everything in turn
    #[arg(value_parser = TARGETS.map(|target| target.name))]
    targets: Vec<String>,

    /// How long each, seconds
    #[arg(long, default_value_t = 600)]
    seconds: u64,

    /// Where chance begins; without one, at the clock
    #[arg(long)]
    seed: Option<u64>,

    /// Where inputs go that broke something
    #[arg(long, default_value = "target/fuzz")]
    out: PathBuf,
}

fn list() -> String {
    TARGETS
        .iter()
        .map(|target| format!("{:<10} {}\n", target.name, target.about))
        .collect()
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let clock = SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .map_or(0, |since| since.as_secs());
    let seed = arguments.seed.unwrap_or(clock);
    let mut broken = 0;
    for target in TARGETS {
        if arguments.targets.is_empty() || arguments.targets.iter().any(|name| name == target.name) {
            broken += feed(
                target,
                seed,
                Duration::from_secs(arguments.seconds),
                &arguments.out,
            );
        }
    }
    if broken == 0 {
        ExitCode::SUCCESS
    } else {
        println!("{broken} findings, in {}", arguments.out.display());
        ExitCode::FAILURE
    }
}

/// Feeds one target, on a thread whose panics count as findings. Returns the number of findings.
fn feed(target: Target, seed: u64, time: Duration, out: &Path) -> usize {
    let folder = out.join(target.name);
    if let Err(error) = std::fs::create_dir_all(&folder) {
        println!("{}: {error}", folder.display());
        return 1;
    }
    let said = Mutex::new(BTreeSet::new());
    std::thread::scope(|scope| {
        let work = || run(target, seed, time, &folder, &said);
        let thread = std::thread::Builder::new()
            .name(format!("fuzz {}", target.name))
            .spawn_scoped(scope, work);
        if !thread.is_ok_and(|thread| thread.join().is_ok()) {
            note(&said, format!("{}: the driver itself failed", target.name));
        }
    });
    said.lock().map_or(1, |said| said.len())
}

fn note(said: &Mutex<BTreeSet<String>>, what: String) {
    println!("{what}");
    said.lock().map(|mut said| said.insert(what)).unwrap_or_default();
}

fn run(target: Target, seed: u64, time: Duration, folder: &Path, said: &Mutex<BTreeSet<String>>) {
    let how = if Guide::counts() {
        "guided by counters"
    } else {
        "guided by outcomes only"
    };
    println!("{}: {} s from seed {seed}, {how}", target.name, time.as_secs());
    let more = found(&target).into_iter().map(|(_, bytes)| bytes).collect();
    let mut driver = match Driver::new(target, more, seed) {
        Ok(driver) => driver,
        Err(finding) => return keep(target, &finding, folder, said),
    };
    // Trying the good inputs may have taken longer than all the rest will, so the time counts from here.
    let begin = Instant::now();
    let mut told = begin;
    while begin.elapsed() < time && said.lock().is_ok_and(|said| said.len() < ENOUGH) {
        let input = driver.next_input();
        if target.fatal {
            let running = folder.join("running");
            if let Err(error) = std::fs::write(&running, &input) {
                println!("{}: {error}", running.display());
            }
        }
        let before = Instant::now();
        if let Err(finding) = driver.run(&input) {
            keep(target, &finding, folder, said);
        }
        let long = if Guide::counts() { LONG_COUNTED } else { LONG };
        if before.elapsed() > long {
            let what = format!("a case took {} s", before.elapsed().as_secs());
            keep(target, &Finding { what, input }, folder, said);
        }
        if told.elapsed() > Duration::from_secs(60) {
            told = Instant::now();
            println!("  {:>5} s  {}", begin.elapsed().as_secs(), driver.summary());
        }
    }
    if target.fatal {
        let _ = std::fs::remove_file(folder.join("running"));
    }
    println!("{}, most memory {} MB", driver.summary(), peak_mb());
}

/// Writes an input to a file if its finding is the first of its kind.
fn keep(target: Target, finding: &Finding, folder: &Path, said: &Mutex<BTreeSet<String>>) {
    let kind: String = finding
        .what
        .chars()
        .filter(|c| !c.is_ascii_digit())
        .take(120)
        .collect();
    if !said.lock().is_ok_and(|mut said| said.insert(kind)) {
        return;
    }
    let sum = finding.input.iter().fold(0xcbf2_9ce4_8422_2325_u64, |sum, byte| {
        (sum ^ u64::from(*byte)).wrapping_mul(0x100_0000_01b3)
    });
    let path = folder.join(format!("{sum:016x}"));
    let written =
        std::fs::write(&path, &finding.input).map_or_else(|e| e.to_string(), |()| path.display().to_string());
    let what: String = finding.what.chars().take(2000).collect();
    println!("FOUND by {} ({written}): {what}", target.name);
}

/// The most memory this process has held at once, MB (Linux; 0 elsewhere).
fn peak_mb() -> u64 {
    std::fs::read_to_string("/proc/self/status")
        .ok()
        .and_then(|text| {
            let line = text.lines().find(|line| line.starts_with("VmHWM:"))?.to_owned();
            line.split_whitespace().nth(1)?.parse::<u64>().ok()
        })
        .map_or(0, |kilobytes| kilobytes / 1024)
}
