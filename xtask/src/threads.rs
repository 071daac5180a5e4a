//! `cargo xtask bench threads`: the data shared by the plugin's threads, under a race detector.

use crate::place;
use crate::run::{Failure, cargo, output_of, run};
use std::process::Command;

/// The exit code of a process in which ThreadSanitizer found a race.
const RACE: i32 = 66;

/// Builds `tests/threads`, with all its dependencies but the standard library, for ThreadSanitizer and runs its tests,
/// then a program with a deliberate race, which must be found.
///
/// The detector is in every toolchain but its option is unstable: `RUSTC_BOOTSTRAP` makes a stable compiler accept it.
///
/// # Errors
/// A failed build, a race, or no race found in the program that has one.
pub fn threads() -> Result<(), Failure> {
    let version = output_of(Command::new("rustc").arg("-vV")).unwrap_or_default();
    let Some(target) = version.lines().find_map(|line| line.strip_prefix("host: ")) else {
        return Err(Failure::Missing(
            "rustc does not say what it builds for; is it in the path?".to_owned(),
        ));
    };
    let detecting = |words: &[&str]| {
        let mut command = cargo();
        command
            .args(words)
            .args(["--package", "sumproof-threads", "--target", target])
            .env("CARGO_TARGET_DIR", place::target().join("threads"))
            .env("RUSTC_BOOTSTRAP", "1")
            .env(
                "RUSTFLAGS",
                "-Zsanitizer=thread -Cunsafe-allow-abi-mismatch=sanitizer",
            )
            .env(
                "TSAN_OPTIONS",
                format!(
                    "exitcode={RACE} suppressions={}",
                    place::root().join("tests/threads/not-ours.txt").display()
                ),
            );
        command
    };
    println!("Races between the plugin's threads (ThreadSanitizer):\n");
    run(&mut detecting(&["test", "--lib"]))?;
    let control = detecting(&["run", "--quiet", "--example", "race"])
        .output()
        .map_err(|e| Failure::Failed(format!("cargo cannot be run: {e}")))?;
    if control.status.code() != Some(RACE) {
        return Err(Failure::Failed(format!(
            "the detector overlooked the race in tests/threads/examples/race.rs: {}",
            control.status
        )));
    }
    println!(
        "No race in the above; the one in tests/threads/examples/race.rs, which is there on purpose, was found.\n"
    );
    Ok(())
}
