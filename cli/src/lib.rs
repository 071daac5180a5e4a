//! The library of the `sumproof` command: finding files, having them read and analysed, writing results.
//!
//! # Contract
//! * Files are streamed: memory doesn't grow with their length ([`read_stereo`] is the exception, and says so).
//! * An error of a file is one line that names it and says what to do ([`ReadError`]), with an exit code of its own
//!   ([`exit`]).
//! * Output files are written under a temporary name and renamed into place, so no reader ever finds a partly written
//!   one.
#![forbid(unsafe_code)]

pub mod choose;
pub mod exit;
pub mod input;
pub mod measure;
pub mod output;

pub use sumproof_recordings::{
    Format, ReadError, Recording, StereoFile, analyse, read, read_recording, read_stereo, shown,
};
