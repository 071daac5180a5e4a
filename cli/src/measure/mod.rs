//! Analyses files as takes, on as many threads as there are processors.
//!
//! In: paths. Out: the core's takes and loudness. Single files are read by `sumproof_recordings`; this is for many
//! files, and for passes.

pub mod jobs;
pub mod passes;
