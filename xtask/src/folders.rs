//! Checks that the folders of a crate depend on each other in one direction.

use crate::run::Failure;
use crate::{edges, place};
use std::fs;
use std::path::Path;

/// A folder, or a module in a file of its own, with those it may use besides itself.
type Folder = (&'static str, &'static [&'static str]);

/// A folder's name from which tests are: these may use everything.
const TESTS: &str = "/testing/whole/";

/// The crates with their folders, as their `lib.rs` lists them.
const CRATES: [(&str, &[Folder]); 2] = [
    (
        "shared/core",
        &[
            ("dsp", &[]),
            ("spectrum", &["dsp"]),
            ("routing", &["dsp", "spectrum"]),
            ("alignment", &["dsp", "spectrum", "routing"]),
            ("split", &["dsp", "spectrum", "routing", "alignment"]),
            ("score", &["dsp", "spectrum", "routing", "split"]),
            (
                "explain",
                &["dsp", "spectrum", "routing", "alignment", "split", "score"],
            ),
            (
                "session",
                &[
                    "dsp",
                    "spectrum",
                    "routing",
                    "alignment",
                    "split",
                    "score",
                    "explain",
                ],
            ),
            ("audition", &["dsp", "routing"]),
            ("line_check", &["dsp", "routing"]),
        ],
    ),
    (
        "plugin",
        &[
            ("testing", &[]),
            ("vst3", &[]),
            ("parameters", &[]),
            ("bridge", &["parameters"]),
            ("state", &["parameters", "bridge"]),
            ("analysis", &["parameters", "bridge", "state", "testing"]),
            ("audio", &["parameters", "bridge", "analysis", "testing"]),
            ("files", &["parameters", "bridge", "state", "analysis"]),
            ("fields", &["parameters", "state", "analysis"]),
            (
                "window",
                &[
                    "parameters",
                    "bridge",
                    "state",
                    "analysis",
                    "files",
                    "fields",
                    "vst3",
                    "testing",
                ],
            ),
        ],
    ),
];

/// Refuses a use in another direction, and a folder that isn't listed.
///
/// # Errors
/// Every such use with its file, every such folder, or a folder that can't be read.
pub fn folders() -> Result<(), Failure> {
    let mut uses = 0;
    let mut wrong = Vec::new();
    for (package, list) in CRATES {
        let source = place::root().join(package).join("src");
        let mut see = |name: &str, text: &str| {
            let found = not_allowed(name, text, list, &mut uses);
            wrong.extend(found.map(|other| format!("{package}/src/{name} uses {other}")));
        };
        edges::look(&source, "", &mut see)
            .and_then(|()| unlisted(&source, list))
            .map(|folders| {
                wrong.extend(
                    folders
                        .iter()
                        .map(|name| format!("{package}/src/{name} is not listed")),
                )
            })
            .map_err(|e| Failure::Failed(format!("{}: {e}", source.display())))?;
    }
    if wrong.is_empty() {
        println!("Folders use each other in one direction, {uses} times.");
        Ok(())
    } else {
        wrong.push("xtask/src/folders.rs lists which folder may use which".to_owned());
        Err(Failure::Failed(wrong.join("\n")))
    }
}

/// The listed folders that a file uses and may not; all uses are counted.
fn not_allowed<'t>(
    name: &str,
    text: &'t str,
    list: &'static [Folder],
    uses: &mut usize,
) -> impl Iterator<Item = &'t str> {
    let own = name.split('/').next().unwrap_or(name).trim_end_matches(".rs");
    let of = list.iter().find(|(folder, _)| *folder == own);
    let named: Vec<&str> = match of {
        Some(_) if !format!("/{name}").contains(TESTS) => named(text)
            .filter(|other| *other != own && list.iter().any(|(folder, _)| folder == other))
            .collect(),
        _ => Vec::new(),
    };
    *uses += named.len();
    named
        .into_iter()
        .filter(move |other| of.is_some_and(|(_, below)| !below.contains(other)))
}

/// The names after `crate::` in the code of a file: neither in comments, nor in the tests at its end.
fn named(text: &str) -> impl Iterator<Item = &str> {
    text.lines()
        .take_while(|line| !line.starts_with("#[cfg(test)]"))
        .filter_map(|line| line.split("//").next())
        .flat_map(|line| line.split("crate::").skip(1))
        .filter_map(|rest| rest.split(|c: char| !(c.is_alphanumeric() || c == '_')).next())
}

/// Folders below `source` that aren't listed.
fn unlisted(source: &Path, list: &[Folder]) -> std::io::Result<Vec<String>> {
    let mut found = Vec::new();
    for entry in fs::read_dir(source)? {
        let entry = entry?;
        let name = entry.file_name().to_string_lossy().into_owned();
        if entry.path().is_dir() && !list.iter().any(|(folder, _)| *folder == name) {
            found.push(name);
        }
    }
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn uses_are_seen_in_code_only_and_in_one_direction() {
        const LIST: &[Folder] = &[("low", &[]), ("high", &["low"])];
        let text = "use crate::high::A; // crate::high\n//! [`crate::high`]\nuse crate::low::B;\n#[cfg(test)]\nuse crate::high::C;\n";
        let seen = |name: &str| {
            let mut uses = 0;
            let wrong: Vec<&str> = not_allowed(name, text, LIST, &mut uses).collect();
            (wrong, uses)
        };
        assert_eq!(seen("low/mod.rs"), (vec!["high"], 1));
        assert_eq!(seen("high.rs"), (vec![], 1));
        assert_eq!(seen("lib.rs"), (vec![], 0));
    }

    #[test]
    fn folders_use_only_those_below_them() {
        folders().unwrap();
    }
}
