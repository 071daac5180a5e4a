//! A real browser for tests: Debian's `chromium`, without a window and without network access.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::common::QUIET_CHROMIUM;

/// Prints a page as the browser's user would, without headers and footers, and returns the PDF.
///
/// # Panics
/// There is no `chromium` on the path, or it prints nothing; the message says what to do.
pub fn print_to_pdf(page: &Path) -> Vec<u8> {
    let page = page.canonicalize().expect("the page is there");
    let out = page.with_extension("printed.pdf");
    run(
        &page,
        &[
            format!("--print-to-pdf={}", out.display()),
            "--no-pdf-header-footer".into(),
        ],
        &out,
    )
}

fn run(page: &Path, what: &[String], out: &Path) -> Vec<u8> {
    let profile = profile();
    let output = Command::new("chromium")
        .args(QUIET_CHROMIUM)
        .arg(format!("--user-data-dir={}", profile.display()))
        .args(what)
        .arg(format!("file://{}", page.display()))
        .output()
        .unwrap_or_else(|error| panic!("chromium could not be started ({error}): apt-get install chromium"));
    let _ = fs::remove_dir_all(&profile);
    fs::read(out).unwrap_or_else(|error| {
        panic!(
            "chromium wrote nothing ({error}): {}",
            String::from_utf8_lossy(&output.stderr)
        )
    })
}

/// A fresh profile.
fn profile() -> PathBuf {
    use std::sync::atomic::{AtomicU32, Ordering};
    static NEXT: AtomicU32 = AtomicU32::new(0);
    let number = NEXT.fetch_add(1, Ordering::Relaxed);
    let path = std::env::temp_dir().join(format!("sumproof-chromium-{}-{number}", std::process::id()));
    let _ = fs::remove_dir_all(&path);
    fs::create_dir_all(&path).expect("a place to write");
    path
}
