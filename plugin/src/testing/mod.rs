//! Deliberate faults, and one instance without a host.
//!
//! This module has an effect only in debug builds and tests.

pub mod faults;
#[cfg(test)]
mod whole;
