//! What a project keeps, and what happens to a saved state before it is loaded.
//!
//! In and out: the framework's state. Uses `parameters`; `fields` also knows where each value lives.

pub mod card;
pub mod fields;
pub mod migrate;
pub mod names;
pub mod takes;
