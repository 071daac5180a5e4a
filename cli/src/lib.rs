//! What the `sumproof` command is made of: reading files, analysing them, writing results.
//!
//! # Contract
//! * Files are streamed: memory doesn't grow with their length ([`read_stereo`] is the exception, and says so).
//! * What is wrong with a file is one line that names it and says what to do ([`ReadError`]), with an exit code of its own
//!   ([`exit`]).
//! * Output files are written beside their place and renamed into it, so nobody ever finds half of one.
#![forbid(unsafe_code)]

pub mod analyse;
mod caught;
pub mod error;
pub mod exit;
pub mod jobs;
pub mod loudness;
pub mod output;
pub mod pairs;
pub mod passes;
pub mod read;
pub mod rig;
pub mod select;
mod true_peak;
pub mod view;
pub mod walk;
pub mod wav;

pub use analyse::analyse;
pub use error::{ReadError, shown};
pub use read::{Format, Recording, StereoFile, read, read_recording, read_stereo};
