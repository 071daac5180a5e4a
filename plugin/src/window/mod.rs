//! Glue between the framework's editor and the views.
//!
//! In: published readings. Out: gestures to the host, commands to the analysis. Used by `lib.rs` only.

pub mod closing;
pub mod editor;
pub(crate) mod intents;
pub(crate) mod present;
