//! `cargo xtask`: the project's own tasks. See [`USAGE`].

mod alike;
mod archive;
mod bench;
mod bundles;
mod cross;
mod demo;
mod display;
mod edges;
mod folders;
mod fuzz;
mod install;
mod layout;
mod licences;
mod needs;
mod package;
mod page;
mod papers;
mod place;
mod presets;
mod python;
mod run;
mod samples;
#[cfg(test)]
mod script;
mod serve;
mod shots;
mod sign;
mod soak;
mod stages;
mod system;
mod target;
mod test;
mod threads;
mod unused;
mod workflows;

use run::Failure;
use std::process::ExitCode;
use target::Target;

/// Printed by `cargo xtask help`.
const USAGE: &str = "\
Usage: cargo xtask COMMAND

  demo [--window] [FILE…]   bundle the plugin, play FILE (or a preset of our own) through it, print what every
                            feed gets, and write each feed as WAV and the table as JSON to target/demo/;
                            with --window, open the plugin's window on it
  test                      install what the tests need, then run everything: format, lints, tests, hosts
  test --portable [--target TRIPLE] [PACKAGE…]
                            only the tests that need nothing but the toolchain, on any system; those for Windows
                            (x86_64-pc-windows-gnu) run in Wine on Linux
  check                     format and lints only
  check --target TRIPLE     check the types of the whole workspace for another system, if its standard library is here
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
  presets [dev|publish] [OPTION…]
                            make 130 presets of a sampled guitar and other people's effects, dry and wet known (installs
                            a synthesizer and effects; kept in target/presets or where SUMPROOF_PRESETS_CACHE says), and
                            print how the analysis fares on them; OPTIONs as for sumproof-presets
  page [--serve]            make the static site for the phone in target/page; with --serve, serve it on this machine only. The
                            module needs Rust's library for wasm32-unknown-unknown: from rustup, or by a compiler that
                            SUMPROOF_WASM_RUSTC names, with its linker in CARGO_TARGET_WASM32_UNKNOWN_UNKNOWN_LINKER
  shots [FOLDER]            draw every state of the window, without a display, to FOLDER (target/shots)
  bundle [--target TRIPLE]  make the .clap, the .vst3 and the programs in target/bundled/
  licences                  check that everything shipped may be passed on, list crates in two versions, and find
                            dependencies that nobody uses
  package [--target TRIPLE] [--twice]
                            make the archive users get, with its checksum, in target/package/; with --twice, make it
                            again from a copy of the tree in another folder, and compare. TRIPLE is one of Rust's for Linux,
                            Windows or macOS, or universal-apple-darwin for both kinds of Mac in one; what this machine
                            lacks for it is said first. SUMPROOF_SIGN names a program that signs the path it is given
  release-tag TAG           refuse a tag that isn't `v` and the version in Cargo.toml
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
        "test" => match rest.split_first() {
            Some((first, rest)) if first == "--portable" => cross::portable(rest.to_vec()),
            _ => no_more(&rest).and_then(|()| test::test()),
        },
        "check" if rest.is_empty() => test::check(),
        "check" => types(rest),
        "bundle" => bundles::bundle(rest),
        "fuzz" => fuzz::fuzz(&rest),
        "soak" => soak::soak(&rest),
        "bench" => bench::bench(&rest),
        "licences" => no_more(&rest)
            .and_then(|()| licences::licences())
            .and_then(|()| unused::unused()),
        "package" => package::package(&rest),
        "release-tag" => package::release_tag(&rest),
        "presets" => presets::presets(&rest),
        "page" => page::page(&rest),
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

/// `check --target TRIPLE`.
fn types(mut rest: Vec<String>) -> Result<(), Failure> {
    let target = Target::from_args(&mut rest)?;
    no_more(&rest)?;
    cross::types(&target)
}

/// Refuses arguments where a command takes none.
fn no_more(rest: &[String]) -> Result<(), Failure> {
    match rest.first() {
        None => Ok(()),
        Some(arg) => Err(Failure::Usage(format!("'{arg}' is not expected here"))),
    }
}
