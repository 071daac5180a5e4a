//! Text in columns for a terminal: one preset, a set, two bounces beside each other.
//!
//! In: judged takes. Out: text. Uses `judge` and `text`.

pub(crate) mod columns;
pub(crate) mod comparison;
pub(crate) mod form;
pub(crate) mod overview;
pub(crate) mod table;
pub(crate) mod trend;
