//! One file a subcommand: options in, exit code out.
//!
//! Uses every module of the library.

pub mod card;
pub mod check;
pub mod compare;
pub mod line_check;
pub mod lines;
mod progress;
