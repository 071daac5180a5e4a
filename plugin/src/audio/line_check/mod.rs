//! Output of the line check's signal: the only code here that generates sound.
//!
//! # What starts it, and what ends it
//! * It takes two steps of the user in the window: first the input is held back from the output ([`Switch::hold`]),
//!   then a signal is ordered ([`Switch::allow`], by the analysis, which also prepares it). No parameter, state or host
//!   event can do either.
//! * An order that is not taken within a second is void ([`crate::analysis::engine`]); one that the switch no longer
//!   allows is given back unplayed.
//! * It ends with a short fade when the switch says so, with the bypass, when the host records, when frames are lost,
//!   and when the window has drawn nothing for [`PATIENCE_S`]: a window may vanish without notice. It ends at once,
//!   without a trace in the first frame, when the host bounces, resets or stops.
//!
//! # Real-time
//! [`Sender`] allocates and frees nothing: signals arrive and leave whole, through the ring.

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
    /// Generates it.
    pub generator: Generator,
    /// Silence after it, during which its delayed part is still recorded, frames.
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
