//! Checks what is shipped: every dependency's licence, the licence texts, and crates that are present in two versions.
//!
//! Known vulnerabilities of dependencies are not checked: the list of them is on no registry that this can rely on.

use crate::place;
use crate::run::{Failure, cargo, output_of};
use serde_json::Value;
use spdx::{Expression, LicenseReq, ParseMode};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;
use std::path::Path;

/// Permissive licences, and MPL, whose files stay under it; fonts have their own.
const ALLOWED: [&str; 18] = [
    "0BSD",
    "Apache-2.0",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "BlueOak-1.0.0",
    "CC0-1.0",
    "ISC",
    "MIT",
    "MIT-0",
    "MPL-2.0",
    "OFL-1.1",
    "Ubuntu-font-1.0",
    "Unicode-3.0",
    "Unicode-DFS-2016",
    "Unlicense",
    "Zlib",
    "libpng-2.0",
];

/// Packages that users get.
const SHIPPED: [&str; 2] = ["sumproof", "sumproof-cli"];

/// Triples that releases are made for; the dependencies of all of them are checked, wherever this runs.
const TRIPLES: [&str; 4] = [
    "x86_64-unknown-linux-gnu",
    "x86_64-pc-windows-msvc",
    "x86_64-apple-darwin",
    "aarch64-apple-darwin",
];

/// One dependency.
struct Crate {
    name: String,
    version: String,
    licence: Option<String>,
    folder: String,
}

/// `cargo xtask licences`: checks the dependencies for all three systems.
///
/// # Errors
/// As [`of`].
pub fn licences() -> Result<(), Failure> {
    of(&TRIPLES.map(str::to_owned))
}

/// Checks the dependencies for these triples, and lists crates in two versions.
///
/// # Errors
/// Every dependency whose licence isn't allowed, or cargo's error.
pub fn of(triples: &[String]) -> Result<(), Failure> {
    let crates = shipped(triples)?;
    let refused: Vec<String> = crates.iter().filter_map(refusal).collect();
    let mut versions: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for one in &crates {
        versions.entry(&one.name).or_default().insert(&one.version);
    }
    let doubles: Vec<String> = versions
        .iter()
        .filter(|(_, versions)| versions.len() > 1)
        .map(|(name, versions)| {
            format!(
                "{name} {}",
                versions.iter().copied().collect::<Vec<_>>().join(" and ")
            )
        })
        .collect();
    println!(
        "{} crates go into what is shipped for {}.",
        crates.len(),
        triples.join(", ")
    );
    if !doubles.is_empty() {
        println!("In more than one version: {}.", doubles.join(", "));
    }
    if refused.is_empty() {
        println!("All under licences that we may pass on.");
        Ok(())
    } else {
        Err(Failure::Failed(refused.join("\n")))
    }
}

fn refusal(one: &Crate) -> Option<String> {
    let name = format!("{} {}", one.name, one.version);
    let Some(licence) = &one.licence else {
        return Some(format!(
            "{name} names no licence; look at it, and leave it out if it has none"
        ));
    };
    // Some still write a slash for 'or'.
    let Ok(expression) = Expression::parse_mode(licence, ParseMode::LAX) else {
        return Some(format!("{name}: '{licence}' is no licence expression"));
    };
    let allowed = |wanted: &LicenseReq| wanted.license.id().is_some_and(|id| ALLOWED.contains(&id.name));
    (!expression.evaluate(allowed))
        .then(|| format!("{name} is under '{licence}', which is not in the list of xtask/src/licences.rs"))
}

/// The licence texts of everything that is shipped, each once, with the crates it applies to.
///
/// # Errors
/// Cargo's error, or a crate's folder that can't be read.
pub fn texts(triples: &[String]) -> Result<String, Failure> {
    let mut texts: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    let mut without = BTreeSet::new();
    for one in shipped(triples)? {
        let name = format!(
            "{} {} ({})",
            one.name,
            one.version,
            one.licence.as_deref().unwrap_or("see its texts")
        );
        let found =
            texts_in(Path::new(&one.folder)).map_err(|e| Failure::Failed(format!("{}: {e}", one.folder)))?;
        if found.is_empty() {
            without.insert(name.clone());
        }
        for text in found {
            texts.entry(text).or_default().insert(name.clone());
        }
    }
    let mut out = String::from("What Sumproof is made with, and under which licences.\n");
    for (text, names) in texts {
        let _ = write!(out, "\n{}\n\n", "=".repeat(78));
        for name in names {
            let _ = writeln!(out, "{name}");
        }
        let _ = write!(out, "\n{}\n", text.trim_end());
    }
    if !without.is_empty() {
        let _ = write!(
            out,
            "\n{}\n\nThese name their licence and bring no text of their own:\n\n",
            "=".repeat(78)
        );
        for name in without {
            let _ = writeln!(out, "{name}");
        }
    }
    Ok(out)
}

fn texts_in(folder: &Path) -> std::io::Result<Vec<String>> {
    let mut files: Vec<_> = fs::read_dir(folder)?
        .filter_map(|entry| entry.ok().map(|entry| entry.path()))
        .collect();
    files.sort();
    Ok(files
        .into_iter()
        .filter(|file| {
            let name = file
                .file_name()
                .unwrap_or_default()
                .to_string_lossy()
                .to_uppercase();
            ["LICENSE", "LICENCE", "COPYING", "NOTICE", "OFL"]
                .iter()
                .any(|start| name.starts_with(start))
        })
        .filter_map(|file| fs::read_to_string(file).ok())
        .map(|text| text.replace('\r', ""))
        .collect())
}

fn list(value: &Value) -> Vec<Value> {
    value.as_array().cloned().unwrap_or_default()
}

fn string(value: &Value) -> String {
    value.as_str().unwrap_or_default().to_owned()
}

/// The ids of the shipped packages and everything linked into them. Build and test dependencies are not shipped.
fn linked(data: &Value) -> BTreeSet<String> {
    let nodes: BTreeMap<String, Vec<String>> = list(&data["resolve"]["nodes"])
        .iter()
        .map(|node| {
            let links = list(&node["deps"])
                .iter()
                .filter(|dependency| {
                    list(&dependency["dep_kinds"])
                        .iter()
                        .any(|kind| kind["kind"].is_null())
                })
                .map(|dependency| string(&dependency["pkg"]))
                .collect();
            (string(&node["id"]), links)
        })
        .collect();
    let mut wanted: Vec<String> = list(&data["packages"])
        .iter()
        .filter(|package| SHIPPED.contains(&package["name"].as_str().unwrap_or_default()))
        .map(|package| string(&package["id"]))
        .collect();
    let mut seen = BTreeSet::new();
    while let Some(id) = wanted.pop() {
        if seen.insert(id.clone()) {
            wanted.extend(nodes.get(&id).cloned().unwrap_or_default());
        }
    }
    seen
}

/// Every crate linked into the shipped packages for these triples, without our own, sorted by name.
fn shipped(triples: &[String]) -> Result<Vec<Crate>, Failure> {
    let platforms = triples.iter().flat_map(|triple| ["--filter-platform", triple]);
    let text = output_of(
        cargo()
            .args(["metadata", "--format-version", "1", "--locked"])
            .args(platforms)
            .args(["--features", "sumproof/standalone"]),
    )
    .ok_or_else(|| Failure::Failed("cargo metadata failed; is Cargo.lock up to date?".to_owned()))?;
    let data: Value =
        serde_json::from_str(&text).map_err(|e| Failure::Failed(format!("cargo metadata: {e}")))?;
    let seen = linked(&data);
    let root = place::root();
    let mut crates: Vec<Crate> = list(&data["packages"])
        .iter()
        .filter(|package| seen.contains(package["id"].as_str().unwrap_or_default()))
        .map(|package| {
            let manifest = string(&package["manifest_path"]);
            Crate {
                name: string(&package["name"]),
                version: string(&package["version"]),
                licence: package["license"].as_str().map(str::to_owned),
                folder: Path::new(&manifest)
                    .parent()
                    .unwrap_or(&root)
                    .to_string_lossy()
                    .into_owned(),
            }
        })
        .filter(|one| !Path::new(&one.folder).starts_with(&root))
        .collect();
    crates.sort_by(|a, b| (&a.name, &a.version).cmp(&(&b.name, &b.version)));
    if crates.is_empty() {
        return Err(Failure::Failed(
            "cargo metadata names nothing that is shipped".to_owned(),
        ));
    }
    Ok(crates)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refused(licence: &str) -> Option<String> {
        refusal(&Crate {
            name: "x".to_owned(),
            version: "1".to_owned(),
            licence: Some(licence.to_owned()),
            folder: String::new(),
        })
    }

    #[test]
    fn permissive_is_fine_and_a_choice_is_enough() {
        for licence in [
            "MIT",
            "MIT/Apache-2.0",
            "Apache-2.0 WITH LLVM-exception OR MIT",
            "MPL-2.0",
            "Apache-2.0 OR GPL-2.0-only",
            "(MIT OR Apache-2.0) AND OFL-1.1",
        ] {
            assert_eq!(refused(licence), None);
        }
    }

    #[test]
    fn what_binds_others_is_refused() {
        for licence in [
            "GPL-3.0-only",
            "MIT AND GPL-2.0-or-later",
            "LGPL-2.1-only",
            "AGPL-3.0-only",
            "all mine",
        ] {
            assert!(refused(licence).is_some(), "{licence}");
        }
        let nameless = Crate {
            name: "x".to_owned(),
            version: "1".to_owned(),
            licence: None,
            folder: String::new(),
        };
        assert!(refusal(&nameless).is_some());
    }
}
