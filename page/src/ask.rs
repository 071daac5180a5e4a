//! What can be asked, and what is answered.

use serde::{Deserialize, Serialize};

/// A file that the page has at hand.
#[derive(Clone, Debug, Deserialize)]
pub struct File {
    /// The number under which the worker reads it.
    pub id: u32,
    /// Its name, with its folder where it was chosen with one.
    pub name: String,
    /// How long it is, bytes.
    pub len: u64,
}

/// A text that the page has read.
#[derive(Clone, Debug, Deserialize)]
pub struct Text {
    /// The name of its file.
    pub name: String,
    /// What stands in it.
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
    /// What the lines did, of a recording.
    Read {
        /// The recording.
        file: File,
        /// As in `Signal`.
        mono: bool,
    },
    /// The rig file that a finding goes into.
    Save {
        /// The rig file that came with the finding.
        measured: String,
        /// A rig file's text that is added to, or nothing.
        existing: String,
        /// What the feed is to be called.
        name: String,
    },
    /// Whether a rig file can be read.
    Rig {
        /// It.
        rig: Text,
    },
    /// Begins a set of presets.
    Begin {
        /// The rig file they are judged for; an empty text is two straight lines.
        rig: Text,
    },
    /// Analyses one more preset of the set.
    Add {
        /// Its bounce.
        file: File,
    },
    /// The set as it is.
    Set,
    /// How a file is refused that broke the reader.
    Broken {
        /// Its name.
        name: String,
    },
}

/// An answer; which fields are there depends on what was asked.
#[derive(Clone, Debug, Default, Serialize)]
#[serde(default)]
pub struct Answer {
    /// Why there is none, in one line; all else is empty then.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub refused: Option<String>,
    /// The refusal is one of the coding: something else may be able to decode the file.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub foreign: bool,
    /// The sentence for the engineer.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sentence: Option<String>,
    /// What this place gets of the lines, and how sure that is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub place: Option<String>,
    /// What else is to be said, in whole lines.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub notes: Vec<String>,
    /// A page as the command makes it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub html: Option<String>,
    /// JSON as the command makes it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub json: Option<String>,
    /// A rig file.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rig: Option<String>,
    /// How many presets there are.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub presets: Option<usize>,
    /// When each part of the signal begins, seconds, and what it is.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub parts: Vec<(f64, &'static str)>,
    /// What is to be said before the signal is played.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub advice: Vec<&'static str>,
    /// Peak level of the signal that the bytes hold, dBFS.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub level_dbfs: Option<f64>,
    /// What goes beside it as bytes.
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
