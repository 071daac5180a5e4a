//! What crosses between the threads: the ring of frames and commands, single atomics, and what is published for the
//! window.
//!
//! In and out: plain values. Uses `parameters`, the signal and the counters of `audio`, and the recommendations of
//! `analysis`.

pub mod arming;
pub mod pedals;
pub mod published;
pub mod ring;
pub mod shared;
