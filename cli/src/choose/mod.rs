//! Which presets and feeds are shown, in which order, and the rig they are judged for.
//!
//! In: options. Out: a view and an order. Uses `input` and the report.

pub mod kind;
pub mod select;
pub mod view;
