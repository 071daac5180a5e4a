//! The line check's signal on its way out: the one thing here that makes sound of its own.
//!
//! # What starts it, and what ends it
//! * Two steps of the user in the window: first what comes in is held back ([`Switch::hold`]), then a signal is ordered
//!   ([`Switch::allow`], by the analysis, which also prepares it). No parameter, state or host event does either.
//! * An order that isn't taken within a second is void ([`crate::analysis::engine`]); one that the switch no longer allows is given back
//!   unplayed.
//! * It ends with a short fade when the switch says so, with the bypass, when the host records, when frames are lost, and when
//!   the window has drawn nothing for [`PATIENCE_S`]: a window may be gone without having said so. It ends at once, with nothing
//!   of it in the first frame, when the host bounces, resets or stops.
//!
//! # Real-time
//! [`Sender`] allocates and frees nothing: signals come and go whole, by the ring.

mod sender;
mod switch;

pub use sender::{Output, PATIENCE_S, Sender};
pub use switch::Switch;

use sumproof_core::line_check::Generator;

/// A signal to send.
#[derive(Debug, Clone)]
pub struct Signal {
    /// Its number, from 1.
    pub run: u64,
    /// What makes it.
    pub generator: Generator,
    /// Silence behind it, in which what is still on its way is recorded, frames.
    pub behind_frames: u64,
}

/// Why a signal ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// All of it was sent.
    Whole,
    /// The user stopped it.
    Stopped,
    /// The plugin was bypassed.
    Bypassed,
    /// The host bounces.
    Bounces,
    /// The host records.
    Records,
    /// The window draws nothing any more.
    Unattended,
    /// The host stopped or reset.
    HostStopped,
    /// Frames of what arrives were lost.
    Lost,
}
