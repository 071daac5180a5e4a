//! Errors of a file.

use std::path::{Path, PathBuf};

use sumproof_report::names;

use crate::format::READABLE;

/// Why a file could not be judged. Its text is one line: the file, the problem, the remedy.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ReadError {
    /// The file is missing, or may not be read.
    #[error("{}: {reason}", shown(path))]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// The system's message, and the remedy.
        reason: String,
    },
    /// It holds no audio that can be read.
    #[error("{}: holds no audio that can be read; give {READABLE}", shown(path))]
    NotAudio {
        /// The file.
        path: PathBuf,
    },
    /// It is something other than sound.
    #[error("{}: is {what}; give a recording", shown(path))]
    Other {
        /// The file.
        path: PathBuf,
        /// Its kind.
        what: &'static str,
    },
    /// Sound of a kind that isn't supported.
    #[error(
        "{}: is {what}, which isn't read here; convert it: {}",
        shown(path),
        conversion(path)
    )]
    Foreign {
        /// The file.
        path: PathBuf,
        /// Its kind or coding.
        what: String,
    },
    /// It is too long.
    #[error(
        "{}: is longer than {longest_min} minutes; cut out the part with the test signal",
        shown(path)
    )]
    TooLong {
        /// The file.
        path: PathBuf,
        /// Longest length, minutes.
        longest_min: u32,
    },
    /// Audio in a coding this program doesn't support.
    #[error(
        "{}: is coded in a way that can't be read ({detail}); export it as plain WAV or FLAC",
        shown(path)
    )]
    Unsupported {
        /// The file.
        path: PathBuf,
        /// The unsupported feature.
        detail: String,
    },
    /// It ends before the length in its header.
    #[error(
        "{}: is truncated, its header promises {promised} frames and {found} are there; export or copy it again",
        shown(path)
    )]
    Truncated {
        /// The file.
        path: PathBuf,
        /// Frames in the header.
        promised: u64,
        /// Frames found.
        found: u64,
    },
    /// Its contents contradict each other.
    #[error("{}: is damaged ({detail}); export or copy it again", shown(path))]
    Damaged {
        /// The file.
        path: PathBuf,
        /// The decoder's message.
        detail: String,
    },
    /// It has 0 bytes.
    #[error("{}: is empty (0 bytes); export it again", shown(path))]
    Empty {
        /// The file.
        path: PathBuf,
    },
    /// It has a header and no sound.
    #[error("{}: has a header but no sound in it; export it again", shown(path))]
    NoFrames {
        /// The file.
        path: PathBuf,
    },
    /// It has one channel.
    #[error(
        "{}: is mono, so both lines would carry the same; export it in stereo",
        shown(path)
    )]
    Mono {
        /// The file.
        path: PathBuf,
    },
    /// It has more than two channels.
    #[error(
        "{}: has {channels} channels; export left and right as one stereo file",
        shown(path)
    )]
    ManyChannels {
        /// The file.
        path: PathBuf,
        /// Number of channels.
        channels: usize,
    },
    /// It has no sound above the level below which nothing is read.
    #[error(
        "{}: is silent (below {:.0} dBFS), there is nothing to judge; check what was exported",
        shown(path),
        sumproof_core::dsp::db::NO_READING_DBFS
    )]
    Silence {
        /// The file.
        path: PathBuf,
    },
    /// It has samples that no measurement may use.
    #[error(
        "{}: {frames} of {all} frames are not numbers or above +60 dBFS; find the plugin that makes them and export again",
        shown(path)
    )]
    NotNumbers {
        /// The file.
        path: PathBuf,
        /// Number of frames with such samples.
        frames: u64,
        /// Number of all frames.
        all: u64,
    },
    /// Its sample rate is outside 8 to 192 kHz.
    #[error(
        "{}: has a sample rate of {rate_hz} Hz; export it with 8 to 192 kHz",
        shown(path)
    )]
    Rate {
        /// The file.
        path: PathBuf,
        /// Its rate, Hz.
        rate_hz: u32,
    },
}

impl ReadError {
    /// A file on which a decoder panics.
    #[must_use]
    pub fn broken(path: &Path) -> Self {
        Self::Damaged {
            path: path.into(),
            detail: "what it says can't be".into(),
        }
    }

    /// Whether only its coding isn't supported, so that another program may be able to read it.
    #[must_use]
    pub fn is_coding(&self) -> bool {
        matches!(
            self,
            Self::NotAudio { .. } | Self::Foreign { .. } | Self::Unsupported { .. }
        )
    }
}

/// A path as part of one line (see [`names::line`]).
#[must_use]
pub fn shown(path: &Path) -> String {
    names::line(&path.to_string_lossy())
}

/// The command line that converts a file to WAV. File names are included only where every shell takes them literally.
fn conversion(path: &Path) -> String {
    let wav = path.with_extension("wav");
    let plain = |path: &Path| {
        let text = path.to_str()?;
        let taken = |c: char| c.is_alphanumeric() || "._-/ ,+".contains(c);
        match text {
            _ if text.starts_with('-') || !text.chars().all(taken) => None,
            _ if text.contains(' ') => Some(format!("\"{text}\"")),
            _ => Some(text.to_owned()),
        }
    };
    match (plain(path), plain(&wav)) {
        (Some(from), Some(to)) => format!("ffmpeg -i {from} {to}"),
        _ => "ffmpeg -i RECORDING RECORDING.wav".into(),
    }
}
