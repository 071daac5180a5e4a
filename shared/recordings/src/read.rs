//! Reads stereo files, streamed.

use std::path::Path;

use sumproof_core::dsp::numbers::to_count;
use sumproof_core::dsp::{db, samples};
use sumproof_core::spectrum::pair_sums::PairSums;

use crate::error::ReadError;
use crate::format::Format;
use crate::opened::Opened;
use crate::origin::{OnDisk, Origin};

/// A whole stereo file in memory.
#[derive(Clone, Debug, PartialEq)]
pub struct StereoFile {
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// The left channel, full scale ±1.
    pub left: Vec<f32>,
    /// The right channel, of the same length.
    pub right: Vec<f32>,
    /// Number of channels in the file: 2, because others are errors.
    pub channels_in_file: usize,
}

/// A whole mono or stereo file in memory.
#[derive(Clone, Debug, PartialEq)]
pub struct Recording {
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// One or two channels, full scale ±1.
    pub channels: Vec<Vec<f32>>,
}

/// Reads a file of any format in [`READABLE`](crate::format::READABLE), or the sound of a video, and passes its frames
/// to `on_chunk`, in chunks of equal length left and right, none of them empty. Returns the number of frames.
///
/// Errors of the sound itself (silence, samples that are not numbers) are known only at the end, after the chunks have
/// been passed on.
///
/// # Errors
/// Every [`ReadError`].
pub fn read(path: &Path, on_chunk: impl FnMut(&Format, &[f32], &[f32])) -> Result<u64, ReadError> {
    read_from(&OnDisk(path), on_chunk)
}

/// The same for any [`Origin`].
///
/// # Errors
/// As [`read`].
pub fn read_from(
    origin: &dyn Origin,
    mut on_chunk: impl FnMut(&Format, &[f32], &[f32]),
) -> Result<u64, ReadError> {
    let path = origin.path();
    let mut opened = Opened::new(origin, 2..=2)?;
    let mut check = Check::default();
    while let Some((format, channels)) = opened.next_chunk(path)? {
        let [left, right] = channels else {
            // Files with other numbers of channels were refused when they were opened.
            continue;
        };
        if left.is_empty() {
            continue;
        }
        check.add(left, right);
        on_chunk(&format, left, right);
    }
    opened.verify_length(path, check.frames())?;
    check.verdict(path)?;
    Ok(check.frames())
}

/// Reads a whole file into memory.
///
/// # Errors
/// As [`read`].
pub fn read_stereo(path: &Path) -> Result<StereoFile, ReadError> {
    let mut file = StereoFile {
        rate_hz: 0.0,
        left: Vec::new(),
        right: Vec::new(),
        channels_in_file: 2,
    };
    read(path, |format, left, right| {
        file.rate_hz = format.rate_hz;
        file.left.extend_from_slice(left);
        file.right.extend_from_slice(right);
    })?;
    Ok(file)
}

/// Reads a whole mono or stereo file of up to `longest_s` seconds into memory. Its samples are not judged: it may be
/// silent.
///
/// # Errors
/// As [`read`], except those about samples and mono files; a longer file is refused as soon as its length is known.
pub fn read_recording(path: &Path, longest_s: f64) -> Result<Recording, ReadError> {
    read_recording_from(&OnDisk(path), longest_s)
}

/// The same for any [`Origin`].
///
/// # Errors
/// As [`read_recording`].
pub fn read_recording_from(origin: &dyn Origin, longest_s: f64) -> Result<Recording, ReadError> {
    let path = origin.path();
    let mut opened = Opened::new(origin, 1..=2)?;
    let mut recording = Recording {
        rate_hz: 0.0,
        channels: Vec::new(),
    };
    let too_long = |frames: u64, rate_hz: f64| frames as f64 > longest_s * rate_hz;
    while let Some((format, channels)) = opened.next_chunk(path)? {
        recording.rate_hz = format.rate_hz;
        recording.channels.resize(channels.len(), Vec::new());
        for (channel, new) in recording.channels.iter_mut().zip(channels) {
            channel.extend_from_slice(new);
        }
        let read = recording.channels.first().map_or(0, Vec::len) as u64;
        let frames = format.promised_frames.unwrap_or(0).max(read);
        if too_long(frames, format.rate_hz) {
            return Err(ReadError::TooLong {
                path: path.into(),
                longest_min: to_count(longest_s / 60.0),
            });
        }
    }
    let frames = recording.channels.first().map_or(0, Vec::len);
    opened.verify_length(path, frames as u64)?;
    if frames == 0 {
        return Err(ReadError::NoFrames { path: path.into() });
    }
    Ok(recording)
}

/// Checks on the sound of a file.
#[derive(Default)]
struct Check {
    /// Number of invalid frames.
    invalid: u64,
    /// Sums over the valid frames.
    sums: PairSums,
}

impl Check {
    fn add(&mut self, left: &[f32], right: &[f32]) {
        if samples::all_valid(left, right) {
            self.sums.add_all(left, right);
            return;
        }
        for (&l, &r) in left.iter().zip(right) {
            if samples::is_valid(l, r) {
                self.sums.add(f64::from(l), f64::from(r));
            } else {
                self.invalid += 1;
            }
        }
    }

    fn frames(&self) -> u64 {
        self.invalid + self.sums.frames
    }

    fn verdict(&self, path: &Path) -> Result<(), ReadError> {
        let path = || path.to_path_buf();
        if self.frames() == 0 {
            return Err(ReadError::NoFrames { path: path() });
        }
        if self.invalid > 0 {
            return Err(ReadError::NotNumbers {
                path: path(),
                frames: self.invalid,
                all: self.frames(),
            });
        }
        if db::from_power(self.sums.mean_power()) <= db::NO_READING_DBFS {
            return Err(ReadError::Silence { path: path() });
        }
        Ok(())
    }
}
