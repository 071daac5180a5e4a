//! Lints the forges' workflows (`.github`, `.forgejo`, `.gitlab-ci.yml`) and the scripts.

use crate::place;
use crate::run::{Failure, run};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Runs the linters: against the forges' own schemas (actionlint, and GitLab's schema), for ways in which foreign code
/// could reach a secret (zizmor), and as shell (shellcheck, which actionlint runs as well).
///
/// # Errors
/// A linter's findings, or a linter that can't be started.
pub fn workflows(python: &Path) -> Result<(), Failure> {
    let tool = |name: &str| python.with_file_name(name);
    let files = files()?;
    run(Command::new(tool("actionlint"))
        .current_dir(place::root())
        // Forgejo's runners bring their own runtime.
        .args(["-ignore", "runtime \"node20\" is deprecated"])
        .args(&files))?;
    run(Command::new(tool("zizmor"))
        .current_dir(place::root())
        .args([
            "--offline",
            "--no-progress",
            "--quiet",
            "--min-severity",
            "medium",
        ])
        .args(&files))?;
    run(Command::new(tool("check-jsonschema"))
        .current_dir(place::root())
        .args([
            "--builtin-schema",
            "vendor.gitlab-ci",
            "--data-transform",
            "gitlab-ci",
            ".gitlab-ci.yml",
        ]))?;
    run(Command::new("shellcheck")
        .current_dir(place::root())
        .args(["packaging/install.sh", ".ci/run"]))
}

/// The workflows in GitHub's format, which Forgejo reads too.
fn files() -> Result<Vec<PathBuf>, Failure> {
    let mut files = Vec::new();
    for folder in [".github/workflows", ".forgejo/workflows"] {
        let path = place::root().join(folder);
        let entries = fs::read_dir(&path).map_err(|e| Failure::Failed(format!("{}: {e}", path.display())))?;
        files.extend(
            entries
                .flatten()
                .map(|entry| Path::new(folder).join(entry.file_name())),
        );
    }
    files.sort();
    Ok(files)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every workflow with its text.
    fn texts() -> Vec<(PathBuf, String)> {
        let mut files = files().unwrap();
        files.push(".gitlab-ci.yml".into());
        assert_eq!(files.len(), 5, "{files:?}");
        files
            .into_iter()
            .map(|file| {
                let text = fs::read_to_string(place::root().join(&file)).unwrap();
                (file, text)
            })
            .collect()
    }

    #[test]
    fn forges_ask_for_commands_that_there_are() {
        for (file, text) in texts() {
            let asked: Vec<&str> = text
                .split("cargo xtask ")
                .skip(1)
                .filter_map(|rest| rest.split(|c: char| !c.is_ascii_lowercase() && c != '-').next())
                .collect();
            assert!(!asked.is_empty(), "{} asks for nothing", file.display());
            for command in asked {
                let listed = crate::USAGE
                    .lines()
                    .any(|line| line.trim_start().starts_with(command));
                assert!(listed, "{}: there is no command '{command}'", file.display());
            }
        }
    }

    #[test]
    fn they_build_with_the_toolchain_that_the_manifest_names() {
        let manifest = fs::read_to_string(place::root().join("Cargo.toml")).unwrap();
        let version = manifest
            .lines()
            .find_map(|line| line.strip_prefix("rust-version = "))
            .unwrap()
            .trim_matches('"');
        for (file, text) in texts() {
            assert!(
                text.contains(&format!("rust:{version}-bookworm")),
                "{} does not use Rust {version}",
                file.display()
            );
        }
    }

    #[test]
    fn what_strangers_propose_never_runs_beside_a_secret() {
        for (file, text) in texts() {
            assert!(!text.contains("pull_request_target"), "{}", file.display());
            assert!(!text.contains("secrets."), "{}", file.display());
            // The job with write access checks out no code, and its commands are in the workflow itself.
            let (reading, writing) = text.split_once("\n  publish:").unwrap_or((&text, ""));
            assert!(
                !reading.contains("contents: write"),
                "{}: only `publish` may write",
                file.display()
            );
            assert!(
                !reading.contains(".token"),
                "{}: only `publish` has a token",
                file.display()
            );
            assert!(
                !writing.contains("cargo") && !writing.contains("checkout@"),
                "{}",
                file.display()
            );
        }
    }
}
