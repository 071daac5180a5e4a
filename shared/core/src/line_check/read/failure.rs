//! Why there's no finding.

use super::LONGEST_S;

/// Why a recording can't be read. Its text says what is the matter and what to do; it doesn't name the file.
#[derive(Clone, Debug, PartialEq)]
pub enum ReadFailure {
    /// No samples, or not the same number in each channel.
    Shape,
    /// Samples that aren't numbers, or above +60 dBFS.
    NotNumbers,
    /// Nothing in it.
    Silence,
    /// Too short for any of it.
    TooShort {
        /// Its length, seconds.
        seconds: f64,
        /// Length of the signal, seconds.
        needed_s: f64,
    },
    /// Too long to look through.
    TooLong {
        /// Its length, seconds.
        seconds: f64,
    },
    /// The signal isn't in it.
    NotFound,
    /// Only a part of the signal is in it.
    Partial {
        /// Main parts that are in it, in words.
        there: Vec<&'static str>,
        /// Those that are missing.
        missing: Vec<&'static str>,
    },
    /// The signal is in it, but neither line's response stands out.
    Faint,
}

impl std::fmt::Display for ReadFailure {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Shape => write!(f, "has no samples, or channels of different lengths"),
            Self::NotNumbers => write!(
                f,
                "holds samples that are not numbers, or above +60 dBFS; record it again"
            ),
            Self::Silence => write!(
                f,
                "is silent; check what the recorder listens to, and record again"
            ),
            Self::TooShort { seconds, needed_s } => write!(
                f,
                "is {seconds:.1} s long and the signal takes {needed_s:.0} s; record all of it"
            ),
            Self::TooLong { seconds } => write!(
                f,
                "is {:.0} minutes long; cut it to the {:.0} minutes around the signal",
                seconds / 60.0,
                LONGEST_S / 60.0
            ),
            Self::NotFound => write!(
                f,
                "the test signal isn't in it; check that it is the right recording, and made with the same settings \
                 (--mono, --band, --length), or record closer and louder"
            ),
            Self::Partial { there, missing } => write!(
                f,
                "holds only a part of the signal ({}; not: {}); record from before its start until after its end",
                there.join(", "),
                missing.join(", ")
            ),
            Self::Faint => write!(
                f,
                "the test signal, or a part of it, is in it, but too faint to say anything; record closer, louder, or with less noise, or \
                 check that it was made with the same settings"
            ),
        }
    }
}

impl std::error::Error for ReadFailure {}
