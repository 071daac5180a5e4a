//! From names on the command line to frames and rigs: walking, reading, pairing passes.
//!
//! In: paths. Out: streams of frames, or one line that names the file. Uses no other room.

pub(crate) mod caught;
pub mod error;
pub mod pairs;
pub mod read;
pub mod rig;
pub mod walk;
mod wildcard;
