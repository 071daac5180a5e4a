//! Code shared by the tests across crates: slow reference definitions, cases with known truth, fuzz targets, and the
//! window without a host.
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_possible_wrap,
    reason = "a test chooses the numbers it converts"
)]

pub mod fuzz;
pub mod methods;
pub mod obvious;
pub mod presets;
pub mod render;
pub mod why;

pub use sumproof_host as host;
