//! Making the `.clap`, the `.vst3` and the programs.

use crate::run::{Failure, cargo, output_of, run};
use crate::system::{self, System};
use crate::target::Target;
use crate::{alike, layout, place, sign};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The plugin's package.
pub const PACKAGE: &str = "sumproof";

/// The bundles, by name.
pub const CLAP_FILE: &str = "Sumproof.clap";
/// The same.
pub const VST3_FOLDER: &str = "Sumproof.vst3";

/// The stand-alone program's file name, without what the system adds.
pub const STANDALONE: &str = "sumproof-standalone";

/// The command's.
pub const COMMAND: &str = "sumproof";

/// Its manual page.
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
    /// All of it.
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

/// Builds what users get, all of it the same wherever the tree lies, into the target's own folder of `target/bundled`.
///
/// # Errors
/// What is missing, or the failure of a step.
pub fn shipped(target: &Target) -> Result<Shipped, Failure> {
    // What is missing is said before minutes of building.
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
    // Not as a bundle anywhere: it is for a shell.
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

/// One file of one for each processor; where there is only one it is that.
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

/// The command's own text; from one that runs here, if that one doesn't.
fn manual_page(target: &Target, command: &Path) -> Result<String, Failure> {
    let text = if target.runs_here() {
        output_of(Command::new(command).arg("manual"))
    } else {
        output_of(cargo().args(["run", "--quiet", "--locked", "-p", "sumproof-cli", "--", "manual"]))
    };
    text.ok_or_else(|| Failure::Failed("`sumproof manual` failed".to_owned()))
}

/// Builds the plugin, and the packages named beside it, as users get it, and bundles it into `target/bundled`.
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

/// Bundles what profile `checked` built, apart from the users' bundles, so that a build which aborts on an allocation is
/// never installed by mistake: in `target/test/bundled`.
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
