//! Work for the window that reads or writes files: on threads of its own, so that neither the window nor the analysis waits
//! for a disk.

use std::path::PathBuf;
use std::sync::{Mutex, PoisonError};
use std::thread::JoinHandle;

use crate::engine::Analysis;
use crate::folder;

/// The threads under way. Dropping it waits for them: the library may be unloaded next.
#[derive(Debug, Default)]
pub struct Errands(Mutex<Vec<JoinHandle<()>>>);

impl Errands {
    fn run(&self, errand: impl FnOnce() + Send + 'static) {
        let mut threads = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        threads.retain(|thread| !thread.is_finished());
        let thread = std::thread::Builder::new()
            .name(String::from("sumproof file"))
            .spawn(errand);
        threads.extend(thread.ok());
    }

    /// Waits for all of them.
    pub fn finish(&self) {
        let threads = std::mem::take(&mut *self.0.lock().unwrap_or_else(PoisonError::into_inner));
        for thread in threads {
            // What panicked in it has nothing to say to anybody.
            let _ = thread.join();
        }
    }

    /// Writes all takes to a file in the folder (none: the user has no home) and says where.
    pub fn export_takes(&self, analysis: &Analysis, folder: Option<PathBuf>) {
        let (takes, rig) = {
            let engine = analysis.lock();
            (engine.takes().iter().cloned().collect::<Vec<_>>(), engine.rig())
        };
        let analysis = analysis.clone();
        self.run(move || {
            let written = folder
                .ok_or_else(no_folder)
                .and_then(|folder| folder::export(&folder, &takes, &rig));
            let line = match written {
                Ok(path) => format!("{} written to {}", counted(takes.len()), path.display()),
                Err(line) => line,
            };
            say(&analysis, line);
        });
    }

    /// Reads the takes of a file in the folder, adds them, and says so.
    pub fn import_takes(&self, analysis: &Analysis, folder: Option<PathBuf>, name: String) {
        let analysis = analysis.clone();
        self.run(move || {
            let read = folder
                .ok_or_else(no_folder)
                .and_then(|folder| folder::import(&folder, &name));
            let line = match read {
                Err(line) => line,
                Ok(takes) => {
                    let count = takes.len();
                    let added = analysis.lock().add_takes(takes);
                    if added == count {
                        format!("{} read from {name}", counted(count))
                    } else {
                        format!(
                            "{} read from {name}; there was no room for {} more: delete some and read it again",
                            counted(added),
                            count - added
                        )
                    }
                }
            };
            say(&analysis, line);
        });
    }
}

impl Drop for Errands {
    fn drop(&mut self) {
        self.finish();
    }
}

fn no_folder() -> String {
    format!("Your home folder is not known: name a folder in {}", folder::VARIABLE)
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
