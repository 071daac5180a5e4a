//! The way from the channels to a listener: lines, boxes, feeds, and what a feed does to a spectrum in closed form.
//!
//! In: settings. Out: [`response::FeedResponse`], one complex factor per line and cell. Uses `dsp` and `spectrum`.

pub mod boxes;
pub mod feed;
pub mod line;
pub mod response;
pub mod weights;
