//! The paths of what was built and installed for the tests.
//!
//! `cargo xtask test` sets the variables; without them, the same places are tried under `target/`.

use crate::error::HostError;
use crate::plugin::{Library, Plugin};
use std::path::{Path, PathBuf};

/// The plugin's CLAP id.
pub const CLAP_ID: &str = "io.sumproof.sumproof";

/// The CLAP id of the plugin with a side-chain.
pub const SIDE_CHAIN_ID: &str = "io.sumproof.sumproof-side-chain";

/// A fresh plugin with a side-chain from the bundle under test.
///
/// # Errors
/// Those of loading and instantiating.
///
/// # Panics
/// When there is no bundle.
pub fn side_chain_plugin() -> Result<Plugin, HostError> {
    Library::load(&clap_bundle())?.instantiate(SIDE_CHAIN_ID)
}

/// A fresh plugin from the bundle under test.
///
/// # Errors
/// Those of loading and instantiating.
///
/// # Panics
/// When there is no bundle.
pub fn plugin() -> Result<Plugin, HostError> {
    Library::load(&clap_bundle())?.instantiate(CLAP_ID)
}

/// The workspace root.
#[must_use]
pub fn workspace() -> PathBuf {
    let host = Path::new(env!("CARGO_MANIFEST_DIR"));
    host.ancestors().nth(2).unwrap_or(host).to_owned()
}

/// The bundled `.clap` under test.
///
/// # Panics
/// When there is none: without it a test would prove nothing.
#[must_use]
pub fn clap_bundle() -> PathBuf {
    required("SUMPROOF_CLAP", "test/bundled/Sumproof.clap")
}

/// The bundled `.vst3` under test.
///
/// # Panics
/// When there is none.
#[must_use]
pub fn vst3_bundle() -> PathBuf {
    required("SUMPROOF_VST3", "test/bundled/Sumproof.vst3")
}

/// The folder that holds the real recordings (Debian's `sonic-pi-samples`).
///
/// # Panics
/// When there is none.
#[must_use]
pub fn samples() -> PathBuf {
    required(
        "SUMPROOF_SAMPLES",
        "cache/sonic-pi-samples/usr/share/sonic-pi/samples",
    )
}

/// The probe plugins (`tests/examples/probe_plugins.rs`).
///
/// # Panics
/// When it was not built.
#[must_use]
pub fn probe_plugins() -> PathBuf {
    required("SUMPROOF_PROBE_PLUGINS", "checked/examples/libprobe_plugins.so")
}

/// The stand-alone program.
///
/// # Panics
/// When it was not built.
#[must_use]
pub fn standalone() -> PathBuf {
    required("SUMPROOF_STANDALONE", "checked/sumproof-standalone")
}

/// Waits until no other test uses the display, because windows would cover one another and there is only one pointer.
/// The lock lasts until the file is dropped.
///
/// # Panics
/// When the file can't be made.
#[must_use]
pub fn display_to_ourselves() -> std::fs::File {
    let path = std::env::temp_dir().join("sumproof-tests-display.lock");
    let file = std::fs::OpenOptions::new()
        .create(true)
        .truncate(false)
        .write(true)
        .open(&path)
        .and_then(|file| file.lock().map(|()| file));
    file.unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

fn required(variable: &str, below_target: &str) -> PathBuf {
    let path = std::env::var_os(variable).map_or_else(
        || {
            let target = std::env::var_os("CARGO_TARGET_DIR")
                .map_or_else(|| workspace().join("target"), PathBuf::from);
            target.join(below_target)
        },
        PathBuf::from,
    );
    assert!(
        path.exists(),
        "{} is missing ({variable} names it): run `cargo xtask test`, which makes it",
        path.display()
    );
    path
}
