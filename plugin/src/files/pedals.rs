//! The pedals of the stand-alone program on disk: it has no project that would store them.

use std::collections::BTreeMap;
use std::path::Path;

use serde::{Deserialize, Serialize};
use sumproof_files::{read_text, write_whole};
use sumproof_views::PedalTask;

use crate::bridge::pedals::{Pedal, Pedals, TASKS};

/// File name, in the folder of the exports.
const FILE: &str = "pedals.json";
/// Largest size of the file, bytes.
const LARGEST: u64 = 64 * 1024;
/// Version of the file's form.
const VERSION: u32 = 1;

#[derive(Debug, Serialize, Deserialize)]
struct Stored {
    version: u32,
    pedals: BTreeMap<String, StoredPedal>,
}

/// A pedal as it is stored.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
enum StoredPedal {
    Controller { channel: u8, number: u8 },
    Note { channel: u8, number: u8 },
}

impl From<Pedal> for StoredPedal {
    fn from(pedal: Pedal) -> Self {
        match pedal {
            Pedal::Controller { channel, number } => Self::Controller { channel, number },
            Pedal::Note { channel, number } => Self::Note { channel, number },
        }
    }
}

impl From<StoredPedal> for Pedal {
    fn from(stored: StoredPedal) -> Self {
        match stored {
            StoredPedal::Controller { channel, number } => Self::Controller { channel, number },
            StoredPedal::Note { channel, number } => Self::Note { channel, number },
        }
    }
}

/// The pedal bound to each task, by index.
pub type Bound = [Option<Pedal>; TASKS];

/// The current bindings.
pub fn bound(pedals: &Pedals) -> Bound {
    PedalTask::ALL.map(|task| pedals.of(task as usize))
}

/// Loads the bindings from the file in a folder. Without a file, or with an unreadable one, nothing changes.
pub fn load(folder: &Path, pedals: &Pedals) {
    let Ok(text) = read_text(&folder.join(FILE), LARGEST) else {
        return;
    };
    let Ok(stored) = serde_json::from_str::<Stored>(&text) else {
        return;
    };
    for task in PedalTask::ALL {
        if let Some(pedal) = stored.pedals.get(task.id()).filter(|_| stored.version == VERSION) {
            pedals.bind(task as usize, Some((*pedal).into()));
        }
    }
}

/// Writes the file.
///
/// # Errors
/// One line that names the file.
pub fn save(folder: &Path, bound: &Bound) -> Result<(), String> {
    let pedals = PedalTask::ALL.into_iter().zip(bound);
    let stored = Stored {
        version: VERSION,
        pedals: pedals
            .filter_map(|(task, pedal)| Some((task.id().to_owned(), (*pedal)?.into())))
            .collect(),
    };
    let path = folder.join(FILE);
    let said = |error: &dyn std::fmt::Display| {
        format!("The pedals can\u{2019}t be kept in {}: {error}", path.display())
    };
    let text = serde_json::to_string_pretty(&stored).map_err(|error| said(&error))?;
    std::fs::create_dir_all(folder).map_err(|error| said(&error))?;
    write_whole(&path, text.as_bytes()).map_err(|error| said(&error))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_learnt_is_there_the_next_time() {
        let folder = std::env::temp_dir().join(format!("sumproof-pedals-{}", std::process::id()));
        let first = Pedals::default();
        load(&folder, &first);
        assert_eq!(bound(&first), [None; TASKS]);
        let pedal = Pedal::Controller {
            channel: 2,
            number: 80,
        };
        first.bind(PedalTask::NextName as usize, Some(pedal));
        save(&folder, &bound(&first)).expect("a folder of our own");
        let second = Pedals::default();
        load(&folder, &second);
        assert_eq!(second.of(PedalTask::NextName as usize), Some(pedal));
        assert_eq!(second.of(PedalTask::Record as usize), None);
        std::fs::write(folder.join(FILE), "{").expect("it was written before");
        load(&folder, &second);
        assert_eq!(second.of(PedalTask::NextName as usize), Some(pedal));
        let _ = std::fs::remove_dir_all(&folder);
    }
}
