//! Pictures over frequency and time: the sum difference, the correlation, the axis they share.
//!
//! In: a snapshot's arrays. Out: shapes. Uses `data`, `canvas`, `style`, and the feeds' names of `board`.

pub(crate) mod axis;
pub(crate) mod correlation;
pub(crate) mod curves;
pub(crate) mod palette;
