//! `cargo xtask bench threads`: what the plugin's threads share, under a race detector.

use crate::place;
use crate::run::{Failure, cargo, output_of, run};
use std::process::Command;

/// The exit code of a process in which ThreadSanitizer found a race.
const RACE: i32 = 66;

/// Builds `tests/threads`, with all it depends on but the standard library, for ThreadSanitizer and runs its tests, then a
/// program that does have a race, which has to be found.
///
/// The detector is in every toolchain, its switch is not stable: `RUSTC_BOOTSTRAP` lets a stable compiler take it.
///
/// # Errors
/// The failure of a build, a race, or none where there is one.
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
