//! The bundled plugins in hosts, and the installed programs.
#![allow(
    clippy::unwrap_used,
    reason = "a panic is how a test fails, in its helpers too"
)]
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_possible_wrap,
    reason = "a test chooses the numbers it converts"
)]

mod clap;
mod desk;
mod fuzz;
mod jack;
mod jack_server;
mod line_check;
mod no_alloc;
mod no_syscalls;
mod panics;
mod set;
mod side_chain;
mod soak;
mod standalone;
mod states;
mod takes;
mod vst3;
mod window;
mod window_breaks;
mod window_slow;
