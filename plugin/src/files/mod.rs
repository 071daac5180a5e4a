//! Takes, rig files and rig cards on disk, on threads of their own.
//!
//! In: requests of the window. Out: files, or one line that says what is wrong. Uses `state`, `bridge::pedals`, and the
//! engine of `analysis`.

pub mod folder;
pub mod pedals;
pub mod rig;
pub mod tasks;
