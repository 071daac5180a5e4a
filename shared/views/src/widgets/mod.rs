//! Controls that any panel may use: numbers and names that can be set, text that scrolls.
//!
//! In: a place on the canvas. Out: shapes and intents. Uses `data`, `canvas` and `style`.

pub(crate) mod field;
pub(crate) mod number;
pub(crate) mod scroll;
pub(crate) mod typed;
pub(crate) mod undo;
