//! Output for programs, browsers and pictures, and the reader of our own JSON.
//!
//! In: judged takes. Out: JSON, CSV, HTML, SVG, PNG. Uses `judge`, `tables` and `names`.

pub(crate) mod csv;
pub(crate) mod html;
pub(crate) mod picture;
#[cfg(feature = "png")]
pub(crate) mod png;
pub mod schema;
pub(crate) mod trend;
pub mod written;
