//! A Python environment of our own for the VST3 host, which is a Python package.

use crate::place;
use crate::run::{Failure, run};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Returns the interpreter of `target/venv`, with the pinned packages of `tests/hosts/requirements.txt` installed.
///
/// # Errors
/// [`Failure::Failed`] if the environment can't be created or filled.
pub fn provide() -> Result<PathBuf, Failure> {
    let requirements = place::root().join("tests/hosts/requirements.txt");
    let wanted = fs::read_to_string(&requirements)
        .map_err(|e| Failure::Failed(format!("{}: {e}", requirements.display())))?;
    let home = place::target().join("venv");
    let python = home.join("bin/python");
    // Written last, so an environment that was left incomplete is created again.
    let receipt = home.join("installed-requirements.txt");
    if fs::read_to_string(&receipt).is_ok_and(|installed| installed == wanted) {
        return Ok(python);
    }
    run(Command::new(system_python())
        .args(["-m", "venv", "--clear"])
        .arg(&home))?;
    run(Command::new(&python)
        .args(["-m", "pip", "install", "--quiet", "--only-binary", ":all:", "-r"])
        .arg(&requirements))?;
    fs::write(&receipt, wanted).map_err(|e| Failure::Failed(format!("{}: {e}", receipt.display())))?;
    Ok(python)
}

/// The system's Python, to which the package `python3-venv` belongs; another one on the path may lack what it needs.
fn system_python() -> &'static Path {
    let system = Path::new("/usr/bin/python3");
    if system.exists() {
        system
    } else {
        Path::new("python3")
    }
}
