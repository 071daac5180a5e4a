//! Glue between the framework's editor and the views.
//!
//! In: published readings. Out: gestures to the host, commands to the analysis. Nothing uses this room but `lib.rs`.

pub mod closing;
pub mod editor;
pub(crate) mod intents;
pub(crate) mod present;
