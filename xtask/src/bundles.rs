//! Making the `.clap`, the `.vst3` and the stand-alone program.

use crate::run::{Failure, cargo, run};
use crate::{needs, place};
use std::fs;
use std::path::{Path, PathBuf};

/// The plugin's package.
pub const PACKAGE: &str = "sumproof";

/// The name that `bundler.toml` gives the bundles.
const NAME: &str = "Sumproof";

/// The stand-alone program's file name, without what the system adds.
pub const STANDALONE: &str = "sumproof-standalone";

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
        let file = format!("{STANDALONE}{}", std::env::consts::EXE_SUFFIX);
        let (built, placed) = (
            place::target().join("release").join(&file),
            place::target().join("bundled").join(&file),
        );
        fs::copy(&built, &placed).map_err(|e| Failure::Failed(format!("{}: {e}", built.display())))?;
        eprintln!("Created a stand-alone program at '{}'", placed.display());
    }
    Ok(())
}

/// The stand-alone program, if it was bundled.
pub fn standalone() -> Option<PathBuf> {
    let file = format!("{STANDALONE}{}", std::env::consts::EXE_SUFFIX);
    let path = place::target().join("bundled").join(file);
    path.exists().then_some(path)
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
        clap: home.join(format!("{NAME}.clap")),
        vst3: home.join(format!("{NAME}.vst3")),
    })
}

/// The users' bundles, if they were made.
pub fn made() -> Option<Bundles> {
    let home = place::target().join("bundled");
    let bundles = Bundles {
        clap: home.join(format!("{NAME}.clap")),
        vst3: home.join(format!("{NAME}.vst3")),
    };
    (bundles.clap.exists() && bundles.vst3.exists()).then_some(bundles)
}

fn failed(error: impl std::fmt::Display) -> Failure {
    Failure::Failed(format!("{error:#}"))
}
