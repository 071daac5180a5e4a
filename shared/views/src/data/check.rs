//! The line check as data: what the player wants of it, how it stands, what it found.

use std::sync::Arc;

use sumproof_core::line_check::SignalSettings;

/// What the player wants of the line check. Two steps lead to sound: [`Self::Hold`], then [`Self::Send`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum CheckWish {
    /// Hold back what comes in: nothing passes until [`Self::Release`].
    Hold,
    /// Send this signal on the outputs, and read what comes in meanwhile.
    Send(SignalSettings),
    /// End the signal; what comes in is still held back.
    Stop,
    /// End everything: what comes in passes again.
    Release,
    /// Make what was found the user's own feed.
    Save,
}

/// A signal going out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sending {
    /// What it is.
    pub settings: SignalSettings,
    /// How far it is, seconds.
    pub at_s: f64,
}

/// What was found, in the words of `sumproof linecheck read`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Found {
    /// One sentence for the engineer.
    pub sentence: String,
    /// Label and text of everything else.
    pub lines: Vec<(String, String)>,
    /// All of it is told, so that it makes a feed.
    pub can_save: bool,
    /// That feed is sure, and not only likely.
    pub is_sure: bool,
}

/// How the line check stands.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LineCheck {
    /// The first step was taken: what comes in is to be held back. Whether it is: [`crate::Hearing::Held`].
    pub held: bool,
    /// The second as well: a signal may sound.
    pub on: bool,
    /// The one that was ordered, or goes out.
    pub sending: Option<Sending>,
    /// What arrived is being read.
    pub reading: bool,
    /// Why there's nothing found, one line.
    pub said: Option<String>,
    /// What was found.
    pub found: Option<Arc<Found>>,
    /// And was made the user's own feed.
    pub saved: bool,
}
