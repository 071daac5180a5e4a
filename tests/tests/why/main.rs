//! Causes, margins and advice, tested on presets with known faults.
#![allow(
    clippy::unwrap_used,
    reason = "a panic is how a test fails, in its helpers too"
)]

mod advice;
mod delay;
mod diagnosis;
mod margin;
