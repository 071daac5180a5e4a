//! What the window is given and what it gives back: plain data, no drawing.
//!
//! In: whatever the owner of the sound knows. Out: [`intent::Intent`]. Uses no other room.

pub(crate) mod card;
pub(crate) mod check;
pub(crate) mod history;
pub(crate) mod intent;
pub(crate) mod look;
pub(crate) mod own;
pub(crate) mod snapshot;
