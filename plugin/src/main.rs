//! The stand-alone program: the plain plugin's window on an audio device, for a laptop without a DAW.
//!
//! Nearly everything here is the framework's: JACK, ALSA (CoreAudio, WASAPI), and its silent dummy where there is no
//! device; see `sumproof-standalone --help`. This program adds two things: the plugin runs at a JACK server's sample
//! rate, and the window is drawn at the screen's own scale.

use std::ffi::OsStr;
use std::process::ExitCode;

use jack::{Client, ClientOptions};
use nice_plug::prelude::nice_export_standalone_with_args;

/// The framework's options for the sample rate and the longest block, short and long.
const RATE: [&str; 2] = ["-r", "--sample-rate"];
const PERIOD: [&str; 2] = ["-p", "--period-size"];
/// Its option for the audio backend.
const BACKEND: [&str; 2] = ["-b", "--backend"];

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args_os()
        .map(|arg| arg.to_string_lossy().into_owned())
        .collect();
    if asks_for_a_window(&args) && !has_display(std::env::var_os("DISPLAY").as_deref()) {
        eprintln!("sumproof-standalone: the window needs an X11 display, and DISPLAY is not set");
        return ExitCode::from(2);
    }
    end_when_told();
    // SAFETY: this is the program itself, so its process has no host, no other plugin and no other windowing library.
    // The call asks Windows for the screen's own scale, and does nothing elsewhere.
    unsafe { nice_plug_egui::baseview::assume_standalone_in_process() };
    let args = match may_play_through_jack(&args).then(jack_server).flatten() {
        Some((rate_hz, frames)) => at_rate(args, rate_hz, frames),
        None => args,
    };
    if nice_export_standalone_with_args::<sumproof::SumproofPlainMidi, _>(args) {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

/// Ends the program at once on Ctrl-C, on a request to end and when its terminal closes: none of its files is ever
/// partly written. The framework (nice-plug 0.4.2) takes these signals, but ignores them while a window is open.
#[cfg(unix)]
fn end_when_told() {
    // SAFETY: all bits 0 is a valid set of signals, and the calls read and write only this set. No other thread exists
    // yet: later threads inherit the blocked signals, so that only the thread that waits for them receives them.
    let signals = unsafe {
        let mut signals = std::mem::zeroed();
        libc::sigemptyset(&raw mut signals);
        for signal in [libc::SIGINT, libc::SIGTERM, libc::SIGHUP] {
            libc::sigaddset(&raw mut signals, signal);
        }
        libc::pthread_sigmask(libc::SIG_BLOCK, &raw const signals, std::ptr::null_mut());
        signals
    };
    std::thread::spawn(move || {
        let mut signal = 0;
        // SAFETY: it reads the set and writes the number, and `_exit` doesn't return.
        unsafe {
            if libc::sigwait(&raw const signals, &raw mut signal) == 0 {
                libc::_exit(128 + signal);
            }
        }
    });
}

/// Windows ends the program with its console.
#[cfg(not(unix))]
fn end_when_told() {}

/// Whether there is a display. Without one on Linux, the framework's window would wait for it for ever.
fn has_display(display: Option<&OsStr>) -> bool {
    !cfg!(target_os = "linux") || display.is_some_and(|display| !display.is_empty())
}

/// Whether a window is wanted: not where only the options are asked for.
fn asks_for_a_window(args: &[String]) -> bool {
    !args
        .iter()
        .any(|arg| ["-h", "--help", "-V", "--version"].contains(&arg.as_str()))
}

/// Whether the framework will try JACK first.
fn may_play_through_jack(args: &[String]) -> bool {
    asks_for_a_window(args)
        && value_of(args, BACKEND).is_none_or(|backend| ["auto", "jack"].contains(&backend.as_str()))
}

/// The sample rate, Hz, and the block length, frames, of a running JACK server. None is started.
fn jack_server() -> Option<(usize, u32)> {
    let (client, _) = Client::new("sumproof-rate", ClientOptions::NO_START_SERVER).ok()?;
    Some((client.sample_rate() as usize, client.buffer_size()))
}

/// Replaces the options for rate and block length by the server's. The framework (nice-plug 0.4.2) plays at the
/// server's rate but reports the option's to the plugin. Its help says that the option has no effect with JACK.
fn at_rate(args: Vec<String>, rate_hz: usize, frames: u32) -> Vec<String> {
    let mut args = without(without(args, RATE), PERIOD);
    args.extend([RATE[1].to_owned(), rate_hz.to_string()]);
    args.extend([PERIOD[1].to_owned(), frames.to_string()]);
    args
}

/// An option's value, in any of its spellings: `-b jack`, `-bjack`, `--backend jack`, `--backend=jack`.
fn value_of(args: &[String], names: [&str; 2]) -> Option<String> {
    args.iter()
        .enumerate()
        .find_map(|(at, arg)| match inside(arg, names)? {
            "" => args.get(at + 1).cloned(),
            value => Some(value.to_owned()),
        })
}

/// Arguments without an option and its value.
fn without(args: Vec<String>, names: [&str; 2]) -> Vec<String> {
    let mut rest = Vec::with_capacity(args.len());
    let mut args = args.into_iter();
    while let Some(arg) = args.next() {
        match inside(&arg, names) {
            Some("") => drop(args.next()),
            Some(_) => {}
            None => rest.push(arg),
        }
    }
    rest
}

/// The value within an argument that is the option; empty where the value is the next argument. `None` for any other
/// argument.
fn inside<'a>(arg: &'a str, [short, long]: [&str; 2]) -> Option<&'a str> {
    if arg == long {
        return Some("");
    }
    if let Some(value) = arg.strip_prefix(long).and_then(|rest| rest.strip_prefix('=')) {
        return Some(value);
    }
    // `-r48000` and `-r=48000`.
    let value = arg.strip_prefix(short).filter(|_| !arg.starts_with("--"))?;
    Some(value.strip_prefix('=').unwrap_or(value))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(text: &str) -> Vec<String> {
        text.split_whitespace().map(str::to_owned).collect()
    }

    #[test]
    fn the_servers_rate_takes_the_place_of_any_other() {
        let wanted = words("sumproof-standalone -b jack --dpi-scale 2 --sample-rate 44100 --period-size 256");
        for given in [
            "sumproof-standalone -b jack --dpi-scale 2",
            "sumproof-standalone -r 96000 -b jack -p 64 --dpi-scale 2",
            "sumproof-standalone -b jack -r96000 --period-size=64 --dpi-scale 2",
            "sumproof-standalone --sample-rate 96000 -b jack --dpi-scale 2 -p=64",
        ] {
            assert_eq!(at_rate(words(given), 44_100, 256), wanted, "{given}");
        }
    }

    #[test]
    fn only_jack_is_asked_and_only_for_a_window() {
        for (given, asked) in [
            ("x", true),
            ("x --backend jack", true),
            ("x -bauto", true),
            ("x --backend=dummy", false),
            ("x -b alsa", false),
            ("x --help", false),
        ] {
            assert_eq!(may_play_through_jack(&words(given)), asked, "{given}");
        }
    }
}
