//! One file, one take.

use std::path::Path;

use sumproof_core::monitor::Monitor;
use sumproof_core::take::{Pass, Take};

use crate::error::ReadError;
use crate::read::read;

/// Analyses a whole file, streamed, and names the take after it (without the extension).
///
/// # Errors
/// See [`ReadError`].
pub fn analyse(path: &Path) -> Result<Take, ReadError> {
    analyse_with(path, |_| {})
}

/// The same, telling now and then which share of the file is done (0 to 1; only where the file says how long it is).
///
/// # Errors
/// See [`ReadError`].
pub fn analyse_with(path: &Path, mut progress: impl FnMut(f64)) -> Result<Take, ReadError> {
    let mut monitor: Option<Monitor> = None;
    let mut done = 0u64;
    read(path, |format, left, right| {
        let monitor = monitor.get_or_insert_with(|| {
            let mut monitor = Monitor::new(format.rate_hz);
            monitor.start_take();
            monitor
        });
        monitor.push(left, right);
        done += left.len() as u64;
        if let Some(all) = format.promised_frames.filter(|&all| all > 0) {
            progress((done as f64 / all as f64).min(1.0));
        }
    })?;
    let name = path
        .file_stem()
        .map_or_else(|| path.to_string_lossy(), |stem| stem.to_string_lossy())
        .into_owned();
    monitor
        .and_then(|mut monitor| monitor.finish_take(name, Pass::Full))
        .ok_or_else(|| ReadError::NoFrames { path: path.into() })
}
