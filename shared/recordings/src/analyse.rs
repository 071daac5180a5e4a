//! Analyses one file as one preset.

use std::collections::BTreeMap;
use std::path::Path;

use sumproof_core::score::rig::Rig;
use sumproof_core::session::monitor::Monitor;
use sumproof_core::session::part::Outline;
use sumproof_core::session::take::{Pass, Take};
use sumproof_report::{Entry, names};

use crate::error::ReadError;
use crate::loudness::LoudnessMeter;
use crate::origin::{OnDisk, Origin};
use crate::read::read_from;

/// Analyses files one after the other; buffers for one sample rate are reused for all files with that rate.
#[derive(Debug, Default)]
pub struct Analyser {
    monitor: Option<Monitor>,
}

/// Analyses a whole file, streamed. The take gets the file's name without the extension.
///
/// # Errors
/// See [`ReadError`].
pub fn analyse(path: &Path) -> Result<Take, ReadError> {
    Analyser::default()
        .entry(path, &Rig::default(), |_| {})
        .map(|(entry, _)| entry.take)
}

impl Analyser {
    /// Like [`analyse`], with its loudness through the lines of a rig, and its loudness over time. Calls back now and
    /// then with the share of the file that is done (0 to 1; only where the file states its length).
    ///
    /// # Errors
    /// See [`ReadError`].
    pub fn entry(
        &mut self,
        path: &Path,
        rig: &Rig,
        progress: impl FnMut(f64),
    ) -> Result<(Entry, Outline), ReadError> {
        self.entry_from(&OnDisk(path), rig, progress)
    }

    /// The same for any [`Origin`].
    ///
    /// # Errors
    /// See [`ReadError`].
    pub fn entry_from(
        &mut self,
        origin: &dyn Origin,
        rig: &Rig,
        mut progress: impl FnMut(f64),
    ) -> Result<(Entry, Outline), ReadError> {
        let path = origin.path();
        let mut loudness: Option<Option<LoudnessMeter>> = None;
        let mut outline = Outline::default();
        let mut done = 0u64;
        let kept = &mut self.monitor;
        read_from(origin, |format, left, right| {
            let loudness = loudness.get_or_insert_with(|| {
                let monitor = kept
                    .take()
                    .filter(|monitor| monitor.rate_hz() == format.rate_hz)
                    .unwrap_or_else(|| Monitor::for_takes(format.rate_hz));
                kept.insert(monitor).start_take();
                outline = Outline::new(format.rate_hz);
                LoudnessMeter::new(format.rate_hz, rig)
            });
            if let Some(monitor) = kept {
                monitor.push(left, right);
            }
            if let Some(loudness) = loudness {
                loudness.push(left, right);
            }
            outline.push(left, right);
            done += left.len() as u64;
            if let Some(all) = format.promised_frames.filter(|&all| all > 0) {
                progress((done as f64 / all as f64).min(1.0));
            }
        })?;
        let take = loudness.as_ref().and(self.monitor.as_mut());
        take.and_then(|monitor| monitor.finish_take(name_of(path), Pass::Full))
            .map(|take| {
                let entry = Entry {
                    take,
                    file: Some(path.to_string_lossy().into_owned()),
                    loudness: loudness.flatten().map(|loudness| loudness.read()),
                };
                (entry, outline)
            })
            .ok_or_else(|| ReadError::NoFrames { path: path.into() })
    }
}

/// The name of a preset from its file, as one line.
#[must_use]
pub fn name_of(path: &Path) -> String {
    names::line(&path.file_stem().unwrap_or(path.as_os_str()).to_string_lossy())
}

/// Adds the folder to the names of presets with the same name.
pub fn tell_apart(entries: &mut [Entry]) {
    let mut count: BTreeMap<String, usize> = BTreeMap::new();
    for entry in entries.iter() {
        *count.entry(entry.take.name.clone()).or_default() += 1;
    }
    for entry in entries {
        if count.get(&entry.take.name).is_some_and(|&count| count > 1)
            && let Some(folder) = entry
                .file
                .as_deref()
                .and_then(|file| Path::new(file).parent())
                .filter(|folder| !folder.as_os_str().is_empty())
        {
            entry.take.name = format!("{}/{}", folder.to_string_lossy(), entry.take.name);
        }
    }
}
