//! The window's input and output: plain data, no drawing.
//!
//! In: the owner's data. Out: [`intent::Intent`]. Uses no other module of this crate.

pub(crate) mod card;
pub(crate) mod check;
pub(crate) mod history;
pub(crate) mod intent;
pub(crate) mod look;
pub(crate) mod own;
pub(crate) mod snapshot;
