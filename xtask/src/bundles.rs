//! Making the `.clap`, the `.vst3` and the stand-alone program.

use crate::run::{Failure, cargo, output_of, run};
use crate::{alike, needs, place};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The plugin's package.
pub const PACKAGE: &str = "sumproof";

/// The bundles, by the name that `bundler.toml` gives them.
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

/// `cargo xtask bundle`: the framework's own bundler, told what this project is.
///
/// # Errors
/// [`Failure::Failed`] when building or bundling fails.
pub fn bundle(mut args: Vec<String>) -> Result<(), Failure> {
    let all = args.is_empty();
    if all {
        // What is missing is said before minutes of building.
        needs::provide(&[needs::STANDALONE])?;
        args.extend(["-p", PACKAGE, "--release", "--features", "standalone"].map(str::to_owned));
    }
    args.insert(0, "bundle".to_owned());
    nice_plug_xtask::main_with_args("cargo xtask", args).map_err(failed)?;
    if all {
        let placed = beside_bundles(STANDALONE)?;
        eprintln!("Created a stand-alone program at '{}'", placed.display());
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

/// Builds what users get, all of it the same wherever the tree lies, into `target/bundled`.
///
/// # Errors
/// What is missing, or the failure of a step.
pub fn shipped() -> Result<Shipped, Failure> {
    // What is missing is said before minutes of building.
    needs::provide(&[needs::STANDALONE])?;
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
        .env("CARGO_ENCODED_RUSTFLAGS", alike::flags()?))?;
    let Bundles { clap, vst3 } = bundle_built(&place::target(), "release")?;
    // The bundler takes the command, which has the plugin's package's name, for a program of the plugin's. (Where letters' case
    // makes no difference this is the command's own place.)
    let mistaken = clap.with_extension("");
    let mistaken = mistaken.with_extension(std::env::consts::EXE_EXTENSION);
    fs::remove_file(&mistaken).map_err(|e| Failure::Failed(format!("{}: {e}", mistaken.display())))?;
    let [standalone, command] = [STANDALONE, COMMAND].map(beside_bundles);
    let (standalone, command) = (standalone?, command?);
    let manual = place::target().join("bundled").join(MANUAL);
    let text = output_of(Command::new(&command).arg("manual"))
        .ok_or_else(|| Failure::Failed("`sumproof manual` failed".to_owned()))?;
    fs::write(&manual, text).map_err(|e| Failure::Failed(format!("{}: {e}", manual.display())))?;
    Ok(Shipped {
        clap,
        vst3,
        standalone,
        command,
        manual,
    })
}

/// Copies a program of profile `release` to where the bundles are.
fn beside_bundles(program: &str) -> Result<PathBuf, Failure> {
    let file = format!("{program}{}", std::env::consts::EXE_SUFFIX);
    let (built, placed) = (
        place::target().join("release").join(&file),
        place::target().join("bundled").join(&file),
    );
    fs::copy(&built, &placed).map_err(|e| Failure::Failed(format!("{}: {e}", built.display())))?;
    Ok(placed)
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
    bundle_built(&place::target(), "release")
}

/// Bundles what profile `checked` built, apart from the users' bundles, so that a build which aborts on an allocation is
/// never installed by mistake: in `target/test/bundled`.
///
/// # Errors
/// [`Failure::Failed`] when there is nothing to bundle.
pub fn checked() -> Result<Bundles, Failure> {
    let library = format!(
        "{}{PACKAGE}{}",
        std::env::consts::DLL_PREFIX,
        std::env::consts::DLL_SUFFIX
    );
    let apart = place::target().join("test");
    // The bundler looks for the library below the target directory that it writes to.
    let folder = apart.join("checked");
    fs::create_dir_all(&folder).map_err(failed)?;
    let built = place::target().join("checked").join(&library);
    fs::copy(&built, folder.join(&library))
        .map_err(|e| Failure::Failed(format!("{}: {e}", built.display())))?;
    bundle_built(&apart, "checked")
}

fn bundle_built(target: &Path, profile: &str) -> Result<Bundles, Failure> {
    nice_plug_xtask::chdir_workspace_root().map_err(failed)?;
    let args = ["--profile".to_owned(), profile.to_owned()];
    nice_plug_xtask::bundle(target, PACKAGE, &args, false).map_err(failed)?;
    let home = target.join("bundled");
    Ok(Bundles {
        clap: home.join(CLAP_FILE),
        vst3: home.join(VST3_FOLDER),
    })
}

fn failed(error: impl std::fmt::Display) -> Failure {
    Failure::Failed(format!("{error:#}"))
}
