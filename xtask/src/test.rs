//! `cargo xtask test` and `cargo xtask check`.

use crate::bundles::{self, Bundles};
use crate::display::Display;
use crate::run::{Failure, cargo, output_of, run};
use crate::stages::Stages;
use crate::system::System;
use crate::{edges, folders, licences, needs, page, place, presets, python, samples, unused, workflows};
use std::path::{Path, PathBuf};
use std::process::Command;

/// One build for everything: optimised, because the signals are long, with debug assertions, and with the framework's
/// abort on any allocation in the audio callback.
const BUILD: [&str; 4] = [
    "--profile",
    "checked",
    "--features",
    "sumproof/assert-no-alloc,sumproof/standalone",
];

/// Scripts that drive real hosts and other libraries, in `tests/hosts`.
const PYTHON_HOSTS: [&str; 4] = [
    "vst3_pedalboard.py",
    "vst3_dawdreamer.py",
    "vst3_ardour.py",
    "spectra_scipy.py",
];

/// Scripts for hosts that open the window: they get a display.
const WINDOW_HOSTS: [&str; 1] = ["window_pedalboard.py"];

/// Folders of the sounds used by tests.
struct Sounds {
    recordings: PathBuf,
    hall: PathBuf,
    street: PathBuf,
    presets: PathBuf,
    /// The folder of the page for the phone, where it can be built.
    page: Option<PathBuf>,
}

/// Installs everything the tests need and runs them all.
///
/// # Errors
/// The failure of a stage, after all stages that could run have run.
pub fn test() -> Result<(), Failure> {
    if System::here() != System::Linux {
        return Err(Failure::Missing(
            "everything is tested on Debian; on this system run: cargo xtask test --portable".to_owned(),
        ));
    }
    let mut stages = Stages::default();
    let needed = stages.run("packages", || {
        needs::provide(&[
            needs::WINDOW,
            needs::TESTS,
            needs::BUILDING,
            needs::DAW,
            needs::PRESETS,
        ])
    });
    let interpreter = needed.and_then(|()| stages.run("Python environment", python::provide));
    let recordings = stages.run("recordings", || {
        Ok(Sounds {
            recordings: samples::provide()?,
            hall: samples::provide_hall()?,
            street: samples::provide_street()?,
            presets: PathBuf::new(),
            page: None,
        })
    });
    if let Some(python) = &interpreter {
        stages.run("workflows", || workflows::workflows(python));
    }
    let recordings = recordings.zip(interpreter.as_ref()).and_then(|(sounds, python)| {
        let presets = stages.run("presets", || presets::few(python, &sounds.hall, &sounds.street))?;
        Some(Sounds { presets, ..sounds })
    });
    let recordings = recordings.map(|sounds| Sounds {
        page: page_of(&mut stages),
        ..sounds
    });
    stages.run("format", format);
    stages.run("lints", lints);
    stages.run("platform switches", edges::edges);
    stages.run("folders", folders::folders);
    stages.run("licences", licences::licences);
    stages.run("unused dependencies", unused::unused);
    let built = stages
        .run("build", build)
        .and_then(|()| stages.run("bundle", bundles::checked));
    if let Some(bundles) = &built {
        if let Some(recordings) = &recordings {
            stages.run("tests", || tests(bundles, recordings));
        }
        stages.run("documentation examples", doc_tests);
        if let (Some(python), Some(recordings)) = (&interpreter, &recordings) {
            for host in PYTHON_HOSTS {
                stages.run(host, || python_host(python, host, bundles, recordings));
            }
            for host in WINDOW_HOSTS {
                stages.run(host, || window_host(python, host, bundles, recordings));
            }
        }
    }
    stages.finish()
}

/// The page, where there is a compiler for it; otherwise its tests are reported as not run.
fn page_of(stages: &mut Stages) -> Option<PathBuf> {
    if matches!(page::compiler(), Ok(None)) {
        stages.not_run("page", "no wasm32 target");
        return None;
    }
    stages.run("page", page::built)
}

/// Runs only the format check and the lints.
///
/// # Errors
/// The failure of either.
pub fn check() -> Result<(), Failure> {
    let mut stages = Stages::default();
    stages.run("format", format);
    stages.run("lints", lints);
    stages.run("platform switches", edges::edges);
    stages.run("folders", folders::folders);
    stages.finish()
}

fn format() -> Result<(), Failure> {
    component("fmt", "rustfmt")?;
    run(cargo().args(["fmt", "--all", "--check"]))
}

fn lints() -> Result<(), Failure> {
    component("clippy", "clippy")?;
    run(cargo()
        .args(["clippy", "--workspace", "--all-targets"])
        .args(BUILD)
        .args(["--", "-D", "warnings"]))
}

/// Checks for a component: a toolchain may lack its optional parts.
fn component(subcommand: &str, name: &str) -> Result<(), Failure> {
    match output_of(cargo().args([subcommand, "--version"])) {
        Some(_) => Ok(()),
        None => Err(Failure::Missing(format!(
            "cargo {subcommand} is missing; run\n  rustup component add {name}"
        ))),
    }
}

fn build() -> Result<(), Failure> {
    run(cargo()
        .args(["build", "--workspace", "--all-targets"])
        .args(BUILD))
}

fn tests(bundles: &Bundles, sounds: &Sounds) -> Result<(), Failure> {
    let display = Display::start()?;
    let mut command = cargo();
    if output_of(cargo().args(["nextest", "--version"])).is_some() {
        // Nextest has profiles of its own, and another option for cargo's.
        command
            .args([
                "nextest",
                "run",
                "--workspace",
                "--no-fail-fast",
                "--run-ignored",
                "all",
                "--cargo-profile",
            ])
            .args(&BUILD[1..]);
    } else {
        command
            .args(["test", "--workspace", "--all-targets", "--no-fail-fast"])
            .args(BUILD)
            // Includes the tests that need Debian's packages, which are installed here.
            .args(["--", "--include-ignored"]);
    }
    run(with_paths(&mut command, bundles, sounds).env("DISPLAY", &display.name))
}

fn doc_tests() -> Result<(), Failure> {
    run(cargo().args(["test", "--workspace", "--doc"]).args(BUILD))
}

fn python_host(python: &Path, script: &str, bundles: &Bundles, sounds: &Sounds) -> Result<(), Failure> {
    let mut command = Command::new(python);
    command.arg(place::root().join("tests/hosts").join(script));
    run(with_paths(&mut command, bundles, sounds))
}

fn window_host(python: &Path, script: &str, bundles: &Bundles, sounds: &Sounds) -> Result<(), Failure> {
    let display = Display::start()?;
    let mut command = Command::new(python);
    command
        .arg(place::root().join("tests/hosts").join(script))
        .env("DISPLAY", &display.name)
        // Cargo's folder for tests' files.
        .env("SUMPROOF_PICTURES", place::target().join("tmp"));
    run(with_paths(&mut command, bundles, sounds))
}

/// Passes all paths to a test (`tests/host/src/setup.rs` reads them).
fn with_paths<'c>(command: &'c mut Command, bundles: &Bundles, sounds: &Sounds) -> &'c mut Command {
    let probes = System::here().library("probe_plugins");
    if let Some(page) = &sounds.page {
        command.env("SUMPROOF_PAGE", page);
    }
    command
        .env("SUMPROOF_CLAP", &bundles.clap)
        .env("SUMPROOF_VST3", &bundles.vst3)
        // A server name that no user's sound server has.
        .env("JACK_DEFAULT_SERVER", "sumproof-tests")
        .env("SUMPROOF_SAMPLES", &sounds.recordings)
        .env("SUMPROOF_GUITARIX", &sounds.hall)
        .env("SUMPROOF_JCONVOLVER", &sounds.street)
        .env("SUMPROOF_PRESETS", &sounds.presets)
        .env(
            "SUMPROOF_SPECTRA",
            place::target().join("checked/sumproof-spectra"),
        )
        .env(
            "SUMPROOF_STANDALONE",
            place::target().join("checked").join(bundles::STANDALONE),
        )
        .env(
            "SUMPROOF_PROBE_PLUGINS",
            place::target().join("checked/examples").join(probes),
        )
}
