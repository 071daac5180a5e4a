//! The analysis for the phone's page: a WebAssembly module that the page's worker calls.
//!
//! In: questions as JSON, and files read piece by piece through the worker. Out: answers as JSON, and bytes (the test
//! signal, a PDF).
//!
//! # Contract
//! * A question and its answer are plain data ([`Ask`](ask::Ask)); everything below `exports` is independent of the
//!   browser and runs natively too.
//! * Nothing here measures, judges or words: that is done by the command's own crates.
//! * A refusal is one line, the same as the command's where the command has one, unless that names its options.

pub mod ask;
mod card;
mod check;
#[cfg(target_family = "wasm")]
mod exports;
pub mod given;
mod presets;
pub mod session;
