//! Resolves names on the command line to files and rigs: walking folders, pairing passes, rig files. Recordings
//! themselves are read by `sumproof_recordings`.
//!
//! In: paths. Out: paths of recordings, rigs, or one line that names the file.

pub mod pairs;
pub mod rig;
pub mod walk;
pub mod wildcard;
