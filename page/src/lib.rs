//! What the page for the phone asks of the analysis: a WebAssembly module that the page's worker calls.
//!
//! In: questions as JSON, files that are read piece by piece through the worker. Out: answers as JSON, and bytes (sounds, PDFs).
//!
//! # Contract
//! * A question and its answer are plain data ([`Ask`](ask::Ask)); everything below `exports` knows nothing of a browser and runs
//!   natively as well.
//! * Nothing here measures, judges or words: it is the command's own reading, analysis and report.
//! * What is refused is refused in one line, the command's where the command has one.

pub mod ask;
mod check;
#[cfg(target_family = "wasm")]
mod exports;
pub mod given;
mod presets;
pub mod session;
