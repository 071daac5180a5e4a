//! `cargo xtask soak`: does to a plugin what hosts do, many more times than the tests.

use crate::display::Display;
use crate::run::{Failure, cargo, output_of, run};
use crate::{bundles, needs, place};
use std::process::Command;

/// The cases named in the arguments, and the number of turns.
fn asked(args: &[String]) -> Result<(Vec<String>, Option<u32>), Failure> {
    match args.iter().position(|arg| arg == "--turns") {
        None => Ok((args.to_vec(), None)),
        Some(at) => {
            let count = args.get(at + 1).and_then(|count| count.parse::<u32>().ok());
            let count = count.ok_or_else(|| Failure::Usage("--turns needs a number".to_owned()))?;
            Ok(([&args[..at], &args[at + 2..]].concat(), Some(count)))
        }
    }
}

/// Runs every case, or those named, each in its own process, with a display; `--turns N` replaces a case's own number
/// of turns.
///
/// # Errors
/// Wrong usage, a failed build, or the cases that failed.
pub fn soak(args: &[String]) -> Result<(), Failure> {
    let (names, turns) = asked(args)?;
    needs::provide(&[needs::WINDOW, needs::TESTS, needs::BUILDING])?;
    run(cargo().args([
        "build",
        "--profile",
        "checked",
        "-p",
        bundles::PACKAGE,
        "-p",
        "sumproof-tests",
        "--lib",
        "--bins",
        "--features",
        "sumproof/assert-no-alloc",
    ]))?;
    let bundle = bundles::checked()?;
    let program = place::target().join("checked/sumproof-soak");
    let listed = output_of(&mut Command::new(&program))
        .ok_or_else(|| Failure::Failed("sumproof-soak does not list its cases".to_owned()))?;
    let cases: Vec<Vec<&str>> = listed
        .lines()
        .map(|line| line.split_whitespace().collect())
        .collect();
    if let Some(unknown) = names
        .iter()
        .find(|name| !cases.iter().any(|case| case.first() == Some(&name.as_str())))
    {
        return Err(Failure::Usage(format!(
            "there is no case '{unknown}'; the cases are:\n{listed}"
        )));
    }
    let display = Display::start()?;
    let mut failed = Vec::new();
    for case in &cases {
        let [name, _, many] = case[..] else { continue };
        if !names.is_empty() && !names.iter().any(|wanted| wanted == name) {
            continue;
        }
        let turns = turns.map_or_else(|| many.to_owned(), |turns| turns.to_string());
        let done = run(Command::new(&program)
            .args([name, "--turns", &turns])
            .env("SUMPROOF_CLAP", &bundle.clap)
            .env("SUMPROOF_VST3", &bundle.vst3)
            .env("DISPLAY", &display.name)
            // The framework's messages about refused states would fill the screen.
            .env("NICE_LOG", "/dev/null"));
        if done.is_err() {
            failed.push(name);
        }
    }
    if failed.is_empty() {
        Ok(())
    } else {
        Err(Failure::Failed(format!("failed: {}", failed.join(", "))))
    }
}
