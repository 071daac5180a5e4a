//! The supported formats, the known properties of a file while it is read, and a decoder's error in words.

use std::io::ErrorKind;
use std::ops::RangeInclusive;

use symphonia::core::errors::Error;

/// The supported formats, in words.
pub const READABLE: &str = "WAV (RF64, W64), AIFF, CAF, FLAC, MP3, AAC (M4A, MP4, MOV, 3GP), ALAC (M4A, MP4, CAF), Ogg or Matroska/WebM with Vorbis, Opus or FLAC";

/// Sample rates that are analysed, Hz.
pub const RATES_HZ: RangeInclusive<u32> = 8_000..=192_000;

/// The known properties of a file while it is read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Format {
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// Number of frames stated by the file. Don't allocate by it: it may be any number.
    pub promised_frames: Option<u64>,
    /// Number of its channels.
    pub channels: usize,
}

/// A decoder's error without the decoder's name and the word 'error', which the message contains anyway.
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
