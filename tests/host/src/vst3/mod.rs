//! A small VST3 host for tests, beside the CLAP one: it loads a library itself, automates, opens editors, and has an
//! event loop for them or none.
//!
//! [`Library::load`] opens the bundle's library, [`Library::make`] creates a plugin, [`Plugin::setup`] and
//! [`Plugin::block`] play it, [`Plugin::open`] opens its editor inside a window of ours (X11). Dropping them in any
//! order removes each of them as a host does; the library is unloaded with the last object from it.
//!
//! # Threads
//! A [`Plugin`] stays on the thread that made it; its [`Player`] goes to another one.
//!
//! Source: VST 3 SDK (MIT), `pluginterfaces`.

mod editor;
mod library;
mod lists;
mod plugin;

pub use editor::{Editor, Loop};
pub use library::Library;
pub use plugin::{Loader, OFFLINE, Player, Plugin, REAL_TIME};
