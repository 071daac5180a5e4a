//! A part of the simulated venues of `docs/engineers/line-check.md`, as a test. All of them: `cargo run --release -p
//! sumproof-cli --example sumproof-venues`.
#![allow(clippy::unwrap_used, reason = "a test panics when something is missing")]

#[path = "venues/mod.rs"]
mod venues;

use std::path::{Path, PathBuf};

use sumproof_core::line_check::Trust;
use venues::{Bench, Graded, Outcome, table};

/// First of the numbers used in development; the published table uses others.
const FIRST: u64 = 100_000;
const COUNT: u64 = 60;

/// Number of venues: `SUMPROOF_VENUES`, or a few.
fn count() -> u64 {
    std::env::var("SUMPROOF_VENUES")
        .ok()
        .and_then(|count| count.parse().ok())
        .unwrap_or(COUNT)
}

fn folder(variable: &str) -> Option<PathBuf> {
    std::env::var_os(variable).map(Into::into)
}

/// The channels of a recording, and its sample rate, Hz.
fn decode(path: &Path) -> (Vec<Vec<f32>>, f64) {
    let recording = sumproof_cli::read_recording(path, f64::INFINITY).unwrap();
    (recording.channels, recording.rate_hz)
}

#[test]
#[ignore = "needs Debian's coders: `cargo xtask test` runs it"]
fn nothing_wrong_is_said_to_be_sure() {
    // `cargo xtask test` sets the folders of real rooms; without them all rooms are simulated.
    let rooms = venues::rooms(folder("SUMPROOF_GUITARIX"), folder("SUMPROOF_JCONVOLVER"));
    let bench = Bench::new(rooms, Path::new(env!("CARGO_TARGET_TMPDIR")).join("venues"));
    let numbers: Vec<u64> = (FIRST..FIRST + count()).collect();
    let outcomes = bench.run_all(&numbers, None, |outcome| println!("{}", outcome.line()));
    let all = table(&outcomes);
    println!("{all}");
    let wrong = |trust| {
        let is_wrong = |outcome: &&Outcome| outcome.all().contains(&Graded::Wrong(trust));
        outcomes.iter().filter(is_wrong).count()
    };
    assert_eq!(wrong(Trust::Sure), 0, "{all}");
    // Three of 1000; of 60, at most one.
    assert!(
        wrong(Trust::Likely) * 1000 <= 3 * outcomes.len().max(334),
        "{all}"
    );
    let named: Vec<bool> = outcomes.iter().filter_map(|outcome| outcome.named).collect();
    let count = named.iter().filter(|named| **named).count();
    // The published rate, from 1500 venues, is higher; with so few, allow for chance.
    assert!(count * 100 >= named.len() * 75, "{all}");
    let rest: Vec<&Outcome> = outcomes
        .iter()
        .filter(|outcome| outcome.named.is_none())
        .collect();
    let untold = rest
        .iter()
        .filter(|outcome| outcome.feed == Graded::Unknown)
        .count();
    assert!(untold * 6 <= rest.len(), "{all}");
}
