//! The line check as data: the player's requests, its state, its findings.

use std::sync::Arc;

use sumproof_core::line_check::SignalSettings;

/// The player's requests. Two steps lead to sound: [`Self::Hold`], then [`Self::Send`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum CheckWish {
    /// Hold the input back from the output until [`Self::Release`].
    Hold,
    /// Send this signal on the outputs, and read the input meanwhile.
    Send(SignalSettings),
    /// End the signal; the input stays held back.
    Stop,
    /// End everything: the input passes again.
    Release,
    /// Store the finding as the user's own feed.
    Save,
}

/// A signal going out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sending {
    /// Its settings.
    pub settings: SignalSettings,
    /// Time since its beginning, s.
    pub at_s: f64,
}

/// The findings, in the words of `sumproof linecheck read`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Found {
    /// One sentence for the engineer.
    pub sentence: String,
    /// Label and text of everything else.
    pub lines: Vec<(String, String)>,
    /// Whether everything needed for a feed was found.
    pub can_save: bool,
    /// Whether that feed is sure, and not only likely.
    pub is_sure: bool,
}

/// State of the line check.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LineCheck {
    /// The first step was taken: the input is to be held back. Whether it is: [`crate::Hearing::Held`].
    pub held: bool,
    /// The second step was taken too: a signal may sound.
    pub on: bool,
    /// The signal that is ordered or going out.
    pub sending: Option<Sending>,
    /// Whether the recording is being read.
    pub reading: bool,
    /// Why there are no findings, one line.
    pub said: Option<String>,
    /// The findings.
    pub found: Option<Arc<Found>>,
    /// Whether they were stored as the user's own feed.
    pub saved: bool,
}
