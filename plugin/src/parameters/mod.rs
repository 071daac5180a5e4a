//! What a host sees and sets, and what it means: one list of parameters, their choices, their ranges.
//!
//! In: the host's values. Out: [`settings::Settings`], plain and within range. Uses no other room.

pub mod choices;
pub mod params;
pub mod settings;
pub(crate) mod spec;
pub(crate) mod text;
