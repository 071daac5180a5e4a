//! Audio files: reading, analysis, loudness.
//!
//! In: file names, or any other source of bytes ([`Origin`]). Out: frames, takes, loudness; or one line that names the
//! file and says what to do ([`ReadError`]).
//!
//! # Contract
//! * Files are streamed: memory doesn't grow with their length ([`read_stereo`] and [`read_recording`] are the exceptions, and say
//!   so).
//! * Files may be damaged or hostile: they are refused, whatever a decoder makes of them.
#![forbid(unsafe_code)]
#![cfg_attr(
    test,
    allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_possible_wrap,
        reason = "a test chooses the numbers it converts"
    )
)]

pub mod analyse;
pub(crate) mod caught;
mod codecs;
mod coding;
pub mod error;
pub mod format;
mod kind;
mod long_wav;
pub mod loudness;
mod opened;
pub mod origin;
mod promise;
pub mod read;
mod track;
mod true_peak;

pub use analyse::analyse;
pub use error::{ReadError, shown};
pub use format::Format;
pub use origin::Origin;
pub use read::{Recording, StereoFile, read, read_from, read_recording, read_recording_from, read_stereo};
