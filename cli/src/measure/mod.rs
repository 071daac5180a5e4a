//! Files to takes, on as many threads as there are.
//!
//! In: readers of `input`. Out: the core's takes and loudness. Uses `input`.

pub mod analyse;
pub mod jobs;
pub mod loudness;
pub mod passes;
mod true_peak;
