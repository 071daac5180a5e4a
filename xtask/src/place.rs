//! Where things are.

use std::path::{Path, PathBuf};

/// The workspace root.
pub fn root() -> PathBuf {
    let xtask = Path::new(env!("CARGO_MANIFEST_DIR"));
    xtask.parent().unwrap_or(xtask).to_owned()
}

/// Cargo's target directory: the one this program was built into, wherever the user has put it.
pub fn target() -> PathBuf {
    std::env::current_exe()
        .ok()
        .and_then(|exe| exe.ancestors().nth(2).map(Path::to_owned))
        .unwrap_or_else(|| root().join("target"))
}
