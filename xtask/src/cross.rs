//! Other systems: type checks of the whole workspace, and the tests that need nothing but the toolchain.

use crate::needs;
use crate::run::{Failure, cargo, output_of, run};
use crate::system::{self, System};
use crate::target::Target;
use std::process::Command;

/// Packages whose tests need no plugin host. Tests in them that need Debian's packages are marked as ignored.
const PORTABLE: [&str; 7] = [
    "sumproof-core",
    "sumproof-views",
    "sumproof-signals",
    "sumproof-report",
    "sumproof-cli",
    "sumproof",
    "xtask",
];

/// Packages that are built on Linux alone: the test host loads plugins, opens windows and watches system calls with
/// Linux's own means, and the tests that span crates use it.
const LINUX_ONLY: [&str; 2] = ["sumproof-host", "sumproof-tests"];

/// The oldest Wine in which the command is known to run; 8 lacks a library that Rust's standard library needs.
const WINE: u32 = 10;

/// Type-checks everything, tests included, for a target; for another system than Linux without what runs on Linux
/// alone. Nothing is linked, so only a standard library for it is needed.
///
/// # Errors
/// [`Failure::Missing`] with a line for each standard library that isn't installed, or the compiler's failure.
pub fn types(target: &Target) -> Result<(), Failure> {
    let missing = target.missing_libraries()?;
    if !missing.is_empty() {
        return Err(Failure::Missing(missing.join("\n")));
    }
    if target.runs_here() && target.system == System::Linux {
        needs::provide(&[needs::BUILDING])?;
    }
    for triple in target.triples()? {
        eprintln!("checking for {triple}");
        let mut command = cargo();
        command
            .args(["check", "--locked", "--workspace", "--all-targets"])
            .args(["--features", "sumproof/standalone", "--target", &triple]);
        if target.system != System::Linux {
            eprintln!("without {}, which run on Linux alone", LINUX_ONLY.join(" and "));
            command.args(LINUX_ONLY.iter().flat_map(|package| ["--exclude", package]));
        }
        if !target.runs_here() {
            // Opus' decoder is C: it would have to be built, with a compiler for that system.
            command.args(["--no-default-features", "--features", "sumproof-cli/png"]);
        }
        run(command
            // Errors only; warnings are left to the lints.
            .env("RUSTFLAGS", "--cap-lints=warn"))?;
    }
    Ok(())
}

/// `cargo xtask test --portable [--target TRIPLE] [PACKAGE…]`: runs the tests that need nothing but the toolchain; on
/// Linux those for Windows run in Wine.
///
/// # Errors
/// Wrong usage, a missing tool, or the tests' failure.
pub fn portable(mut args: Vec<String>) -> Result<(), Failure> {
    let target = Target::from_args(&mut args)?;
    if let Some(unknown) = args.iter().find(|name| !PORTABLE.contains(&name.as_str())) {
        return Err(Failure::Usage(format!(
            "'{unknown}' is none of the packages with portable tests: {}",
            PORTABLE.join(", ")
        )));
    }
    let mut missing = match target.provide() {
        Err(Failure::Missing(lines)) => vec![lines],
        other => other.map(|()| Vec::new())?,
    };
    missing.extend(missing_runner(&target)?);
    if !missing.is_empty() {
        return Err(Failure::Missing(missing.join("\n")));
    }
    let packages: Vec<&str> = if args.is_empty() {
        PORTABLE.to_vec()
    } else {
        args.iter().map(String::as_str).collect()
    };
    let mut command = cargo();
    command
        .args(["test", "--locked", "--no-fail-fast", "--profile", "checked"])
        .args(packages.iter().flat_map(|package| ["-p", package]));
    for (target_args, _) in target.builds() {
        command.args(target_args);
    }
    if !target.runs_here() {
        let variable = target.triples()?.join("_").to_uppercase().replace('-', "_");
        command.env(format!("CARGO_TARGET_{variable}_RUNNER"), "wine");
        // Its remarks would fill the screen.
        command.env(
            "WINEDEBUG",
            std::env::var_os("WINEDEBUG").unwrap_or_else(|| "-all".into()),
        );
    }
    run(&mut command)
}

/// A line if nothing here can run builds for the target.
fn missing_runner(target: &Target) -> Result<Option<String>, Failure> {
    if target.runs_here() {
        return Ok(None);
    }
    if target.system != System::Windows || System::here() != System::Linux {
        return Ok(Some(format!(
            "tests for {} run there only; this is {}",
            target.triples()?.join(" and "),
            system::host()?
        )));
    }
    let said = output_of(Command::new("wine").arg("--version"));
    Ok(match said.as_deref().map(wine_version) {
        None => Some(format!("wine is missing: install Wine {WINE} or newer")),
        Some(Some(version)) if version >= WINE => None,
        Some(_) => Some(format!(
            "this is {}, which lacks a library that Rust's programs ask for: install Wine {WINE} or newer",
            said.unwrap_or_default().trim()
        )),
    })
}

/// The first number in `wine-10.0 (Debian …)`.
fn wine_version(said: &str) -> Option<u32> {
    said.trim()
        .strip_prefix("wine-")?
        .split(['.', ' ', '-'])
        .next()?
        .parse()
        .ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wine_says_its_version_first() {
        assert_eq!(wine_version("wine-10.0 (Debian 10.0~repack-6)\n"), Some(10));
        assert_eq!(wine_version("wine-8.0.1"), Some(8));
        assert_eq!(wine_version("not found"), None);
    }

    #[test]
    fn unknown_packages_are_refused() {
        let refused = portable(vec!["sumproof-tests".to_owned()]);
        assert!(matches!(refused, Err(Failure::Usage(_))));
    }
}
