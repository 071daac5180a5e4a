//! A part of the simulated venues of `docs/line-check.md`, as a test. All of them: `cargo run --release -p sumproof-cli
//! --example sumproof-venues`.
#![allow(clippy::unwrap_used, reason = "a test panics when something is missing")]

#[path = "venues/mod.rs"]
mod venues;

use std::path::{Path, PathBuf};

use venues::{Answer, Bench, Outcome, table};

const COUNT: u64 = 60;

/// How many venues: `SUMPROOF_VENUES`, or a few.
fn count() -> u64 {
    std::env::var("SUMPROOF_VENUES")
        .ok()
        .and_then(|count| count.parse().ok())
        .unwrap_or(COUNT)
}

fn folder(variable: &str) -> Option<PathBuf> {
    std::env::var_os(variable).map(Into::into)
}

#[test]
#[ignore = "needs Debian's coders: `cargo xtask test` runs it"]
fn sixty_venues_are_read_right() {
    // `cargo xtask test` says where the rooms are; without them all rooms are made up.
    let rooms = venues::rooms(folder("SUMPROOF_GUITARIX"), folder("SUMPROOF_JCONVOLVER"));
    let bench = Bench::new(rooms, Path::new(env!("CARGO_TARGET_TMPDIR")).join("venues"));
    let outcomes = bench.run_all(0..count(), |outcome| println!("{}", outcome.line()));
    let all = table(&outcomes);
    println!("{all}");
    let wrong = |of: fn(&Outcome) -> Answer| -> Vec<u64> {
        outcomes
            .iter()
            .filter(|outcome| of(outcome) == Answer::Wrong)
            .map(|outcome| outcome.number)
            .collect()
    };
    // 99.5 and 99 %: of 60, all of them.
    assert!(
        wrong(|outcome| outcome.polarity).len() * 200 <= outcomes.len(),
        "{all}"
    );
    assert!(
        wrong(|outcome| outcome.feed).len() * 100 <= outcomes.len(),
        "{all}"
    );
    let within = |errors: Vec<f64>, limit: f64| {
        errors.iter().filter(|error| error.abs() <= limit).count() as f64 / errors.len() as f64
    };
    let delays = outcomes
        .iter()
        .filter_map(|outcome| outcome.delay_error_s)
        .collect();
    assert!(within(delays, 1e-4) >= 0.95, "{all}");
    let levels = outcomes
        .iter()
        .filter_map(|outcome| outcome.level_error_db)
        .collect();
    // With so few, 95 % may come out as 90.
    assert!(within(levels, 0.5) >= 0.90, "{all}");
    // What can't be known is few.
    let unknown = outcomes
        .iter()
        .filter(|outcome| outcome.feed == Answer::Unknown)
        .count();
    assert!(unknown * 10 <= outcomes.len(), "{all}");
}
