//! `cargo xtask shots`.

use crate::place;
use crate::run::{Failure, cargo, run};
use std::path::PathBuf;

/// Draws every state of the window to PNG files, with the software renderer.
///
/// # Errors
/// Wrong usage, or the build's or the program's failure.
pub fn shots(arguments: &[String]) -> Result<(), Failure> {
    let folder = match arguments {
        [] => place::target().join("shots"),
        [folder] if !folder.starts_with('-') => PathBuf::from(folder),
        _ => return Err(Failure::Usage("shots takes one folder".to_owned())),
    };
    run(cargo()
        .args([
            "run",
            "--profile",
            "checked",
            "-p",
            "sumproof-tests",
            "--bin",
            "sumproof-shots",
            "--",
        ])
        .arg(folder))
}
