//! The three systems, and their differences in what users get: file names, and the folders named in the formats' own
//! documents. All code that needs to know the system asks here.

use crate::run::{Failure, output_of};
use std::path::{Path, PathBuf};
use std::process::Command;

/// A desktop system.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum System {
    /// Linux, and any other system with its folders.
    Linux,
    /// macOS.
    MacOs,
    /// Windows.
    Windows,
}

impl System {
    /// The system this runs on.
    pub fn here() -> Self {
        match std::env::consts::OS {
            "macos" => Self::MacOs,
            "windows" => Self::Windows,
            _ => Self::Linux,
        }
    }

    /// The system of one of Rust's target triples; `None` if nothing is shipped for it.
    pub fn of(triple: &str) -> Option<Self> {
        let mut parts = triple.split('-').skip(1);
        parts.find_map(|part| match part {
            "linux" => Some(Self::Linux),
            "darwin" => Some(Self::MacOs),
            "windows" => Some(Self::Windows),
            _ => None,
        })
    }

    /// Its name in the name of an archive.
    pub fn word(self) -> &'static str {
        match self {
            Self::Linux => "linux",
            Self::MacOs => "macos",
            Self::Windows => "windows",
        }
    }

    /// File name of a program.
    pub fn program(self, name: &str) -> String {
        match self {
            Self::Windows => format!("{name}.exe"),
            Self::Linux | Self::MacOs => name.to_owned(),
        }
    }

    /// File name that cargo gives to a library loaded at run time.
    pub fn library(self, name: &str) -> String {
        match self {
            Self::Linux => format!("lib{name}.so"),
            Self::MacOs => format!("lib{name}.dylib"),
            Self::Windows => format!("{name}.dll"),
        }
    }
}

/// The compiler's own target triple.
///
/// # Errors
/// If there is no compiler.
pub fn host() -> Result<String, Failure> {
    output_of(Command::new("rustc").arg("-vV"))
        .and_then(|text| {
            text.lines()
                .find_map(|line| line.strip_prefix("host: ").map(str::to_owned))
        })
        .ok_or_else(|| {
            Failure::Missing("rustc does not say what it builds for; is it in the path?".to_owned())
        })
}

/// The folders where DAWs look for plugins, and those of programs and manual pages.
///
/// Sources: CLAP, `include/clap/entry.h` ("Searching for CLAP plugins"); VST 3 Developer Portal, "Plug-in Locations". Programs
/// and manual pages: common practice, no source.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Homes {
    /// CLAP plugins.
    pub clap: PathBuf,
    /// VST3 plugins.
    pub vst3: PathBuf,
    /// Programs started by name from a shell.
    pub programs: PathBuf,
    /// Programs started with a click, where these are bundles.
    pub applications: PathBuf,
    /// Manual pages, where there are any.
    pub manuals: Option<PathBuf>,
}

impl Homes {
    /// The folders of one user, by the environment of this process.
    ///
    /// # Errors
    /// If the user's home folder isn't known.
    pub fn of_user() -> Result<Self, Failure> {
        let home = std::env::home_dir().filter(|home| !home.as_os_str().is_empty());
        let home = home.ok_or_else(|| Failure::Failed("your home folder is not known".to_owned()))?;
        Ok(Self::below(System::here(), &home))
    }

    /// The folders of the user with that home folder.
    pub fn below(system: System, home: &Path) -> Self {
        match system {
            System::Linux => Self {
                clap: home.join(".clap"),
                vst3: home.join(".vst3"),
                programs: home.join(".local/bin"),
                applications: home.join(".local/bin"),
                manuals: Some(home.join(".local/share/man/man1")),
            },
            System::MacOs => Self {
                clap: home.join("Library/Audio/Plug-Ins/CLAP"),
                vst3: home.join("Library/Audio/Plug-Ins/VST3"),
                programs: home.join(".local/bin"),
                applications: home.join("Applications"),
                manuals: Some(home.join(".local/share/man/man1")),
            },
            System::Windows => {
                // The folder may have been moved.
                let local = std::env::var_os("LOCALAPPDATA").filter(|_| System::here() == System::Windows);
                let programs = local
                    .map_or_else(|| home.join("AppData/Local"), PathBuf::from)
                    .join("Programs");
                Self {
                    clap: programs.join("Common/CLAP"),
                    vst3: programs.join("Common/VST3"),
                    programs: programs.join("Sumproof"),
                    applications: programs.join("Sumproof"),
                    manuals: None,
                }
            }
        }
    }

    /// The folders for all users.
    pub fn of_everybody(system: System) -> Self {
        match system {
            System::Linux => Self {
                clap: "/usr/lib/clap".into(),
                vst3: "/usr/lib/vst3".into(),
                programs: "/usr/local/bin".into(),
                applications: "/usr/local/bin".into(),
                manuals: Some("/usr/local/share/man/man1".into()),
            },
            System::MacOs => Self {
                clap: "/Library/Audio/Plug-Ins/CLAP".into(),
                vst3: "/Library/Audio/Plug-Ins/VST3".into(),
                programs: "/usr/local/bin".into(),
                applications: "/Applications".into(),
                manuals: Some("/usr/local/share/man/man1".into()),
            },
            System::Windows => {
                let folder = |variable: &str, usual: &str| {
                    std::env::var_os(variable).map_or_else(|| PathBuf::from(usual), PathBuf::from)
                };
                let common = folder("CommonProgramW6432", "C:/Program Files/Common Files");
                let programs = folder("ProgramW6432", "C:/Program Files").join("Sumproof");
                Self {
                    clap: common.join("CLAP"),
                    vst3: common.join("VST3"),
                    programs: programs.clone(),
                    applications: programs,
                    manuals: None,
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_triple_tells_its_system() {
        assert_eq!(System::of("x86_64-unknown-linux-gnu"), Some(System::Linux));
        assert_eq!(System::of("x86_64-pc-windows-msvc"), Some(System::Windows));
        assert_eq!(System::of("aarch64-apple-darwin"), Some(System::MacOs));
        assert_eq!(System::of("wasm32-unknown-unknown"), None);
        assert_eq!(System::of("linux"), None);
        assert_eq!(System::of(&host().unwrap()), Some(System::here()));
    }

    #[test]
    fn names_are_the_systems_own() {
        assert_eq!(System::Windows.program("sumproof"), "sumproof.exe");
        let library = format!(
            "{}sumproof{}",
            std::env::consts::DLL_PREFIX,
            std::env::consts::DLL_SUFFIX
        );
        assert_eq!(System::here().library("sumproof"), library);
    }
}
