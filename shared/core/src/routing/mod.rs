//! The way from the channels to a listener: lines, boxes, feeds, and a feed's effect on a spectrum in closed form.
//!
//! In: settings. Out: [`response::FeedResponse`], one complex factor per line and cell. Uses `dsp` and `spectrum`.

pub mod boxes;
pub mod feed;
pub mod line;
pub mod response;
pub mod weights;
