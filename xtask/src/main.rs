//! `cargo xtask`: what the project does to itself. See [`USAGE`].

mod alike;
mod bench;
mod bundles;
mod demo;
mod display;
mod fuzz;
mod install;
mod licences;
mod needs;
mod package;
mod place;
mod python;
mod run;
mod samples;
mod shots;
mod soak;
mod stages;
mod test;
mod threads;
mod unused;

use run::Failure;
use std::process::ExitCode;

/// What `cargo xtask help` prints.
const USAGE: &str = "\
Usage: cargo xtask COMMAND

  demo [--window] [FILE…]   bundle the plugin, play FILE (or a preset of our own) through it, print what every
                            feed gets, and write each feed as WAV and the table as JSON to target/demo/;
                            with --window, open the plugin's window on it
  test                      install what the tests need, then run everything: format, lints, tests, hosts
  check                     format and lints only
  fuzz [--seconds N] [TARGET]…
                            feed what reads files, states, texts and samples with damaged ones, ten minutes each (sorts:
                            state, rig, files, analyser, linecheck, feed, takes); what breaks is put in target/fuzz
  soak [--turns N] [CASE]…
                            what hosts do to a plugin, hundreds to thousands of times: loading, crowds, rates, automation,
                            states, windows, half an hour of sound
  bench [audio|analysis|threads|window|files]…
                            the audio and the analysis thread's instructions a frame (installs valgrind), races
                            between the plugin's threads (a race detector), what a frame of the window costs, and how
                            fast files are read (makes 2.6 GB of them in target/bench)
  shots [FOLDER]            draw every state of the window, without a display, to FOLDER (target/shots)
  bundle [OPTION…]          make the .clap and .vst3 in target/bundled/; OPTIONs as for `cargo build`
                            (without any: -p sumproof --release, and the stand-alone program beside them)
  licences                  check that everything shipped may be passed on, list crates in two versions, and find
                            dependencies that nobody uses
  package [--twice]         make the archive users get, with its checksum, in target/package/; with --twice, make it
                            again from a copy of the tree in another folder, and compare
  install [--user|--system] build what users get and copy the plugins to where DAWs look, the programs to where
                            programs are, and the manual page, for you (the default) or for everybody
  uninstall [--user|--system]
                            take all of it away again
  help                      print this

Exit codes: 0 done; 1 something failed; 2 wrong usage; 3 something has to be installed by hand first, and the
line that does it was printed. `demo` passes on the codes of sumproof-demo-host (see its --help).";

fn main() -> ExitCode {
    let mut args = std::env::args().skip(1);
    let command = args.next().unwrap_or_default();
    let rest: Vec<String> = args.collect();
    let result = match command.as_str() {
        "demo" => demo::demo(&rest),
        "test" => no_more(&rest).and_then(|()| test::test()),
        "check" => no_more(&rest).and_then(|()| test::check()),
        "bundle" => bundles::bundle(rest),
        "fuzz" => fuzz::fuzz(&rest),
        "soak" => soak::soak(&rest),
        "bench" => bench::bench(&rest),
        "licences" => no_more(&rest)
            .and_then(|()| licences::licences())
            .and_then(|()| unused::unused()),
        "package" => package::package(&rest),
        "shots" => shots::shots(&rest),
        "install" => install::install(&rest),
        "uninstall" => install::uninstall(&rest),
        "help" | "--help" | "-h" => {
            println!("{USAGE}");
            Ok(())
        }
        "" => Err(Failure::Usage("which command?".to_owned())),
        other => Err(Failure::Usage(format!("there is no command '{other}'"))),
    };
    match result {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            eprintln!("xtask: {failure}");
            if matches!(failure, Failure::Usage(_)) {
                eprintln!("\n{USAGE}");
            }
            ExitCode::from(failure.exit_code())
        }
    }
}

/// Refuses arguments where a command takes none.
fn no_more(rest: &[String]) -> Result<(), Failure> {
    match rest.first() {
        None => Ok(()),
        Some(arg) => Err(Failure::Usage(format!("'{arg}' is not expected here"))),
    }
}
