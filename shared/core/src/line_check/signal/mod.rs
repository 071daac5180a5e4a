//! What goes out over the lines: its plan, its samples, and the same at another rate.
//!
//! In: settings. Out: [`plan::Plan`], [`generator::Generator`]. Uses nothing of the other rooms of the line check.

pub(crate) mod generator;
pub(crate) mod plan;
pub(crate) mod rate;
