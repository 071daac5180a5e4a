//! The window without a host: pictures, pointer and keyboard, sizes and contrast.
#![allow(
    clippy::unwrap_used,
    reason = "a panic is how a test fails, in its helpers too"
)]
#![allow(
    clippy::cast_possible_truncation,
    reason = "a test chooses the numbers it converts"
)]

mod golden;
mod hands;
mod line_check;
mod readable;
mod set;
