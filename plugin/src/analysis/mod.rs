//! The analysis thread: reads the ring, keeps the takes, publishes what the window shows.
//!
//! In: frames and commands. Out: [`crate::bridge::published::Published`]. Uses `bridge`, `state` and
//! `parameters`.

pub mod engine;
pub(crate) mod job;
pub(crate) mod passes;
pub(crate) mod phrase_take;
pub(crate) mod side_chain;
pub(crate) mod side_work;
pub mod worker;
