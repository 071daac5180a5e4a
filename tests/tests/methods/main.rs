//! The three ways to tell dry from wet, tested on presets with known dry and wet.
#![allow(
    clippy::unwrap_used,
    reason = "a panic is how a test fails, in its helpers too"
)]
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a test chooses the numbers it converts"
)]

mod accuracy;
mod behaviour;
mod estimate;
mod known_mix;
mod phrases;
