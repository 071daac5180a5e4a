//! What crosses between the threads: the ring of frames and commands, single atomics, and what is published for the
//! window.
//!
//! In and out: plain values. Uses `parameters`.

pub mod clock;
pub mod line_check;
pub mod pedals;
pub mod published;
pub mod recommendations;
pub mod ring;
pub mod shared;
