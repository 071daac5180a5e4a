//! The stand-alone program: the plain plugin's window on a sound device, for a laptop without a DAW.
//!
//! Everything here is the framework's: JACK, ALSA (CoreAudio, WASAPI), and its silent dummy where there is no device; see
//! `sumproof-standalone --help`.

use std::process::ExitCode;

use nice_plug::prelude::nice_export_standalone;

fn main() -> ExitCode {
    // On Linux the framework's window waits for a display that never comes.
    if cfg!(target_os = "linux") && std::env::var_os("DISPLAY").is_none() && asks_for_a_window() {
        eprintln!("sumproof-standalone: the window needs an X11 display, and DISPLAY is not set");
        return ExitCode::from(2);
    }
    if nice_export_standalone::<sumproof::SumproofPlain>() {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

/// Not where only the options are asked for.
fn asks_for_a_window() -> bool {
    !std::env::args().any(|arg| ["-h", "--help", "-V", "--version"].contains(&arg.as_str()))
}
