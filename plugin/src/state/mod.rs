//! A project's saved state, and its checks before it is loaded.
//!
//! In and out: the parts of a state. Uses `parameters` and `bridge`; the fields themselves are in [`crate::fields`].

pub mod card;
pub mod migrate;
pub mod names;
pub mod takes;
