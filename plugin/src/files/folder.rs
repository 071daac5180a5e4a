//! Export and import of takes as files, without a dialog.
//!
//! A system file dialog belongs to the program that shows it. Opened from a plugin it blocks some hosts' windows, waits
//! for a main loop that others don't run, and on one system may only be opened on a thread owned by the host. So there
//! is one folder: exports go there and the path is shown, and files placed in its subfolder [`INCOMING`] can be read.

use std::fs;
use std::path::{Path, PathBuf};

use serde::Deserialize;
use serde_json::Value;
use sumproof_core::score::rig::Rig;
use sumproof_core::session::take::Take;
use sumproof_files::{ReadTextError, read_text};
use sumproof_report::formats::written::{self, TakesError};
use sumproof_report::names;
use sumproof_report::rig;
use sumproof_views::{CardWords, OwnFeed};

use crate::files::rig::card_words;
use crate::state::names::Names;

/// Environment variable that names another folder.
pub const VARIABLE: &str = "SUMPROOF_FOLDER";

/// Largest size of a list of names, bytes.
const LARGEST_NAMES: u64 = 64 * 1024;

/// Most files read at once.
const MOST_FILES: usize = 128;

/// Name of the subfolder from which files are read.
pub const INCOMING: &str = "import";

/// The folder: the value of [`VARIABLE`], or `Sumproof` in the user's documents. `None` for a user without a home
/// folder.
pub fn folder() -> Option<PathBuf> {
    if let Some(folder) = std::env::var_os(VARIABLE).filter(|folder| !folder.is_empty()) {
        return Some(PathBuf::from(folder));
    }
    // The documents folder even if the user moved it, on Windows (a known folder) and on a Linux desktop
    // (freedesktop.org, xdg-user-dirs).
    let documents = dirs::document_dir().or_else(|| Some(dirs::home_dir()?.join("Documents")))?;
    Some(documents.join("Sumproof"))
}

/// Names of the files in a folder that can be read, in alphabetical order: takes from `.json`, the user's own feed and
/// the words for the card from rig files, `.toml`, names of takes from `.txt`.
fn importable(folder: &Path, ending: &str) -> Vec<String> {
    let Ok(entries) = fs::read_dir(folder) else {
        return Vec::new();
    };
    let mut names: Vec<String> = entries
        .flatten()
        .filter_map(|entry| entry.file_name().into_string().ok())
        .filter(|name| has_ending(name, ending) && !name.starts_with('.'))
        .collect();
    names.sort();
    names.truncate(MOST_FILES);
    names
}

/// Whether a name has an ending, upper or lower case: some systems make no difference.
fn has_ending(name: &str, ending: &str) -> bool {
    Path::new(name)
        .extension()
        .is_some_and(|found| found.eq_ignore_ascii_case(ending))
}

/// What was found in the import folder.
#[derive(Debug)]
pub struct Incoming {
    /// Path of the import folder. It is created where it was missing, so that the user has somewhere to put files.
    pub folder: PathBuf,
    /// Number of files that were read.
    pub files: usize,
    /// Their takes.
    pub takes: Vec<Take>,
    /// The user's own feed in the last rig file that has one.
    pub own: Option<OwnFeed>,
    /// The words for the card in the rig files; the last file wins, and fields that none sets are empty.
    pub card: CardWords,
    /// The names in the last text file, a line each.
    pub names: Option<Names>,
    /// A line for every file that could not be read.
    pub wrong: Vec<String>,
}

/// Reads every take file, rig file and list of names in the import folder.
pub fn incoming(folder: &Path) -> Incoming {
    let folder = folder.join(INCOMING);
    // If it can't be created there is nothing in it either, and that is what the user is told.
    let _ = fs::create_dir_all(&folder);
    let mut found = Incoming {
        files: 0,
        takes: Vec::new(),
        own: None,
        card: CardWords::default(),
        names: None,
        wrong: Vec::new(),
        folder,
    };
    for name in importable(&found.folder, "json") {
        match import(&found.folder, &name) {
            Ok(takes) => {
                found.files += 1;
                found.takes.extend(takes);
            }
            Err(line) => found.wrong.push(line),
        }
    }
    for name in importable(&found.folder, "toml") {
        match rig_file(&found.folder, &name) {
            Ok((own, card)) => {
                found.files += 1;
                found.own = own.or(found.own);
                found.card = found.card.filled_from(card);
            }
            Err(line) => found.wrong.push(line),
        }
    }
    for name in importable(&found.folder, "txt") {
        match text_of(&found.folder, &name, "names", LARGEST_NAMES) {
            Ok(text) => {
                found.files += 1;
                found.names = Some(Names::new(text.lines()));
            }
            Err(line) => found.wrong.push(line),
        }
    }
    found
}

/// The user's own feed in a rig file, if it has one, and its words for the card.
fn rig_file(folder: &Path, name: &str) -> Result<(Option<OwnFeed>, CardWords), String> {
    let text = text_of(folder, name, "a rig", rig::file::LARGEST_BYTES)?;
    let file = rig::file::parse(&text).map_err(|error| format!("{}: {error}", names::line(name)))?;
    let own = file.own_name().map(|own| OwnFeed {
        name: String::from(own),
        feed: file.rig().own,
    });
    Ok((own, card_words(&file)))
}

/// Writes takes to a new file in the folder, in the form of `sumproof check --format json`, and returns its path.
///
/// # Errors
/// One line that says what could not be written and what to do.
pub fn export(folder: &Path, takes: &[Take], rig: &Rig) -> Result<PathBuf, String> {
    write_new(folder, "takes", "json", with_stored(takes, rig).as_bytes())
}

/// The command's document, with each take's stored form added, so that it can be read back.
fn with_stored(takes: &[Take], rig: &Rig) -> String {
    let text = sumproof_report::json(takes, rig);
    let Ok(mut document) = serde_json::from_str::<Value>(&text) else {
        return text;
    };
    let Some(reports) = document.get_mut("takes").and_then(Value::as_array_mut) else {
        return text;
    };
    let mut added = false;
    for (report, take) in reports.iter_mut().zip(takes) {
        if let Some(report) = report.as_object_mut()
            && report.get("stored").is_none_or(Value::is_null)
        {
            let stored = serde_json::to_value(take).unwrap_or_default();
            report.insert(String::from("stored"), stored);
            added = true;
        }
    }
    if added {
        serde_json::to_string_pretty(&document).unwrap_or(text)
    } else {
        text
    }
}

/// Writes a file under the first free name: `takes.json`, `takes 2.json` and so on. No partly written file is ever
/// visible.
///
/// # Errors
/// One line that says what could not be written and what to do.
pub fn write_new(folder: &Path, stem: &str, extension: &str, contents: &[u8]) -> Result<PathBuf, String> {
    sumproof_files::write_new(folder, stem, extension, contents).map_err(|error| {
        format!(
            "{}: could not be written ({error}); name another folder in {VARIABLE}",
            names::line(&folder.to_string_lossy())
        )
    })
}

/// Reads the takes of a file in the folder: one written by [`export`] or by `sumproof check --format json`.
fn import(folder: &Path, name: &str) -> Result<Vec<Take>, String> {
    takes_in(&text_of(folder, name, "takes", written::LARGEST_BYTES)?)
        .map_err(|reason| format!("{}: {}", names::line(name), names::line(&reason)))
}

fn text_of(folder: &Path, name: &str, what: &str, longest: u64) -> Result<String, String> {
    let shown = names::line(name);
    read_text(&folder.join(name), longest).map_err(|error| match error {
        ReadTextError::Io(error) => format!("{shown}: could not be read ({error})"),
        ReadTextError::Folder => format!("{shown}: is a folder"),
        ReadTextError::TooLong => format!("{shown}: is too long to hold {what}"),
        ReadTextError::NotText => format!("{shown}: is not a text in UTF-8"),
    })
}

fn takes_in(text: &str) -> Result<Vec<Take>, String> {
    #[derive(Deserialize)]
    struct Report {
        #[serde(default)]
        name: String,
        #[serde(default)]
        stored: Option<Value>,
    }
    written::takes::<Report>(text)
        .map_err(|error| match error {
            TakesError::NotTakes(reason) => {
                format!("holds no takes of `sumproof check --format json` ({reason})")
            }
            TakesError::Newer { found, known } => {
                format!("was written by a newer version (form {found}, this one knows {known})")
            }
            TakesError::Empty => error.to_string(),
        })?
        .into_iter()
        .map(|report| {
            let stored = report.stored.ok_or_else(|| {
                format!(
                    "the take \u{2018}{}\u{2019} holds figures only, and can't be read back: write it again with this version",
                    report.name
                )
            })?;
            Take::deserialize(&stored)
                .map_err(|error| format!("the take \u{2018}{}\u{2019} is damaged: {error}", report.name))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use std::ffi::OsStr;

    use sumproof_core::session::take::Pass;

    use super::*;
    use crate::state::takes::testing::take;

    /// A separate folder for each test, removed afterwards.
    struct Folder(PathBuf);

    impl Folder {
        fn new(name: &str) -> Self {
            let path = std::env::temp_dir().join(format!("sumproof-{name}-{}", std::process::id()));
            let _ = fs::remove_dir_all(&path);
            Self(path)
        }
    }

    impl Drop for Folder {
        fn drop(&mut self) {
            let _ = fs::remove_dir_all(&self.0);
        }
    }

    #[test]
    fn what_goes_out_comes_in() {
        let folder = Folder::new("out");
        assert!(importable(&folder.0, "json").is_empty());
        let takes = ["lead", "clean \u{2018}wide\u{2019}"].map(|name| take(name, Pass::Full));
        let path = export(&folder.0, &takes, &Rig::default()).expect("the folder is made");
        assert_eq!(path.file_name(), Some(OsStr::new("takes.json")));
        let second = export(&folder.0, &takes[..1], &Rig::default()).expect("another name");
        assert_eq!(second.file_name(), Some(OsStr::new("takes 2.json")));
        let mut listed = importable(&folder.0, "json");
        listed.sort();
        assert_eq!(listed, ["takes 2.json", "takes.json"]);
        let back = import(&folder.0, "takes.json").expect("what was written");
        assert_eq!(back.len(), 2);
        for (back, take) in back.iter().zip(&takes) {
            assert_eq!(
                (&back.name, back.sums, back.rate_hz),
                (&take.name, take.sums, take.rate_hz)
            );
            // After being stored once, nothing changes any more.
            let again: Take = serde_json::to_value(back)
                .and_then(serde_json::from_value)
                .expect("a take");
            assert_eq!(&again, back);
        }
        // It is the same document that the command writes.
        let text = fs::read_to_string(&path).expect("a file");
        let document: Value = serde_json::from_str(&text).expect("JSON");
        assert_eq!(document["schema"], sumproof_report::SCHEMA);
        assert!(
            document["takes"][0]["feeds"]
                .as_array()
                .is_some_and(|feeds| feeds.len() > 10)
        );
        // No partly written file is left.
        let left = fs::read_dir(&folder.0).expect("a folder").count();
        assert_eq!(left, 2);
    }

    #[test]
    fn what_holds_no_takes_is_refused_in_one_line() {
        let folder = Folder::new("in");
        fs::create_dir_all(&folder.0).expect("a folder");
        let newer = format!("{{\"schema\":{},\"takes\":[]}}", sumproof_report::SCHEMA + 1);
        for (text, reason) in [
            ("", "holds no takes"),
            ("{}", "holds no takes"),
            ("[1,2]", "holds no takes"),
            (newer.as_str(), "newer version"),
            ("{\"schema\":1,\"takes\":[{\"name\":\"a\"}]}", "figures only"),
            (
                "{\"schema\":1,\"takes\":[{\"name\":\"a\",\"stored\":{}}]}",
                "damaged",
            ),
        ] {
            fs::write(folder.0.join("x.json"), text).expect("a file");
            let error = import(&folder.0, "x.json").expect_err(text);
            assert!(error.starts_with("x.json: ") && error.contains(reason), "{error}");
            assert_eq!(error.lines().count(), 1);
        }
        assert!(import(&folder.0, "no such file.json").is_err());
    }

    #[test]
    fn a_feed_of_the_users_own_comes_in_from_a_rig_file() {
        let folder = Folder::new("rig");
        let into = folder.0.join(INCOMING);
        fs::create_dir_all(&into).expect("a folder");
        let measured = "[own]\nname = \"the old mill\"\nending = \"sum\"\n[own.right]\npolarity = \"flipped\"\n\
                        gain_db = -12.0\ndelay_ms = 0.5\n";
        fs::write(into.join("measured.toml"), measured).expect("a file");
        let plain = "sum = \"unity\"\n[source]\npeak_dbu = 9.5\n[card]\nplayer = \"second guitar\"\n";
        fs::write(into.join("plain.toml"), plain).expect("a file");
        fs::write(into.join("wrong.toml"), "sum = 3\n").expect("a file");
        let found = incoming(&folder.0);
        assert_eq!(
            found.card,
            CardWords {
                player: String::from("second guitar"),
                peak_dbu: Some(9.5),
                ..CardWords::default()
            }
        );
        let own = found.own.expect("a feed");
        assert_eq!(own.name, "the old mill");
        let right = own.feed.right;
        assert_eq!(right.polarity, sumproof_core::routing::line::Polarity::Flipped);
        assert_eq!((right.gain_db, own.feed.left.gain_db), (-12.0, 0.0));
        assert!((right.delay_s - 0.0005).abs() < 1e-12);
        assert_eq!((found.files, found.takes.len(), found.wrong.len()), (2, 0, 1));
        assert!(found.wrong[0].starts_with("wrong.toml: "), "{}", found.wrong[0]);
    }

    #[test]
    fn a_folder_that_cannot_be_made_is_said() {
        let folder = Folder::new("file");
        fs::write(&folder.0, "in the way").expect("a file");
        let error = export(&folder.0, &[], &Rig::default()).expect_err("a file is in the way");
        let _ = fs::remove_file(&folder.0);
        assert!(
            error.contains("could not be written") && error.contains(VARIABLE),
            "{error}"
        );
    }

    #[test]
    fn capitals_make_no_difference_to_what_can_be_read() {
        assert!(has_ending("TAKES.JSON", "json") && has_ending("rig.Toml", "toml"));
        assert!(!has_ending("json", "json") && !has_ending("takes.json.part", "json"));
    }

    #[test]
    fn it_is_a_folder_of_its_own_among_the_documents() {
        if std::env::var_os(VARIABLE).is_some() {
            return;
        }
        let folder = folder().expect("who tests has a home");
        assert!(
            folder.is_absolute() && folder.ends_with("Sumproof"),
            "{}",
            folder.display()
        );
        assert_ne!(folder.parent(), dirs::home_dir().as_deref());
    }
}
