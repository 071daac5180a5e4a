//! A set of presets, judged as in `sumproof check`.

use sumproof_core::score::rig::Rig;
use sumproof_recordings::analyse::{Analyser, tell_apart};
use sumproof_report::rig::file::RigFile;
use sumproof_report::{Entry, Judged, View, html, json_of_set};

use crate::ask::{Answer, File};
use crate::given::{Given, Pieces};
use crate::session::refusal;

/// The presets so far, and the rig they are judged for.
#[derive(Default)]
pub(crate) struct Presets {
    entries: Vec<Entry>,
    analyser: Analyser,
    rig: Rig,
    own_name: Option<String>,
}

impl Presets {
    pub(crate) fn new(file: &RigFile) -> Self {
        Self {
            rig: file.rig(),
            own_name: file.own_name().map(str::to_owned),
            ..Self::default()
        }
    }

    /// Analyses one more preset.
    pub(crate) fn add(&mut self, file: &File, pieces: &Pieces, progress: &mut dyn FnMut(f64)) -> Answer {
        match self
            .analyser
            .entry_from(&Given::new(file, pieces), &self.rig, progress)
        {
            Ok((entry, _)) => {
                self.entries.push(entry);
                Answer {
                    presets: Some(self.entries.len()),
                    ..Answer::default()
                }
            }
            Err(error) => refusal(&error),
        }
    }

    /// The set's page, the worst first, and its JSON, in the order given.
    pub(crate) fn answer(&self) -> Answer {
        let mut entries = self.entries.clone();
        tell_apart(&mut entries);
        let view = View::all(self.rig, self.own_name.as_deref());
        let mut presets: Vec<Judged<'_>> = entries.iter().map(|entry| Judged::new(entry, &view)).collect();
        let json = json_of_set(&presets, &view);
        presets.sort_by(|a, b| a.worse_than(b));
        Answer {
            presets: Some(presets.len()),
            html: Some(html(&presets, &view)),
            json: Some(json),
            ..Answer::default()
        }
    }
}
