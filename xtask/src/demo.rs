//! `cargo xtask demo`: from a checkout to hearing and reading every feed, in one command.

use crate::run::Failure;
use crate::system::System;
use crate::{bundles, needs, place};
use std::process::Command;

/// The program that hosts the plugin.
const HOST: &str = "sumproof-demo-host";

/// Bundles the plugin in the form users get, and hosts it.
///
/// # Errors
/// [`Failure`] of the step that failed; the host's own exit code is passed on.
pub fn demo(args: &[String]) -> Result<(), Failure> {
    if args.iter().any(|arg| arg == "--window") {
        needs::provide(&[needs::WINDOW])?;
        if System::here() == System::Linux && std::env::var_os("DISPLAY").is_none() {
            return Err(Failure::Missing(
                "the window needs an X11 display (DISPLAY is not set); on a machine without one, run\n  \
                 xvfb-run cargo xtask demo --window"
                    .to_owned(),
            ));
        }
    }
    // Relative paths of files start from the user's current folder.
    let here = std::env::current_dir().map_err(|e| Failure::Failed(format!("the current folder: {e}")))?;
    eprintln!("building the plugin and its host (a few minutes the first time)");
    let bundles = bundles::release(&["sumproof-host"])?;
    let host = place::target().join("release").join(System::here().program(HOST));
    let status = Command::new(&host)
        .arg("--clap")
        .arg(&bundles.clap)
        .arg("--out")
        .arg(place::target().join("demo"))
        .args(args)
        .current_dir(here)
        .status()
        .map_err(|e| Failure::Failed(format!("{} cannot be started: {e}", host.display())))?;
    match status.code() {
        Some(0) => Ok(()),
        Some(code) => Err(Failure::Code(
            format!("{HOST} ended with code {code}"),
            u8::try_from(code).unwrap_or(1),
        )),
        None => Err(Failure::Failed(format!(
            "{HOST} was ended by a signal ({status})"
        ))),
    }
}
