//! Finds unused dependencies.

use crate::place;
use crate::run::{Failure, cargo, output_of};
use serde_json::Value;
use std::fs;
use std::path::Path;

/// Checks that every dependency of a member is named in its source, and every line of the workspace's table in a
/// member.
///
/// # Errors
/// The unused ones, or cargo's error.
pub fn unused() -> Result<(), Failure> {
    let text = output_of(cargo().args(["metadata", "--format-version", "1", "--no-deps", "--locked"]))
        .ok_or_else(|| Failure::Failed("cargo metadata failed; is Cargo.lock up to date?".to_owned()))?;
    let data: Value =
        serde_json::from_str(&text).map_err(|error| Failure::Failed(format!("cargo metadata: {error}")))?;
    let string = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    let (mut wrong, mut named) = (Vec::new(), Vec::new());
    for member in data["packages"].as_array().into_iter().flatten() {
        let manifest = string(&member["manifest_path"]);
        let folder = Path::new(&manifest).parent().unwrap_or(Path::new("."));
        let mut source = String::new();
        read_all(folder, &mut source)
            .map_err(|error| Failure::Failed(format!("{}: {error}", folder.display())))?;
        for dependency in member["dependencies"].as_array().into_iter().flatten() {
            let name = string(&dependency["name"]);
            if !has_word(&source, &name.replace('-', "_")) {
                wrong.push(format!("{} does not use {name}", string(&member["name"])));
            }
            named.push(name);
        }
    }
    let root = place::root().join("Cargo.toml");
    let text =
        fs::read_to_string(&root).map_err(|error| Failure::Failed(format!("{}: {error}", root.display())))?;
    wrong.extend(
        table(&text)
            .filter(|name| !named.iter().any(|one| one == name))
            .map(|name| format!("no member uses {name} of the workspace's table")),
    );
    if wrong.is_empty() {
        println!("{} dependencies of our own packages, all used.", named.len());
        Ok(())
    } else {
        Err(Failure::Failed(wrong.join("\n")))
    }
}

/// The names in the workspace's dependency table.
fn table(manifest: &str) -> impl Iterator<Item = &str> {
    manifest
        .lines()
        .skip_while(|line| *line != "[workspace.dependencies]")
        .skip(1)
        .take_while(|line| !line.starts_with('['))
        .filter(|line| !line.starts_with('#'))
        .filter_map(|line| line.split_once(" = ").map(|(name, _)| name.trim()))
}

/// All Rust source below a folder; members do not lie within one another.
fn read_all(folder: &Path, into: &mut String) -> std::io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            read_all(&path, into)?;
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            let text = fs::read_to_string(&path)?;
            // A file included from elsewhere counts as its source too.
            for line in text.lines() {
                let elsewhere = line
                    .trim()
                    .strip_prefix("#[path = \"")
                    .and_then(|rest| rest.strip_suffix("\"]"));
                match elsewhere.map(|elsewhere| folder.join(elsewhere)) {
                    // A folder with modules.
                    Some(elsewhere) if elsewhere.is_dir() => read_all(&elsewhere, into)?,
                    Some(elsewhere) => into.push_str(&fs::read_to_string(elsewhere)?),
                    None => {}
                }
            }
            into.push_str(&text);
        }
    }
    Ok(())
}

/// Whether a text contains a name, not as part of a longer one.
fn has_word(text: &str, word: &str) -> bool {
    let is_part = |c: char| c.is_alphanumeric() || c == '_';
    text.match_indices(word)
        .any(|(at, _)| !text[..at].ends_with(is_part) && !text[at + word.len()..].starts_with(is_part))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_a_word_of_its_own() {
        assert!(has_word("use rtrb::Ring;", "rtrb"));
        assert!(!has_word("use rtrb_more::Ring; my_rtrb", "rtrb"));
    }

    #[test]
    fn the_table_is_read() {
        let manifest = "[x]\na = 1\n[workspace.dependencies]\n# one\nserde = \"1\"\nb-c = { version = \"2\" }\n[y]\nd = 1\n";
        assert_eq!(table(manifest).collect::<Vec<_>>(), ["serde", "b-c"]);
    }
}
