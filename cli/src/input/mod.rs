//! From names on the command line to frames and rigs: walking, reading, pairing passes.
//!
//! In: paths. Out: streams of frames, or one line that names the file. Uses no other room.

pub(crate) mod caught;
mod codecs;
mod coding;
pub mod error;
pub mod format;
mod kind;
mod long_wav;
mod opened;
pub mod pairs;
mod promise;
pub mod read;
pub mod rig;
mod track;
pub mod walk;
pub mod wildcard;
