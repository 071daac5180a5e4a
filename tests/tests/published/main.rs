//! Values from outside the project: standards, handbooks, freely available recordings. Each test names its source.
#![allow(
    clippy::unwrap_used,
    reason = "a panic is how a test fails, in its helpers too"
)]
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a test chooses the numbers it converts"
)]

mod audition;
mod bands;
mod coherence;
mod correlation;
mod delay;
mod ear;
mod loudness;
mod presets;
mod recordings;
mod split;
mod summation;
mod support;
