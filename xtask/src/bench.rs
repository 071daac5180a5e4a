//! `cargo xtask bench`: costs, in figures that don't depend on other load on the machine, or as ratios within one run.

use crate::run::{Failure, cargo, output_of, run};
use crate::system::System;
use crate::threads::threads;
use crate::{needs, place, python};
use std::path::{Path, PathBuf};
use std::process::Command;

/// Block length, frames: as small as DAWs use on a stage.
const BLOCK: usize = 64;
/// Blocks played; the first ones, during which things settle, are not counted.
const BLOCKS: usize = 600;
const SETTLING: usize = 100;
/// The call that is counted, see `tests/host/src/processor.rs`. Callgrind keeps one option per pattern, so the second
/// one is spelled differently.
const COUNTED: &str = "*hand_over_a_block*";
const DUMPED: &str = "sumproof_host::processor::hand_over_a_block";

/// Parameters of the worst case: auditioning a feed, both lines with every property set, loudness matched.
const HEARING: [&str; 13] = [
    // Under callgrind nobody keeps real time, so it is taken for a bounce.
    "audbnc=1",
    "aud=1",
    "feed=6",
    "l_pol=1",
    "l_gain=0.4",
    "l_del=0.31",
    "l_hp=0.3",
    "r_pol=0",
    "r_gain=0.6",
    "r_del=0.17",
    "r_hp=0.2",
    "match=1",
    "byp=0",
];

/// One of the benches.
type Part = fn() -> Result<(), Failure>;

/// Measures the cost of the audio thread, the analysis thread, an offline render with a side-chain's take, a frame of
/// the window and the reading of files, and looks for races between threads; with arguments, only those of the six.
///
/// # Errors
/// Wrong usage, a missing tool, or the failure of a build or a run.
pub fn bench(parts: &[String]) -> Result<(), Failure> {
    const PARTS: [(&str, Part); 6] = [
        ("audio", audio),
        ("analysis", analysis),
        ("render", render),
        ("threads", threads),
        ("window", window),
        ("files", files),
    ];
    if let Some(other) = parts
        .iter()
        .find(|part| PARTS.iter().all(|(name, _)| name != part))
    {
        return Err(Failure::Usage(format!(
            "bench knows audio, analysis, render, threads, window and files, not '{other}'"
        )));
    }
    PARTS
        .iter()
        .filter(|(name, _)| parts.is_empty() || parts.iter().any(|part| part == name))
        .try_for_each(|(_, part)| part())
}

/// Layout and tessellation of a frame, without a graphics card.
fn window() -> Result<(), Failure> {
    run(cargo().args([
        "run",
        "--release",
        "-p",
        "sumproof-tests",
        "--bin",
        "sumproof-frames",
    ]))?;
    println!("Aim: a median below 2 ms.\n");
    Ok(())
}

/// Processor time of an offline render while a side-chain's take is recorded, and of the take's end, all threads
/// together.
fn render() -> Result<(), Failure> {
    needs::provide(&[needs::TESTS, needs::BUILDING])?;
    run(cargo().args([
        "build",
        "--release",
        "-p",
        "sumproof",
        "-p",
        "sumproof-tests",
        "--lib",
        "--bin",
        "sumproof-render",
    ]))?;
    let library = System::here().library("sumproof");
    let release = place::target().join("release");
    for seconds in ["8", "30"] {
        println!("A take of {seconds} s beside a side-chain, rendered offline, 48 kHz:");
        run(Command::new(release.join("sumproof-render"))
            .arg(seconds)
            .env("SUMPROOF_CLAP", release.join(&library)))?;
    }
    println!(
        "\nAims: at least 20 times real time on one core, and at most 0.5 s for the end of a take of 30 s.\n"
    );
    Ok(())
}

/// The command on generated files, compared with decoding and bare transforms, and with a script that uses SciPy.
fn files() -> Result<(), Failure> {
    needs::provide(&[needs::TESTS, needs::BUILDING])?;
    let python = python::provide()?;
    run(cargo().args(["build", "--release", "-p", "sumproof-cli", "--bins", "--examples"]))?;
    run(Command::new(place::target().join("release/examples/bench_files"))
        .arg(place::target().join("bench/files"))
        .arg(python))
}

/// Builds the programs that are counted, all at once: another selection of packages would select other features of
/// their dependencies, and everything would be rebuilt.
fn build_counted() -> Result<(), Failure> {
    run(cargo().args([
        "build",
        "--release",
        "-p",
        "sumproof",
        "-p",
        "sumproof-tests",
        "--lib",
        "--bin",
        "sumproof-analysis",
        "--example",
        "probe_plugins",
    ]))
}

/// Instructions of the analysis thread, compared with the bare transforms of the blocks.
fn analysis() -> Result<(), Failure> {
    needs::provide(&[needs::BENCHES])?;
    build_counted()?;
    let program = place::target().join("release/sumproof-analysis");
    println!("Instructions of the analysis a frame at 48 kHz (callgrind):\n");
    println!(
        "{:<8}{:>12}{:>22}{:>16}{:>24}{:>24}",
        "", "transforms", "nobody looks", "a take's too", "a take is recorded", "a window is open"
    );
    for sound in ["noise", "demo"] {
        // Where sounds begin there are more transforms, and twice as many while a take is recorded.
        let attacks = output_of(Command::new(&program).args([sound, "attacks"]));
        let attacks: Vec<usize> = attacks
            .iter()
            .flat_map(|said| said.split_whitespace())
            .filter_map(|number| number.parse().ok())
            .collect();
        let &[forward, back, len, short, short_len] = attacks.as_slice() else {
            return Err(Failure::Failed("the beginnings weren't counted".to_owned()));
        };
        let besides = |times: usize| {
            [times * forward, times * back, len, times * short, short_len].map(|number| number.to_string())
        };
        let count = |work: &str| {
            let besides = match work {
                "transforms" => besides(1).to_vec(),
                "all-transforms" => besides(2).to_vec(),
                _ => Vec::new(),
            };
            whole_run(&program, sound, work, &besides)
        };
        let (nothing, frames) = count("nothing")?;
        let above = |work: &str| count(work).map(|(total, _)| (total - nothing) / frames);
        let (bare, all) = (above("transforms")?, above("all-transforms")?);
        let with_ratio = |cost: f64, bare: f64| format!("{cost:.1} ({:.2}x)", cost / bare);
        println!(
            "{sound:<8}{bare:>12.1}{:>22}{all:>16.1}{:>24}{:>24.1}",
            with_ratio(above("heard")?, bare),
            with_ratio(above("recorded")?, all),
            above("shown")?
        );
    }
    println!(
        "\nAim: at most 1.5 times the bare transforms: of the blocks, of the windows where sounds begin (none in noise), of the \
         short frames that dry and wet are told apart by, and of a take's longer blocks while one is recorded. With a window open \
         at most 1500 in all: the board twice a second, what moves fast 25 times, advice and margin once.\n"
    );
    Ok(())
}

/// All instructions of a run of `sumproof-analysis`, and the frames of its sound.
fn whole_run(program: &Path, sound: &str, work: &str, besides: &[String]) -> Result<(f64, f64), Failure> {
    let folder = place::target().join("bench/analysis");
    std::fs::create_dir_all(&folder)
        .map_err(|e| Failure::Failed(format!("{} cannot be made: {e}", folder.display())))?;
    let file = folder.join(format!("{sound}-{work}"));
    let mut command = Command::new("valgrind");
    command
        .args(["--tool=callgrind", "--quiet"])
        .arg(format!("--callgrind-out-file={}", file.display()))
        .arg(program)
        .args([sound, work])
        .args(besides);
    let said = output_of(&mut command);
    let frames = said.and_then(|said| said.trim().parse::<f64>().ok());
    match (instructions(&file), frames) {
        (Some(count), Some(frames)) if frames > 0.0 => Ok((count, frames)),
        _ => Err(Failure::Failed(format!(
            "the count of '{sound} {work}' under callgrind failed"
        ))),
    }
}

/// Instructions of the audio thread.
fn audio() -> Result<(), Failure> {
    needs::provide(&[needs::BENCHES])?;
    build_counted()?;
    run(cargo().args([
        "build",
        "--profile",
        "checked",
        "-p",
        "sumproof-tests",
        "--bin",
        "sumproof-cost",
    ]))?;
    let library = |name: &str| System::here().library(name);
    let release = place::target().join("release");
    let probes = release.join("examples").join(library("probe_plugins"));
    let ours = release.join(library("sumproof"));
    println!(
        "Instructions of the audio thread, {BLOCK}-frame blocks, {} blocks (callgrind):\n",
        BLOCKS - SETTLING
    );
    let nothing = counted(&probes, "io.sumproof.empty", &[])?;
    let passing = counted(&ours, "io.sumproof.sumproof", &[])?;
    let hearing = counted(&ours, "io.sumproof.sumproof", &HEARING)?;
    // The feed changes in the middle of the counted blocks: for 10 ms both are computed.
    let change = format!("feed=4@{}", (SETTLING + BLOCKS) / 2);
    let changing: Vec<&str> = HEARING.iter().copied().chain([change.as_str()]).collect();
    let changing = counted(&ours, "io.sumproof.sumproof", &changing)?;
    let base = nothing.median / BLOCK as f64;
    println!("{:<44}{:>12}{:>14}{:>10}", "", "a frame", "above empty", "worst");
    for (what, cost) in [
        ("empty plugin", &nothing),
        ("Sumproof, passing sound on", &passing),
        ("Sumproof, feed heard, both lines set, matched", &hearing),
        ("the same, with another feed faded in", &changing),
    ] {
        let frame = cost.median / BLOCK as f64;
        println!(
            "{what:<44}{frame:>12.1}{:>14.1}{:>9.2}x",
            frame - base,
            cost.worst / cost.median
        );
    }
    println!(
        "\nAims: at most 60 and 200 above the empty plugin, the worst-case block at most 1.3 times the median one."
    );
    Ok(())
}

/// Instructions per block.
struct Cost {
    median: f64,
    worst: f64,
}

fn counted(plugin: &Path, id: &str, held: &[&str]) -> Result<Cost, Failure> {
    let folder = place::target().join("bench/audio");
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder)
        .map_err(|e| Failure::Failed(format!("{} cannot be made: {e}", folder.display())))?;
    let mut command = Command::new("valgrind");
    command
        .args(["--tool=callgrind", "--quiet", "--collect-atstart=no"])
        .arg(format!("--toggle-collect={COUNTED}"))
        .arg(format!("--dump-after={DUMPED}"))
        .arg(format!("--callgrind-out-file={}", folder.join("block").display()))
        .arg(place::target().join("checked/sumproof-cost"))
        .arg(plugin)
        .args([id, &BLOCK.to_string(), &BLOCKS.to_string()])
        .args(held);
    let run = command
        .output()
        .map_err(|e| Failure::Failed(format!("valgrind cannot be run: {e}")))?;
    if !run.status.success() {
        let said = String::from_utf8_lossy(&run.stderr);
        let last = said.lines().last().unwrap_or_default();
        return Err(Failure::Failed(format!("the run under callgrind failed: {last}")));
    }
    let mut files: Vec<PathBuf> = std::fs::read_dir(&folder)
        .map_err(|e| Failure::Failed(format!("{} cannot be read: {e}", folder.display())))?
        .filter_map(|entry| entry.ok().map(|entry| entry.path()))
        .collect();
    // Sorted by number: one file is numbered 2 and one 10.
    files.sort_by_key(|file| {
        let number = file.extension().and_then(|number| number.to_str());
        number.and_then(|number| number.parse::<usize>().ok())
    });
    let mut counts: Vec<f64> = files
        .into_iter()
        .filter_map(|file| instructions(&file))
        .filter(|&count| count > 0.0)
        .skip(SETTLING)
        .collect();
    counts.sort_by(f64::total_cmp);
    match (counts.get(counts.len() / 2), counts.last()) {
        (Some(&median), Some(&worst)) if median > 0.0 => Ok(Cost { median, worst }),
        _ => Err(Failure::Failed(format!(
            "callgrind wrote no counts to {}",
            folder.display()
        ))),
    }
}

/// The total in one of callgrind's files.
fn instructions(file: &Path) -> Option<f64> {
    let text = std::fs::read_to_string(file).ok()?;
    let line = text.lines().find_map(|line| {
        line.strip_prefix("summary:")
            .or_else(|| line.strip_prefix("totals:"))
    })?;
    line.split_whitespace().next()?.parse().ok()
}
