//! The questions, and the answers.

use serde::{Deserialize, Serialize};

/// A file the page can read.
#[derive(Clone, Debug, Deserialize)]
pub struct File {
    /// The number under which the worker reads it.
    pub id: u32,
    /// Its name, with its folder where it was chosen with one.
    pub name: String,
    /// Its length, bytes.
    pub len: u64,
}

/// A text that the page has read.
#[derive(Clone, Debug, Deserialize)]
pub struct Text {
    /// The name of its file.
    pub name: String,
    /// Its contents.
    pub text: String,
}

/// A question.
#[derive(Clone, Debug, Deserialize)]
#[serde(tag = "ask", rename_all = "kebab-case")]
pub enum Ask {
    /// The test signal of the line check at full level for this rate: bytes, left then right, 32-bit floats.
    Signal {
        /// Sample rate, Hz.
        rate_hz: f64,
        /// For one mono source: see [`Mode::Mono`](sumproof_core::line_check::Mode).
        mono: bool,
    },
    /// Reads a recording of the line check.
    Read {
        /// The recording.
        file: File,
        /// As in `Signal`.
        mono: bool,
    },
    /// Adds a finding to a rig file.
    Save {
        /// The rig file made from the finding.
        measured: String,
        /// Text of the rig file to add to, or empty.
        existing: String,
        /// Name of the feed.
        name: String,
    },
    /// Checks that a rig file can be read.
    Rig {
        /// The file.
        rig: Text,
    },
    /// Starts a set of presets.
    Begin {
        /// The rig file they are judged for; an empty text is two straight lines.
        rig: Text,
    },
    /// Analyses one more preset of the set.
    Add {
        /// Its bounce.
        file: File,
    },
    /// Returns the set so far.
    Set,
    /// Sets the rig card.
    Card {
        /// The rig file.
        rig: Text,
        /// JSON of judged presets; those at risk are named on the card.
        takes: Vec<Text>,
        /// On Letter paper instead of A4.
        letter: bool,
        /// As PDF instead of HTML.
        pdf: bool,
    },
    /// Returns the refusal of a file on which the reader panicked.
    Broken {
        /// Its name.
        name: String,
    },
}

/// An answer; which fields are present depends on the question.
#[derive(Clone, Debug, Default, Serialize)]
#[serde(default)]
pub struct Answer {
    /// Why there is none, in one line; all other fields are then empty.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub refused: Option<String>,
    /// Whether the refusal is about the coding, so that another decoder may be able to read the file.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub foreign: bool,
    /// The sentence for the engineer.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sentence: Option<String>,
    /// What this place receives of the lines, and how sure that is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub place: Option<String>,
    /// Notices, in whole lines.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub notes: Vec<String>,
    /// A page as the command writes it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub html: Option<String>,
    /// JSON as the command writes it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub json: Option<String>,
    /// The text of a rig file.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rig: Option<String>,
    /// Number of presets.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub presets: Option<usize>,
    /// Beginning of each part of the signal, s, and its name.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub parts: Vec<(f64, &'static str)>,
    /// Advice shown before the signal is played.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub advice: Vec<&'static str>,
    /// Peak level of the signal in the bytes, dBFS.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub level_dbfs: Option<f64>,
    /// Binary data beside the JSON.
    #[serde(skip)]
    pub bytes: Vec<u8>,
}

impl Answer {
    /// A refusal.
    #[must_use]
    pub fn refused(line: impl Into<String>) -> Self {
        Self {
            refused: Some(line.into()),
            ..Self::default()
        }
    }
}
