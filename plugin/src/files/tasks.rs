//! Work for the window that reads or writes files, on threads of its own, so that neither the window nor the analysis
//! waits for a disk.

use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use std::thread::JoinHandle;

use sumproof_core::score::rig::Rig;
use sumproof_core::session::take::Take;
use sumproof_report::rig::card::{CardForm, Paper, Preset, card};
use sumproof_report::rig::file::{RigFile, to_toml};
use sumproof_views::CardWords;

use crate::analysis::engine::Analysis;
use crate::files::folder;
use crate::files::rig::rig_file;

/// The threads in progress. Dropping it waits for them: the library may be unloaded next.
#[derive(Debug, Default)]
pub struct FileTasks(Mutex<Vec<JoinHandle<()>>>);

impl FileTasks {
    fn run(&self, task: impl FnOnce() + Send + 'static) {
        let mut threads = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        threads.retain(|thread| !thread.is_finished());
        let thread = std::thread::Builder::new()
            .name(String::from("sumproof file"))
            .spawn(task);
        threads.extend(thread.ok());
    }

    /// Waits for all of them.
    pub fn finish(&self) {
        let threads = std::mem::take(&mut *self.0.lock().unwrap_or_else(PoisonError::into_inner));
        for thread in threads {
            // A panic in a task has nothing to report here.
            let _ = thread.join();
        }
    }

    /// Writes all takes to a file in the folder (`None`: the user has no home folder), with the rig card and the rig
    /// file beside it, and shows the path. Without takes it writes the other two.
    pub fn export_takes(&self, analysis: &Analysis, folder: Option<PathBuf>) {
        let (takes, rig, file) = {
            let engine = analysis.lock();
            let takes: Vec<Take> = engine.takes().iter().cloned().collect();
            let file = rig_file(&engine.rig(), engine.boxes(), &engine.own_feed(), engine.card());
            (takes, engine.rig(), file)
        };
        let analysis = analysis.clone();
        self.run(move || {
            let line = folder.ok_or_else(no_folder).and_then(|folder| {
                if takes.is_empty() {
                    let names = rig_card(&folder, &takes, &rig, &file)?;
                    return Ok(format!(
                        "The rig card and the rig file written to {}: {names}",
                        folder.display()
                    ));
                }
                let path = folder::export(&folder, &takes, &rig)?;
                let card = match rig_card(&folder, &takes, &rig, &file) {
                    Ok(names) => format!("the rig card and the rig file beside it: {names}"),
                    Err(line) => line,
                };
                Ok(format!(
                    "{} written to {}; {card}",
                    counted(takes.len()),
                    path.display()
                ))
            });
            say(&analysis, line.unwrap_or_else(|line| line));
        });
    }

    /// Reads the files in the import folder, adds the takes that are not here yet, takes over the own feed and the
    /// words for the card of a rig file there and the names of a text file, and shows the result.
    pub fn import_takes(&self, analysis: &Analysis, folder: Option<PathBuf>) {
        let analysis = analysis.clone();
        self.run(move || {
            let Some(folder) = folder else {
                say(&analysis, no_folder());
                return;
            };
            let found = folder::incoming(&folder);
            let place = found.folder.display();
            let count = found.takes.len();
            let mut named = None;
            let carded;
            let (added, own) = {
                let mut engine = analysis.lock();
                let own = found.own.map(|own| {
                    engine.set_own(own.feed);
                    engine.set_own_name(&own.name);
                    engine.own_name().to_owned()
                });
                carded = found.card != CardWords::default();
                if carded {
                    let words = engine.card().clone().filled_from(found.card);
                    engine.set_card(words);
                }
                if let Some(names) = found.names {
                    named = Some(names.list().len());
                    engine.set_names(names);
                }
                (engine.add_takes(found.takes), own)
            };
            let mut line = if found.files == 0 && found.wrong.is_empty() {
                format!(
                    "Nothing to read: put files of `sumproof check --format json`, a rig file, or a text file with names into {place}, and ask again"
                )
            } else {
                format!("{} read from {place}", counted(added.added))
            };
            if let Some(own) = own {
                line += &format!("; your own feed is now \u{2018}{own}\u{2019}");
            }
            if carded {
                line += "; your words for the rig card";
            }
            if let Some(named) = named {
                line += &format!("; {named} names for the takes to come");
            }
            if added.known > 0 {
                line += &format!("; {} of {count} were here already", added.known);
            }
            if added.no_room > 0 {
                line += &format!("; no room for {}: delete some and read again", added.no_room);
            }
            for wrong in found.wrong.iter().take(1) {
                line += &format!("; {wrong}");
            }
            if found.wrong.len() > 1 {
                line += &format!(", and {} more files like it", found.wrong.len() - 1);
            }
            say(&analysis, line);
        });
    }
}

impl Drop for FileTasks {
    fn drop(&mut self) {
        self.finish();
    }
}

/// Writes the rig card, to print and to send, and the rig file, and returns the names of the files.
fn rig_card(folder: &Path, takes: &[Take], rig: &Rig, file: &RigFile) -> Result<String, String> {
    let presets: Vec<Preset> = takes
        .iter()
        .filter_map(|take| Preset::of_take(take, rig))
        .collect();
    let mut names = Vec::new();
    for (form, extension) in [(CardForm::Html, "html"), (CardForm::Pdf, "pdf")] {
        let made = card(file, &presets, Paper::A4, form)
            .map_err(|error| format!("the rig card could not be made: {error}"))?;
        let path = folder::write_new(folder, "rig card", extension, &made.bytes)?;
        names.extend(path.file_name().map(|name| name.to_string_lossy().into_owned()));
    }
    let path = folder::write_new(folder, "rig", "toml", to_toml(file).as_bytes())?;
    names.extend(path.file_name().map(|name| name.to_string_lossy().into_owned()));
    Ok(names.join(", "))
}

fn no_folder() -> String {
    format!(
        "Your home folder is not known: name a folder in {}",
        folder::VARIABLE
    )
}

fn counted(takes: usize) -> String {
    if takes == 1 {
        String::from("One take")
    } else {
        format!("{takes} takes")
    }
}

fn say(analysis: &Analysis, line: String) {
    let mut engine = analysis.lock();
    engine.say(line);
    engine.show_now();
}
