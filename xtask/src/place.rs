//! Paths of the project.

use std::fs;
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

/// Copies a file, or a folder with its contents.
///
/// # Errors
/// The first file that can't be read or written.
pub fn copy(from: &Path, to: &Path) -> std::io::Result<()> {
    if !from.is_dir() {
        return fs::copy(from, to).map(drop);
    }
    fs::create_dir_all(to)?;
    for entry in fs::read_dir(from)? {
        let entry = entry?;
        copy(&entry.path(), &to.join(entry.file_name()))?;
    }
    Ok(())
}
