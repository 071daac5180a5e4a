//! The documents in an archive: the read-me and every file it links to, the licences, and the installation
//! instructions.

use crate::place;
use crate::run::Failure;
use crate::system::System;
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Documents of the tree, with their names in the archive for a system.
///
/// # Errors
/// A document that can't be read.
pub fn papers(system: System) -> Result<Vec<(PathBuf, String)>, Failure> {
    let root = place::root();
    let mut papers: Vec<(PathBuf, String)> = linked(&root, "README.md")?
        .into_iter()
        .map(|name| (root.join(&name), name))
        .collect();
    for name in ["LICENSE-MIT", "LICENSE-APACHE"] {
        papers.push((root.join(name), name.to_owned()));
    }
    let script = match system {
        System::Windows => "install.cmd",
        System::Linux | System::MacOs => "install.sh",
    };
    let packaging = root.join("packaging");
    papers.push((packaging.join(script), script.to_owned()));
    let words = format!("INSTALL-{}.txt", system.word());
    papers.push((packaging.join(words), "INSTALL.txt".to_owned()));
    Ok(papers)
}

/// A document and all files of the tree that it links to, directly or through others, from the tree's root.
fn linked(root: &Path, first: &str) -> Result<BTreeSet<String>, Failure> {
    let mut found = BTreeSet::new();
    let mut waiting = vec![first.to_owned()];
    while let Some(name) = waiting.pop() {
        let path = root.join(&name);
        if path.is_dir() {
            let entries = fs::read_dir(&path).map_err(|e| Failure::Failed(format!("{name}: {e}")))?;
            waiting.extend(
                entries
                    .flatten()
                    .map(|entry| format!("{name}/{}", entry.file_name().to_string_lossy())),
            );
            continue;
        }
        if !found.insert(name.clone()) || !name.ends_with(".md") {
            continue;
        }
        let text = fs::read_to_string(&path).map_err(|e| Failure::Failed(format!("{name}: {e}")))?;
        let folder = Path::new(&name).parent().unwrap_or(Path::new(""));
        waiting.extend(links(&text).filter_map(|link| joined(folder, link)));
    }
    Ok(found)
}

/// The targets of Markdown links, without the part after `#`; addresses outside the tree are left out.
fn links(text: &str) -> impl Iterator<Item = &str> {
    text.split("](")
        .skip(1)
        .filter_map(|rest| rest.split([')', '#', ' ']).next())
        .filter(|link| !link.is_empty() && !link.contains(':'))
}

/// The target of a link in a document in `folder`, relative to the root, with `/` between folders; `None` for one
/// outside the tree.
fn joined(folder: &Path, link: &str) -> Option<String> {
    let mut parts: Vec<String> = folder
        .components()
        .map(|part| part.as_os_str().to_string_lossy().into_owned())
        .collect();
    for part in link.trim_end_matches('/').split('/') {
        match part {
            "." => {}
            ".." => drop(parts.pop()?),
            part => parts.push(part.to_owned()),
        }
    }
    Some(parts.join("/"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_that_the_read_me_leads_to_is_missing() {
        for system in [System::Linux, System::MacOs, System::Windows] {
            let papers = papers(system).unwrap();
            for (path, name) in &papers {
                assert!(path.is_file(), "{name} is linked and not there");
            }
            let has = |wanted: &str| papers.iter().any(|(_, name)| name == wanted);
            assert!(has("README.md") && has("docs/command.md") && has("LICENSE-MIT") && has("INSTALL.txt"));
            assert_eq!(has("install.cmd"), system == System::Windows);
            assert_eq!(has("install.sh"), system != System::Windows);
        }
    }

    /// `cmd` can't find its labels in files with other systems' line ends; see `.gitattributes`.
    #[test]
    fn windows_own_files_have_windows_line_ends() {
        for name in ["install.cmd", "INSTALL-windows.txt"] {
            let text = fs::read_to_string(place::root().join("packaging").join(name)).unwrap();
            let (lines, ended) = (text.matches('\n').count(), text.matches("\r\n").count());
            assert!(lines > 0 && lines == ended, "{name}: {ended} of {lines} lines");
        }
    }

    #[test]
    fn links_are_found_and_followed_from_their_folder() {
        let text = "![a](tests/a.png) and [b](../shared/B.md#part), [c](https://c.example/) [d](#here)";
        assert_eq!(links(text).collect::<Vec<_>>(), ["tests/a.png", "../shared/B.md"]);
        assert_eq!(
            joined(Path::new("docs"), "../shared/B.md").as_deref(),
            Some("shared/B.md")
        );
        assert_eq!(joined(Path::new(""), "../out.md"), None);
    }
}
