//! Prints the table of `docs/line-check.md`: simulated venues, read and held against the truth.
//!
//! `cargo run --release -p sumproof-cli --example sumproof-venues [HOW MANY [FROM]]` (venues have numbers; from 0 if it isn't
//! said), with a line about each where errors go; needs `lame` and `oggenc`. Real rooms are taken
//! from the folders named by `SUMPROOF_GUITARIX` and `SUMPROOF_JCONVOLVER`, or from where `cargo xtask test` has put them.
#![allow(
    clippy::unwrap_used,
    reason = "a driver of measurements stops when something is missing"
)]

#[path = "../tests/venues/mod.rs"]
mod venues;

use std::path::{Path, PathBuf};

fn folder(variable: &str, fetched: &str) -> Option<PathBuf> {
    let cache = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../target/cache")
        .join(fetched);
    std::env::var_os(variable)
        .map(Into::into)
        .or_else(|| cache.exists().then_some(cache))
}

fn main() {
    let number = |nth: usize, usual: u64| {
        std::env::args().nth(nth).map_or(usual, |number| {
            number.parse().expect("a number of venues, or of a venue")
        })
    };
    let (count, first) = (number(1, 600), number(2, 0));
    let rooms = venues::rooms(
        folder("SUMPROOF_GUITARIX", "guitarix-common/usr/share/gx_head/sounds"),
        folder(
            "SUMPROOF_JCONVOLVER",
            "jconvolver-config-files/usr/share/jconvolver/config-files",
        ),
    );
    let folder = std::env::temp_dir().join(format!("sumproof-venues-{}", std::process::id()));
    let bench = venues::Bench::new(rooms, folder.clone());
    let outcomes = bench.run_all(first..first + count, |outcome| eprintln!("{}", outcome.line()));
    let _ = std::fs::remove_dir_all(folder);
    print!("{}", venues::table(&outcomes));
}
