//! Files for programs, browsers and pictures, and what reads our JSON back.
//!
//! In: judged takes. Out: JSON, CSV, HTML, SVG, PNG. Uses `judge`, `tables` and `text`.

pub(crate) mod csv;
pub(crate) mod html;
pub(crate) mod picture;
#[cfg(feature = "png")]
pub(crate) mod png;
pub mod schema;
pub(crate) mod trend;
pub mod written;
