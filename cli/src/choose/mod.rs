//! Which presets and feeds are shown, in which order, judged for which rig.
//!
//! In: options. Out: a view and an order. Uses `input` and the report.

pub mod kind;
pub mod select;
pub mod view;
