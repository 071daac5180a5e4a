//! The player's rig: its file, what arrives over its lines, and the card for the sound engineer.
//!
//! In: a rig file, takes. Out: text, JSON, HTML, PDF. Uses `formats` and `tables::form`.

#[cfg(feature = "card")]
pub mod card;
pub mod file;
pub mod lines;
