//! Everything beside and below the board: lines, takes, why, and the sheets that take the plots' place.
//!
//! In: the snapshot. Out: shapes and intents. Uses `widgets`, `canvas`, `data`, `board`; used by `window`, `board` and
//! `text`.

pub(crate) mod apart;
pub(crate) mod beside;
pub(crate) mod boxes;
pub(crate) mod card;
pub(crate) mod help;
pub(crate) mod line_check;
pub(crate) mod lines;
pub(crate) mod notices;
pub(crate) mod own_feed;
pub(crate) mod setup;
pub(crate) mod straight;
pub(crate) mod takes;
pub(crate) mod why;
