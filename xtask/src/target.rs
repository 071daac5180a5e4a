//! Build targets, and the tools this machine lacks for each, one per line.

use crate::needs;
use crate::place;
use crate::run::{Failure, output_of};
use crate::system::{self, System};
use std::path::{Path, PathBuf};
use std::process::Command;

/// The name for both Mac processors in one.
pub const UNIVERSAL: &str = "universal-apple-darwin";
/// Its triples.
const MACS: [&str; 2] = ["x86_64-apple-darwin", "aarch64-apple-darwin"];

/// A build target.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Target {
    /// Its system.
    pub system: System,
    /// The triples to build, for a Mac one or both. Empty for this machine, in cargo's default folder.
    triples: Vec<String>,
    /// The processor in an archive's name.
    processor: String,
}

impl Target {
    /// The target for this machine.
    ///
    /// # Errors
    /// If there is no compiler, or nothing is shipped for its system.
    pub fn here() -> Result<Self, Failure> {
        let mut target = Self::named(&system::host()?)?;
        target.triples.clear();
        Ok(target)
    }

    /// The target of one of Rust's triples, or [`UNIVERSAL`].
    ///
    /// # Errors
    /// [`Failure::Usage`] if nothing is shipped for it.
    pub fn named(triple: &str) -> Result<Self, Failure> {
        let unknown = || {
            Failure::Usage(format!(
                "nothing is shipped for '{triple}'; x86_64-unknown-linux-gnu, x86_64-pc-windows-msvc, x86_64-pc-windows-gnu and \
                 {UNIVERSAL} are built"
            ))
        };
        let system = System::of(triple).ok_or_else(unknown)?;
        let processor = triple.split('-').next().unwrap_or_default().to_owned();
        let triples = if triple == UNIVERSAL {
            MACS.map(str::to_owned).to_vec()
        } else if processor == "x86_64" || (processor == "aarch64" && system != System::Windows) {
            vec![triple.to_owned()]
        } else {
            return Err(unknown());
        };
        Ok(Self {
            system,
            triples,
            processor,
        })
    }

    /// Takes `--target TRIPLE` or `--target=TRIPLE` out of the arguments; without one, this machine.
    ///
    /// # Errors
    /// As [`Self::named`], and `--target` without a value.
    pub fn from_args(args: &mut Vec<String>) -> Result<Self, Failure> {
        let Some(at) = args
            .iter()
            .position(|arg| arg == "--target" || arg.starts_with("--target="))
        else {
            return Self::here();
        };
        let arg = args.remove(at);
        let triple = match arg.strip_prefix("--target=") {
            Some(triple) => triple.to_owned(),
            None if at == args.len() => return Err(Failure::Usage("--target needs a triple".to_owned())),
            None => args.remove(at),
        };
        // So that it isn't built a second time in another folder.
        if system::host()? == triple {
            return Self::here();
        }
        Self::named(&triple)
    }

    /// The arguments for each `cargo build`, and the folder with its profiles.
    pub fn builds(&self) -> Vec<(Vec<String>, PathBuf)> {
        if self.triples.is_empty() {
            return vec![(Vec::new(), place::target())];
        }
        self.triples
            .iter()
            .map(|triple| {
                let args = vec!["--target".to_owned(), triple.clone()];
                (args, place::target().join(triple))
            })
            .collect()
    }

    /// The triples it is built for; for this machine its own.
    ///
    /// # Errors
    /// If there is no compiler.
    pub fn triples(&self) -> Result<Vec<String>, Failure> {
        if self.triples.is_empty() {
            return Ok(vec![system::host()?]);
        }
        Ok(self.triples.clone())
    }

    /// Whether its builds run natively on this machine.
    pub fn runs_here(&self) -> bool {
        self.triples.is_empty() || system::host().is_ok_and(|host| self.triples.contains(&host))
    }

    /// The system and processor in the name of an archive: `linux-x86_64`.
    pub fn word(&self) -> String {
        format!("{}-{}", self.system.word(), self.processor)
    }

    /// The folder where its bundles and programs are laid out.
    pub fn home(&self) -> PathBuf {
        let home = place::target().join("bundled");
        if self.triples.is_empty() {
            home
        } else {
            home.join(self.word())
        }
    }

    /// Makes sure that it can be built and linked here; on Linux for Linux this installs packages through `apt-get`.
    ///
    /// # Errors
    /// [`Failure::Missing`]: one line for each missing tool.
    pub fn provide(&self) -> Result<(), Failure> {
        let mut missing = self.missing_libraries()?;
        missing.extend(self.missing_linker()?);
        if !missing.is_empty() {
            return Err(Failure::Missing(missing.join("\n")));
        }
        if self.system == System::Linux {
            needs::provide(&[needs::BUILDING])?;
        }
        Ok(())
    }

    /// A line for every triple whose standard library isn't installed.
    ///
    /// # Errors
    /// If there is no compiler.
    pub fn missing_libraries(&self) -> Result<Vec<String>, Failure> {
        // Cargo then builds it from source; see its manual, `-Z build-std`.
        if std::env::var_os("CARGO_UNSTABLE_BUILD_STD").is_some() {
            return Ok(Vec::new());
        }
        let missing = self
            .triples()?
            .into_iter()
            .filter(|triple| !has_library(triple))
            .map(|triple| {
                format!("Rust's standard library for {triple} is missing: rustup target add {triple}")
            })
            .collect();
        Ok(missing)
    }

    /// Lines for missing linkers and other tools.
    fn missing_linker(&self) -> Result<Vec<String>, Failure> {
        let here = System::here();
        let mut missing = Vec::new();
        // On Linux for Linux it is a package like others.
        if (self.system, here) != (System::Linux, System::Linux) && !needs::in_path("cmake") {
            missing.push("cmake is missing: install CMake, which builds the decoder of Opus".to_owned());
        }
        match (self.system, here) {
            (System::MacOs, System::MacOs) => {
                for tool in ["lipo", "codesign"] {
                    if !needs::in_path(tool) {
                        missing.push(format!("{tool} is missing: xcode-select --install"));
                    }
                }
            }
            (System::MacOs, _) => missing.push(
                "linking for macOS needs Apple's tools, which are for Macs only: run this on one".to_owned(),
            ),
            (System::Windows, System::Windows) => {}
            (System::Windows, _) => {
                for triple in self.triples()? {
                    let processor = triple.split('-').next().unwrap_or_default();
                    let linker = format!("{processor}-w64-mingw32-gcc");
                    if !triple.ends_with("-gnu") {
                        missing.push(format!(
                            "linking for {triple} needs Windows: run this there, or take x86_64-pc-windows-gnu"
                        ));
                    } else if !needs::in_path(&linker) {
                        missing.push(format!("{linker} is missing: apt-get install gcc-mingw-w64"));
                    }
                }
            }
            (System::Linux, System::Linux) if self.runs_here() => {}
            (System::Linux, _) => missing.push(format!(
                "linking for {} needs a Linux machine with that processor: run this there",
                self.triples()?.join(" and ")
            )),
        }
        Ok(missing)
    }
}

/// Whether the compiler has a standard library for a triple.
fn has_library(triple: &str) -> bool {
    output_of(Command::new("rustc").args(["--print", "target-libdir", "--target", triple]))
        .is_some_and(|folder| holds_std(Path::new(folder.trim())))
}

fn holds_std(folder: &Path) -> bool {
    folder.read_dir().is_ok_and(|mut entries| {
        entries
            .any(|entry| entry.is_ok_and(|entry| entry.file_name().to_string_lossy().starts_with("libstd-")))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(args: &[&str]) -> Vec<String> {
        args.iter().map(|&arg| arg.to_owned()).collect()
    }

    #[test]
    fn this_machine_is_built_as_cargo_does_by_itself() {
        let here = Target::here().unwrap();
        assert_eq!(here.builds(), vec![(Vec::new(), place::target())]);
        assert_eq!(here.missing_libraries().unwrap(), Vec::<String>::new());
        assert!(here.runs_here());
    }

    #[test]
    fn both_macs_are_two_builds_and_one_archive() {
        let macs = Target::named(UNIVERSAL).unwrap();
        assert_eq!(macs.word(), "macos-universal");
        assert_eq!(macs.builds().len(), 2);
        assert_eq!(macs.triples().unwrap(), MACS);
    }

    #[test]
    fn the_option_is_taken_out_wherever_it_stands() {
        let mut args = words(&["--twice", "--target", "x86_64-pc-windows-gnu"]);
        assert_eq!(Target::from_args(&mut args).unwrap().word(), "windows-x86_64");
        assert_eq!(args, words(&["--twice"]));
        let mut args = words(&["--target=aarch64-apple-darwin"]);
        assert_eq!(Target::from_args(&mut args).unwrap().word(), "macos-aarch64");
        assert!(args.is_empty());
        for wrong in [
            &["--target"][..],
            &["--target", "wasm32-unknown-unknown"],
            &["--target=linux"],
        ] {
            let refused = Target::from_args(&mut words(wrong));
            assert!(matches!(refused, Err(Failure::Usage(_))), "{wrong:?}");
        }
    }

    #[test]
    fn what_is_missing_is_a_line_each() {
        if System::here() == System::MacOs {
            return;
        }
        let macs = Target::named(UNIVERSAL).unwrap();
        let Err(Failure::Missing(lines)) = macs.provide() else {
            panic!("Macs' programs can't be linked here");
        };
        assert!(lines.lines().all(|line| line.contains(": ")), "{lines}");
        assert!(lines.lines().last().unwrap().contains("Apple's tools"), "{lines}");
    }
}
