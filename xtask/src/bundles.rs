//! Builds the `.clap`, the `.vst3` and the programs.

use crate::run::{Failure, cargo, output_of, run};
use crate::system::{self, System};
use crate::target::Target;
use crate::{alike, layout, place, sign};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The plugin's package.
pub const PACKAGE: &str = "sumproof";

/// File name of the CLAP bundle.
pub const CLAP_FILE: &str = "Sumproof.clap";
/// Folder name of the VST3 bundle.
pub const VST3_FOLDER: &str = "Sumproof.vst3";

/// File name of the stand-alone program, without the system's extension.
pub const STANDALONE: &str = "sumproof-standalone";

/// File name of the command, without the system's extension.
pub const COMMAND: &str = "sumproof";

/// File name of its manual page.
pub const MANUAL: &str = "sumproof.1";

/// The two bundles.
pub struct Bundles {
    /// The CLAP file.
    pub clap: PathBuf,
    /// The VST3 folder.
    pub vst3: PathBuf,
}

/// `cargo xtask bundle [--target TRIPLE]`.
///
/// # Errors
/// Wrong usage, or as [`shipped`].
pub fn bundle(mut args: Vec<String>) -> Result<(), Failure> {
    let target = Target::from_args(&mut args)?;
    if let Some(other) = args.first() {
        return Err(Failure::Usage(format!("'{other}' is not expected here")));
    }
    for path in shipped(&target)?.all() {
        println!("{}", path.display());
    }
    Ok(())
}

/// Everything that users get, built.
pub struct Shipped {
    /// The CLAP file.
    pub clap: PathBuf,
    /// The VST3 folder.
    pub vst3: PathBuf,
    /// The stand-alone program.
    pub standalone: PathBuf,
    /// The command.
    pub command: PathBuf,
    /// The command's manual page.
    pub manual: PathBuf,
}

impl Shipped {
    /// All paths.
    pub fn all(&self) -> [&Path; 5] {
        [
            &self.clap,
            &self.vst3,
            &self.standalone,
            &self.command,
            &self.manual,
        ]
    }
}

/// Builds everything that users get, with the same result wherever the tree is, into the target's own folder of
/// `target/bundled`.
///
/// # Errors
/// A missing tool, or the failure of a step.
pub fn shipped(target: &Target) -> Result<Shipped, Failure> {
    // What is missing is reported before minutes of building.
    target.provide()?;
    let builds = target.builds();
    for (args, _) in &builds {
        run(cargo()
            .args([
                "build",
                "--release",
                "--locked",
                "-p",
                PACKAGE,
                "-p",
                "sumproof-cli",
            ])
            .args(["--features", "sumproof/standalone"])
            .args(args)
            .env("CARGO_ENCODED_RUSTFLAGS", alike::flags(target)?)
            .env("CFLAGS", alike::c_flags(target)?))?;
    }
    let home = target.home();
    let built = |file: String| -> Result<PathBuf, Failure> {
        let parts: Vec<PathBuf> = builds
            .iter()
            .map(|(_, below)| below.join("release").join(&file))
            .collect();
        joined(&parts, &home.join("parts"))
    };
    let system = target.system;
    let triples = target.triples()?;
    let processor = triples[0].split('-').next().unwrap_or_default();
    let [clap, vst3] = layout::plugins(&built(system.library(PACKAGE))?, system, processor, &home)?;
    let standalone = layout::program(&built(system.program(STANDALONE))?, system, STANDALONE, &home)?;
    // No bundle on any system: it is started from a shell.
    let command = home.join(system.program(COMMAND));
    copied(&built(system.program(COMMAND))?, &command)?;
    for path in [&clap, &vst3, &standalone, &command] {
        sign::sign(path, system)?;
    }
    let manual = home.join(MANUAL);
    fs::write(&manual, manual_page(target, &command)?).map_err(|e| failed(&manual, &e))?;
    Ok(Shipped {
        clap,
        vst3,
        standalone,
        command,
        manual,
    })
}

/// Joins the builds for each processor into one file; a single one is returned as it is.
fn joined(parts: &[PathBuf], folder: &Path) -> Result<PathBuf, Failure> {
    let [first, _, ..] = parts else {
        return Ok(parts[0].clone());
    };
    fs::create_dir_all(folder).map_err(|e| failed(folder, &e))?;
    let whole = folder.join(first.file_name().unwrap_or_default());
    run(Command::new("lipo")
        .args(["-create", "-output"])
        .arg(&whole)
        .args(parts))?;
    Ok(whole)
}

/// The manual page printed by the command; by one built for this machine if that one doesn't run here.
fn manual_page(target: &Target, command: &Path) -> Result<String, Failure> {
    let text = if target.runs_here() {
        output_of(Command::new(command).arg("manual"))
    } else {
        output_of(cargo().args(["run", "--quiet", "--locked", "-p", "sumproof-cli", "--", "manual"]))
    };
    text.ok_or_else(|| Failure::Failed("`sumproof manual` failed".to_owned()))
}

/// Builds the plugin, and the packages named beside it, in the form users get, and bundles it into `target/bundled`.
///
/// # Errors
/// [`Failure::Failed`] when building or bundling fails.
pub fn release(also: &[&str]) -> Result<Bundles, Failure> {
    let packages = [&[PACKAGE], also].concat();
    run(cargo()
        .args(["build", "--release"])
        .args(packages.iter().flat_map(|package| ["-p", package])))?;
    bundle_built("release", &place::target().join("bundled"))
}

/// Bundles the build of profile `checked` in `target/test/bundled`, separate from the users' bundles, so that a build
/// which aborts on an allocation is never installed by mistake.
///
/// # Errors
/// [`Failure::Failed`] when there is nothing to bundle.
pub fn checked() -> Result<Bundles, Failure> {
    bundle_built("checked", &place::target().join("test/bundled"))
}

fn bundle_built(profile: &str, home: &Path) -> Result<Bundles, Failure> {
    let system = System::here();
    let library = place::target().join(profile).join(system.library(PACKAGE));
    let host = system::host()?;
    let processor = host.split('-').next().unwrap_or_default();
    let [clap, vst3] = layout::plugins(&library, system, processor, home)?;
    for path in [&clap, &vst3] {
        sign::sign(path, system)?;
    }
    Ok(Bundles { clap, vst3 })
}

fn copied(from: &Path, to: &Path) -> Result<(), Failure> {
    fs::copy(from, to).map(drop).map_err(|e| failed(from, &e))
}

fn failed(path: &Path, error: &std::io::Error) -> Failure {
    Failure::Failed(format!("{}: {error}", path.display()))
}
