//! What the ratio of two lines says: gain, delay, polarity, corners, each with its deviation.
//!
//! In: responses. Out: [`fitted::Fit`], [`ratio::Relation`]. Uses `response`; `read` uses this room.

pub(crate) mod fitted;
pub(crate) mod point;
pub(crate) mod ratio;
