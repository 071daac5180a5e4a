//! Code shared by the tests across crates: slow reference definitions, cases with known truth, fuzz targets, and the
//! window without a host.

pub mod fuzz;
pub mod methods;
pub mod obvious;
pub mod presets;
pub mod render;
pub mod why;

pub use sumproof_host as host;
