//! Every measure held against a slow definition of the same.
#![allow(
    clippy::unwrap_used,
    reason = "a panic is how a test fails, in its helpers too"
)]

mod precision;
mod real_presets;
