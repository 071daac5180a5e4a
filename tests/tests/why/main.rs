//! Causes, margins and advice, tested on presets with known faults.
#![allow(
    clippy::unwrap_used,
    reason = "a panic is how a test fails, in its helpers too"
)]
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a test chooses the numbers it converts"
)]

mod advice;
mod delay;
mod diagnosis;
mod margin;
