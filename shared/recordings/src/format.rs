//! What can be read, what is known of a file while it is, and a decoder's complaint in words.

use std::io::ErrorKind;
use std::ops::RangeInclusive;

use symphonia::core::errors::Error;

/// What can be read, in words.
pub const READABLE: &str = "WAV (RF64, W64), AIFF, CAF, FLAC, MP3, AAC (M4A, MP4, MOV, 3GP), ALAC (M4A, MP4, CAF), Ogg or Matroska/WebM with Vorbis, Opus or FLAC";

/// Sample rates that are analysed, Hz.
pub const RATES_HZ: RangeInclusive<u32> = 8_000..=192_000;

/// What is known of a file while it is read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Format {
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// How many frames the file says it has. Don't reserve memory by it: anything may stand there.
    pub promised_frames: Option<u64>,
    /// Its channels.
    pub channels: usize,
}

/// A decoder's complaint without what is said around it anyway: its own name, and that it complains.
pub(crate) fn in_words(error: &Error) -> String {
    let detail = match error {
        Error::IoError(error) if error.kind() == ErrorKind::UnexpectedEof => {
            return "it ends too early".into();
        }
        Error::DecodeError(detail) | Error::Unsupported(detail) | Error::LimitError(detail) => {
            String::from(*detail)
        }
        other => other.to_string(),
    };
    match detail.split_once(": ") {
        Some((_, complaint)) => complaint.into(),
        None => detail,
    }
}
