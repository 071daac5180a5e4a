//! The three ways to tell dry from wet, tested on presets with known dry and wet.
#![allow(
    clippy::unwrap_used,
    reason = "a panic is how a test fails, in its helpers too"
)]

mod accuracy;
mod behaviour;
mod estimate;
mod known_mix;
mod phrases;
