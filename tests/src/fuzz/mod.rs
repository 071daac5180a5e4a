//! Fuzzing of everything that reads bytes from outside.
//!
//! A [`Target`] is a reader: it has a few good inputs to begin with, and a subject that takes any input and returns the
//! outcome, or the broken guarantee. The [`Driver`] damages good inputs (bits, numbers, pieces, words of the format,
//! and the structure where the format has one), watches for panics and broken guarantees, and keeps inputs that bring
//! news for further damage: a new kind of outcome or, in a build that counts ([`guide`]), a new path through the code.
//!
//! * `cargo xtask fuzz [TARGET]… [--seconds N]` runs as long as wanted, on a build that counts.
//! * `tests/tests/hosts/fuzz.rs` runs a fixed number of cases of each, and everything ever found:
//!   `tests/fuzz/found/TARGET`.
//!
//! Driver, guide and damage are our own, 400 lines. A crate kept for it (bolero 0.13.7) would bring 36 others; without a
//! subcommand of its own it makes random bytes, so the damage that knows a format, and the store of what brought news, would
//! stay here.

mod analyser;
mod driver;
mod files;
pub mod guide;
mod json;
mod line_check;
mod mutate;
mod state;
mod texts;

pub use driver::{Driver, Finding};
pub use state::StateSubject;

use crate::host::setup::workspace;
use std::path::PathBuf;
use sumproof_signals::Rng;

/// The outcome of an input: a few words on how it was read or refused, or the broken guarantee.
pub type Outcome = Result<String, String>;

/// The code under test: takes an input and returns its outcome.
pub type Subject = Box<dyn FnMut(&[u8]) -> Outcome>;

/// Damage that knows the format.
pub type Damage = fn(&mut Vec<u8>, &mut Rng);

/// A reader of input from outside.
#[derive(Clone, Copy, Debug)]
pub struct Target {
    /// Its name, as on the command line and in folders.
    pub name: &'static str,
    /// A description in one line.
    pub about: &'static str,
    /// Good inputs to begin with.
    pub seeds: fn() -> Vec<Vec<u8>>,
    /// Words of its format.
    pub words: &'static [&'static str],
    /// Damage that knows the format, done in half of the cases.
    pub damage: Option<Damage>,
    /// Creates the code under test.
    pub subject: fn() -> Subject,
    /// Longest input, bytes.
    pub longest: usize,
    /// Number of cases in a short run of a few seconds.
    pub few: u64,
    /// A panic in it ends the process, so an input is stored before it is tried.
    pub fatal: bool,
}

/// All readers.
pub const TARGETS: [Target; 7] = [
    state::TARGET,
    texts::RIG,
    files::TARGET,
    analyser::TARGET,
    line_check::TARGET,
    texts::FEED,
    texts::TAKES,
];

/// Inputs that once broke something, in the order of their names.
///
/// # Panics
/// When one can't be read.
#[must_use]
pub fn found(target: &Target) -> Vec<(String, Vec<u8>)> {
    read_all(folder().join("found").join(target.name))
}

/// Good inputs that can't be generated here, because they need an encoder.
fn stored(folder_name: &str) -> Vec<(String, Vec<u8>)> {
    read_all(folder().join("seeds").join(folder_name))
}

fn folder() -> PathBuf {
    workspace().join("tests/fuzz")
}

fn read_all(folder: PathBuf) -> Vec<(String, Vec<u8>)> {
    let Ok(entries) = std::fs::read_dir(&folder) else {
        return Vec::new();
    };
    let mut all: Vec<(String, Vec<u8>)> = entries
        .flatten()
        .map(|entry| {
            let bytes = std::fs::read(entry.path())
                .unwrap_or_else(|error| panic!("{}: {error}", entry.path().display()));
            (entry.file_name().to_string_lossy().into_owned(), bytes)
        })
        .collect();
    all.sort();
    all
}

/// Checks that an error's text is a single, non-empty line.
fn one_line(text: &str) -> Result<(), String> {
    if text.trim().is_empty() || text.lines().count() != 1 {
        return Err(format!("an error that is not one line: {text:?}"));
    }
    Ok(())
}

/// The beginning of an outcome's text without its numbers and names, which identifies its kind.
fn kind_of(text: &str) -> String {
    text.chars().filter(|c| !c.is_ascii_digit()).take(60).collect()
}
