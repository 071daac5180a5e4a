//! Every measure against a slow implementation of its definition.
#![allow(
    clippy::unwrap_used,
    reason = "a panic is how a test fails, in its helpers too"
)]

mod precision;
mod real_presets;
