//! The state of one worker: the set being judged.

use sumproof_recordings::{ReadError, shown};
use sumproof_report::rig::file::{RigFile, parse};

use crate::ask::{Answer, Ask, Text};
use crate::card;
use crate::check;
use crate::given::Pieces;
use crate::presets::Presets;

/// Everything kept from one question to the next.
pub struct Session {
    pub(crate) pieces: Pieces,
    pub(crate) set: Presets,
}

impl Session {
    /// A session that reads files with `pieces`.
    #[must_use]
    pub fn new(pieces: Pieces) -> Self {
        Self {
            pieces,
            set: Presets::default(),
        }
    }

    /// Answers a question, written as JSON; calls back now and then with the share that is done (0 to 1).
    pub fn answer(&mut self, question: &str, progress: &mut dyn FnMut(f64)) -> Answer {
        let ask: Ask = match serde_json::from_str(question) {
            Ok(ask) => ask,
            Err(error) => {
                return Answer::refused(format!("the page asks what isn't known ({error}); reload it"));
            }
        };
        match ask {
            Ask::Signal { rate_hz, mono } => check::signal(rate_hz, mono),
            Ask::Read { file, mono } => check::read_file(&file, &self.pieces, mono, progress),
            Ask::Save {
                measured,
                existing,
                name,
            } => check::save(&measured, &existing, &name),
            Ask::Rig { rig } => match rig_of(&rig) {
                Ok(_) => Answer::default(),
                Err(line) => Answer::refused(line),
            },
            Ask::Begin { rig } => match rig_of(&rig) {
                Ok(rig) => {
                    self.set = Presets::new(&rig);
                    Answer::default()
                }
                Err(line) => Answer::refused(line),
            },
            Ask::Add { file } => self.set.add(&file, &self.pieces, progress),
            Ask::Set => self.set.answer(),
            Ask::Card {
                rig,
                takes,
                letter,
                pdf,
            } => card::answer(&rig, &takes, letter, pdf),
            Ask::Broken { name } => refusal(&ReadError::broken(name.as_ref())),
        }
    }
}

/// Parses a rig file.
///
/// # Errors
/// One line that names the file.
pub(crate) fn rig_of(rig: &Text) -> Result<RigFile, String> {
    parse(&rig.text).map_err(|error| named(&rig.name, &error.to_string()))
}

/// A complaint, with the name of its file in front, where it has one.
pub(crate) fn named(name: &str, complaint: &str) -> String {
    match name {
        "" => complaint.into(),
        name => format!("{}: {complaint}", shown(name.as_ref())),
    }
}

/// The answer for a file that can't be read.
pub(crate) fn refusal(error: &ReadError) -> Answer {
    Answer {
        foreign: error.is_coding(),
        ..Answer::refused(error.to_string())
    }
}
