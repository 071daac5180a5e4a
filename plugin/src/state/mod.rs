//! A project's saved state, and its checks before it is loaded.
//!
//! In and out: the framework's state. Uses `parameters`; `fields` also accesses the engine of `analysis`, which holds
//! most values.

pub mod card;
pub mod fields;
pub mod migrate;
pub mod names;
pub mod takes;
