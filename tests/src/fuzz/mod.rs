//! Everything that takes bytes from outside, fed with bytes that nobody would make on purpose.
//!
//! A [`Target`] is something that reads: it has a few good inputs to begin with, and a subject that takes any input and says
//! what came of it, or which promise was broken. The [`Driver`] damages good inputs (bits, numbers, pieces, words of the
//! format, and the structure where the format has one), watches for panics and broken promises, and keeps what led somewhere
//! new as a further input to damage: a kind of outcome not seen before, and, in a build that counts
//! ([`guide`]), a path through the code not taken before.
//!
//! * `cargo xtask fuzz [TARGET]… [--seconds N]` runs as long as wanted, on a build that counts.
//! * `tests/tests/fuzz.rs` runs a fixed number of cases of each, and everything ever found: `tests/fuzz/found/TARGET`.

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

/// What came of an input: a few words on how it was read or refused, or the promise that was broken.
pub type Outcome = Result<String, String>;

/// What is under test: takes an input and says what came of it.
pub type Subject = Box<dyn FnMut(&[u8]) -> Outcome>;

/// Damage that knows the format.
pub type Damage = fn(&mut Vec<u8>, &mut Rng);

/// Something that reads what comes from outside.
#[derive(Clone, Copy, Debug)]
pub struct Target {
    /// Its name, as on the command line and in folders.
    pub name: &'static str,
    /// What it is, in a line.
    pub about: &'static str,
    /// Good inputs to begin with.
    pub seeds: fn() -> Vec<Vec<u8>>,
    /// Words of its format.
    pub words: &'static [&'static str],
    /// Damage that knows the format, done in half of the cases.
    pub damage: Option<Damage>,
    /// Makes what is under test.
    pub subject: fn() -> Subject,
    /// Longest input, bytes.
    pub longest: usize,
    /// How many cases a short run has: a few seconds' worth.
    pub few: u64,
    /// A panic in it ends the process, so an input is written down before it is tried.
    pub fatal: bool,
}

/// Everything that reads.
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

/// Good inputs that can't be made here, because they take a coder.
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

/// An error's text is one line that says something.
fn one_line(text: &str) -> Result<(), String> {
    if text.trim().is_empty() || text.lines().count() != 1 {
        return Err(format!("an error that is not one line: {text:?}"));
    }
    Ok(())
}

/// The beginning of an outcome's text without its numbers and names, so that outcomes of one kind are told apart from others.
fn kind_of(text: &str) -> String {
    text.chars().filter(|c| !c.is_ascii_digit()).take(60).collect()
}
