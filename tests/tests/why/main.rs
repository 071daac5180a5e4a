//! Causes, margins and advice, held against presets whose faults are known.
#![allow(
    clippy::unwrap_used,
    reason = "a panic is how a test fails, in its helpers too"
)]

mod advice;
mod delay;
mod diagnosis;
mod margin;
