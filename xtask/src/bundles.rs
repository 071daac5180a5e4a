//! Making the `.clap` and the `.vst3`.

use crate::place;
use crate::run::{Failure, cargo, run};
use std::fs;
use std::path::{Path, PathBuf};

/// The plugin's package.
pub const PACKAGE: &str = "sumproof";

/// The name that `bundler.toml` gives the bundles.
const NAME: &str = "Sumproof";

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
    if args.is_empty() {
        args.extend(["-p", PACKAGE, "--release"].map(str::to_owned));
    }
    args.insert(0, "bundle".to_owned());
    nice_plug_xtask::main_with_args("cargo xtask", args).map_err(failed)
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
