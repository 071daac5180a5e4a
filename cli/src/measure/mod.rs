//! Files to takes, on as many threads as there are.
//!
//! In: paths. Out: the core's takes and loudness. One file is `sumproof_recordings`' work; here are many, and passes.

pub mod jobs;
pub mod passes;
