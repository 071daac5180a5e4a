//! Everything that runs on the audio thread.
//!
//! In: blocks of frames and settings. Out: the same blocks, or a feed in their place; frames to the ring. No lock, no
//! allocation, no system call. Uses `parameters`, `bridge`, and the engine's lock of `analysis`.

pub(crate) mod guard;
pub mod line_check;
pub mod side;
