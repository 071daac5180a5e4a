//! Named steps with their times and results.

use crate::run::Failure;
use std::io::IsTerminal;
use std::time::{Duration, Instant};

/// The steps so far.
#[derive(Default)]
pub struct Stages {
    done: Vec<(&'static str, Duration, Result<(), Failure>)>,
    /// Steps that were not run, and why.
    left: Vec<(&'static str, &'static str)>,
}

impl Stages {
    /// Runs one step under its name. Returns its value, or `None` when it failed; the failure is kept and shown.
    pub fn run<T>(&mut self, name: &'static str, step: impl FnOnce() -> Result<T, Failure>) -> Option<T> {
        let number = self.done.len() + 1;
        let (bold, plain) = if std::io::stderr().is_terminal() {
            ("\x1b[1m", "\x1b[0m")
        } else {
            ("", "")
        };
        eprintln!("\n{bold}{number}. {name}{plain}");
        let begin = Instant::now();
        let (value, result) = match step() {
            Ok(value) => (Some(value), Ok(())),
            Err(failure) => {
                eprintln!("{name}: {failure}");
                (None, Err(failure))
            }
        };
        let time = begin.elapsed();
        eprintln!("   {name}: {} in {:.1} s", word(&result), time.as_secs_f64());
        self.done.push((name, time, result));
        value
    }

    /// Records a step that can't run on this machine, which is no failure.
    pub fn not_run(&mut self, name: &'static str, why: &'static str) {
        eprintln!("\n{name}: not run: {why}");
        self.left.push((name, why));
    }

    /// Prints the table of steps and their count.
    ///
    /// # Errors
    /// The first failure, whose exit code becomes the program's: [`Failure::Missing`] before others, because the user
    /// can act on it.
    pub fn finish(self) -> Result<(), Failure> {
        println!();
        for (name, time, result) in &self.done {
            println!("{:<8}{:>7.1} s  {name}", word(result), time.as_secs_f64());
        }
        for (name, why) in &self.left {
            println!("not run: {why}  {name}");
        }
        let failed = self.done.iter().filter(|(_, _, result)| result.is_err()).count();
        println!("\n{} passed, {failed} failed", self.done.len() - failed);
        let (missing, other): (Vec<_>, Vec<_>) = self
            .done
            .into_iter()
            .filter_map(|(name, _, result)| result.err().map(|failure| (name, failure)))
            .partition(|(_, failure)| matches!(failure, Failure::Missing(_)));
        match missing.into_iter().chain(other).next() {
            None => Ok(()),
            Some((_, missing @ Failure::Missing(_))) => Err(missing),
            Some((name, _)) => Err(Failure::Failed(format!("{name} failed, see above"))),
        }
    }
}

fn word(result: &Result<(), Failure>) -> &'static str {
    if result.is_ok() { "ok" } else { "FAILED" }
}
