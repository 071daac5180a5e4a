//! A small CLAP host for tests and for the demo.
//!
//! It loads a `.clap` from disk as a DAW would and uses only the plugin interface. A test goes in this order:
//!
//! 1. [`Library::load`] opens the file, [`Library::instantiate`] makes one plugin;
//! 2. [`Plugin::params`], [`Plugin::load_state`], [`Plugin::latency_samples`] inspect it;
//! 3. [`Plugin::play`] activates it, processes a whole recording on a separate thread in blocks of a chosen size and
//!    deactivates it; or [`Plugin::start_realtime`] plays a loop at the pace of a sound card until told to stop;
//! 4. [`Plugin::save_state`] and [`State::decode`] read its saved state;
//! 5. [`editor::Editor`] opens its window inside one of ours (X11).
//!
//! # Threads
//! A [`Plugin`] stays on the thread that made it, which is the plugin's main thread. Audio runs on other threads, while
//! the main thread answers the plugin's requests for a main-thread call, as the interface requires.
//!
//! # Units
//! Audio is `f32`, one `Vec` per channel, full scale ±1. Positions are in samples from the first sample played.
//! Parameter values are on the scale of the framework's CLAP wrapper: 0 to 1 along the parameter's range for a
//! continuous one, the step's number for a stepped one. [`Plugin::change`] makes one from text as a user would type it
//! (`-20 dB`); plain values are in the saved state.
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_possible_wrap,
    reason = "a test chooses the numbers it converts"
)]

mod audio;
pub mod clipboard;
pub mod cost;
pub mod editor;
mod error;
mod handlers;
pub mod hands;
mod looped;
pub mod picture;
mod plugin;
mod processor;
mod realtime;
pub mod screen;
pub mod setup;
mod state;
mod syscalls;
pub mod vst3;

pub use audio::{Blocks, Buffers, Midi, ParamEvent, Play, Stereo, Transport};
pub use error::HostError;
pub use looped::Loop;
pub use plugin::{Library, Param, ParamId, Plugin};
pub use realtime::Realtime;
pub use state::State;
pub use syscalls::CAUGHT;
