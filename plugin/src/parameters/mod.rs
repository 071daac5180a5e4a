//! The parameters a host sees and sets, their choices and their ranges.
//!
//! In: the host's values. Out: [`settings::Settings`], plain and within range.

pub mod arming;
pub mod choices;
pub mod params;
pub mod settings;
pub(crate) mod spec;
pub(crate) mod text;
