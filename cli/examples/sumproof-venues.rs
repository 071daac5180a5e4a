//! Prints the table of `docs/engineers/line-check.md`: readings of simulated venues compared with the truth.
//!
//! `cargo run --release -p sumproof-cli --example sumproof-venues [COUNT [FROM [MINUTES]]]`: venues have numbers; by
//! default from 100000, those used in development; with MINUTES, only those finished by then. Prints a line about each
//! to the error output; needs `lame` and `oggenc`. `SUMPROOF_VENUES_ONLY=HandHeld` (any of `Situation`'s names) runs
//! only the venues in that situation. Recordings are kept in the folder named by `SUMPROOF_VENUES_KEPT`, and reused
//! from there. Real rooms are taken from the folders named by `SUMPROOF_GUITARIX` and `SUMPROOF_JCONVOLVER`, or from
//! where `cargo xtask test` has put them.
#![allow(
    clippy::unwrap_used,
    reason = "a driver of measurements stops when something is missing"
)]

#[path = "../tests/venues/mod.rs"]
mod venues;

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

fn folder(variable: &str, fetched: &str) -> Option<PathBuf> {
    let cache = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../target/cache")
        .join(fetched);
    std::env::var_os(variable)
        .map(Into::into)
        .or_else(|| cache.exists().then_some(cache))
}

/// The channels of a recording, and its sample rate, Hz.
fn decode(path: &Path) -> (Vec<Vec<f32>>, f64) {
    let recording = sumproof_cli::read_recording(path, f64::INFINITY).unwrap();
    (recording.channels, recording.rate_hz)
}

fn main() {
    let number = |nth: usize, usual: u64| {
        std::env::args().nth(nth).map_or(usual, |number| {
            number.parse().expect("a number of venues, or of a venue")
        })
    };
    let (count, first) = (number(1, 600), number(2, 100_000));
    let until = std::env::args()
        .nth(3)
        .map(|minutes| Instant::now() + Duration::from_secs(60 * minutes.parse::<u64>().expect("minutes")));
    let rooms = venues::rooms(
        folder("SUMPROOF_GUITARIX", "guitarix-common/usr/share/gx_head/sounds"),
        folder(
            "SUMPROOF_JCONVOLVER",
            "jconvolver-config-files/usr/share/jconvolver/config-files",
        ),
    );
    let folder = std::env::temp_dir().join(format!("sumproof-venues-{}", std::process::id()));
    let bench = venues::Bench::new(rooms, folder.clone());
    let only = std::env::var("SUMPROOF_VENUES_ONLY").ok();
    let numbers: Vec<u64> = (first..first + count)
        .filter(|&number| {
            only.as_ref()
                .is_none_or(|only| format!("{:?}", bench.situation(number)) == *only)
        })
        .collect();
    let outcomes = bench.run_all(&numbers, until, |outcome| {
        eprintln!("{}", outcome.line());
    });
    let _ = std::fs::remove_dir_all(folder);
    println!(
        "Venues {first} to {}: {} of {count}.\n",
        first + count - 1,
        outcomes.len()
    );
    print!("{}", venues::table(&outcomes));
}
