//! Faults on purpose, and one instance without a host.
//!
//! Only debug builds and tests can do anything with this room.

pub mod faults;
#[cfg(test)]
mod whole;
