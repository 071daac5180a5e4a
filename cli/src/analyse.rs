//! One file, one preset.

use std::path::Path;

use sumproof_core::board::Rig;
use sumproof_core::monitor::Monitor;
use sumproof_core::take::{Pass, Take};
use sumproof_report::Entry;

use crate::error::ReadError;
use crate::loudness::LoudnessMeter;
use crate::read::read;

/// Analyses a whole file, streamed, and names the take after it (without the extension).
///
/// # Errors
/// See [`ReadError`].
pub fn analyse(path: &Path) -> Result<Take, ReadError> {
    entry(path, &Rig::default(), |_| {}).map(|entry| entry.take)
}

/// The same with its loudness through the lines of a rig, telling now and then which share of the file is done (0 to 1;
/// only where the file says how long it is).
///
/// # Errors
/// See [`ReadError`].
pub fn entry(path: &Path, rig: &Rig, mut progress: impl FnMut(f64)) -> Result<Entry, ReadError> {
    let mut hearing: Option<(Monitor, Option<LoudnessMeter>)> = None;
    let mut done = 0u64;
    read(path, |format, left, right| {
        let (monitor, loudness) = hearing.get_or_insert_with(|| {
            let mut monitor = Monitor::new(format.rate_hz);
            monitor.start_take();
            (monitor, LoudnessMeter::new(format.rate_hz, rig))
        });
        monitor.push(left, right);
        if let Some(loudness) = loudness {
            loudness.push(left, right);
        }
        done += left.len() as u64;
        if let Some(all) = format.promised_frames.filter(|&all| all > 0) {
            progress((done as f64 / all as f64).min(1.0));
        }
    })?;
    hearing
        .and_then(|(mut monitor, loudness)| {
            Some(Entry {
                take: monitor.finish_take(name_of(path), Pass::Full)?,
                file: Some(path.to_string_lossy().into_owned()),
                loudness: loudness.map(|loudness| loudness.read()),
            })
        })
        .ok_or_else(|| ReadError::NoFrames { path: path.into() })
}

/// What a preset is called after its file.
#[must_use]
pub fn name_of(path: &Path) -> String {
    path.file_stem()
        .map_or_else(|| path.to_string_lossy(), |stem| stem.to_string_lossy())
        .into_owned()
}
