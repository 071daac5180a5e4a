//! Restricts where the code may ask which system it is built for: only at the edges, so that no figure, sentence or
//! picture can differ between systems.

use crate::place;
use crate::run::Failure;
use std::fs;
use std::path::Path;

/// Files that may ask: their folder, their name and the edge they belong to.
const EDGES: [(&str, &str, &str); 10] = [
    ("plugin/", "Cargo.toml", "what the window is drawn on"),
    ("plugin/src/window/present/", "", "the window"),
    ("plugin/src/window/closing/", "", "the window's end"),
    ("plugin/src/vst3/", "", "what a host loads by"),
    ("plugin/src/", "main.rs", "the stand-alone program's start"),
    ("shared/files/", "", "files as each system keeps them"),
    (
        "cli/tests/",
        "outputs.rs",
        "pipes and links, where a system has them",
    ),
    ("tests/", "", "what a host may see of another process"),
    ("page/src/", "lib.rs", "what only a browser calls"),
    ("xtask/src/", "system.rs", "folders and names of files"),
];

/// The questions. In manifests, a dependency for one system counts as one.
const QUESTIONS: [&str; 10] = [
    "target_os",
    "target_family",
    "target_env",
    "target_vendor",
    "cfg(unix",
    "cfg(windows",
    "cfg!(unix",
    "cfg!(windows",
    "std::os::",
    "consts::OS",
];

/// Refuses these questions anywhere else.
///
/// # Errors
/// Every line that asks, a listed file that no longer asks, or a folder that can't be read.
pub fn edges() -> Result<(), Failure> {
    let root = place::root();
    let mut found = Vec::new();
    let mut used = [false; EDGES.len()];
    look(&root, "", &mut |name, text| {
        let asking: Vec<usize> = asking(text).collect();
        if asking.is_empty() || name == "xtask/src/edges.rs" {
            return;
        }
        match EDGES.iter().position(|edge| is_in(edge, name)) {
            Some(at) => used[at] = true,
            None => found.extend(
                asking
                    .into_iter()
                    .map(|line| format!("{name}:{line} asks which system it is")),
            ),
        }
    })
    .map_err(|e| Failure::Failed(format!("{}: {e}", root.display())))?;
    found.extend(
        EDGES
            .iter()
            .zip(used)
            .filter(|(_, used)| !used)
            .map(|((folder, file, edge), _)| format!("{folder}{file} ({edge}) asks nothing: take it out")),
    );
    if found.is_empty() {
        println!("Which system it is, is asked at {} edges alone.", EDGES.len());
        Ok(())
    } else {
        found.push("the edges are listed in xtask/src/edges.rs: let one of them ask".to_owned());
        Err(Failure::Failed(found.join("\n")))
    }
}

/// Whether a file belongs to an edge: below its folder, and of its name if one is given.
fn is_in(&(folder, file, _): &(&str, &str, &str), name: &str) -> bool {
    name.starts_with(folder) && (file.is_empty() || name.rsplit('/').next() == Some(file))
}

/// Numbers of the lines that ask, from 1; comments don't count.
fn asking(text: &str) -> impl Iterator<Item = usize> {
    text.lines()
        .enumerate()
        .filter(|(_, line)| !line.trim_start().starts_with("//"))
        .filter(|(_, line)| QUESTIONS.iter().any(|question| line.contains(question)))
        .map(|(at, _)| at + 1)
}

/// Calls `see` with the name, from `folder` and after `below`, and the text of every Rust file and manifest below it.
///
/// # Errors
/// A folder or file that can't be read.
pub fn look(folder: &Path, below: &str, see: &mut impl FnMut(&str, &str)) -> std::io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        let file = path
            .file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        let name = format!("{below}{file}");
        if path.is_dir() {
            // Not our sources, or generated.
            if !file.starts_with('.') && name != "target" {
                look(&path, &format!("{name}/"), see)?;
            }
        } else if name.ends_with(".rs") || file == "Cargo.toml" {
            see(&name, &fs::read_to_string(&path)?);
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn questions_are_seen_and_comments_are_not() {
        let text =
            "// cfg(windows)\n#[cfg(windows)]\nfn a() {}\nif cfg!(target_os = \"linux\") {}\n#[cfg(test)]\n";
        assert_eq!(asking(text).collect::<Vec<_>>(), [2, 4]);
        assert_eq!(asking("use std::os::unix::fs::PermissionsExt;").count(), 1);
    }

    #[test]
    fn only_the_edges_ask() {
        edges().unwrap();
    }
}
