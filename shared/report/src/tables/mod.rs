//! Text in columns for a terminal: one preset, a set, two bounces side by side.
//!
//! In: judged takes. Out: text. Uses `judge` and `names`.

pub(crate) mod columns;
pub(crate) mod comparison;
pub(crate) mod form;
pub(crate) mod overview;
pub(crate) mod table;
pub(crate) mod trend;
