//! `cargo xtask install` and `uninstall`: the bundles where DAWs look for plugins, the programs where programs are, and the
//! command's manual page.

use crate::bundles::{self, Shipped};
use crate::run::Failure;
use std::fs;
use std::path::{Path, PathBuf};

/// Builds what users get and copies it to where it belongs.
///
/// # Errors
/// [`Failure::Usage`], or [`Failure::Failed`] when building or a copy fails.
pub fn install(args: &[String]) -> Result<(), Failure> {
    let homes = Homes::of(args)?;
    for placed in homes.take_in(&bundles::shipped()?)? {
        println!("installed {}", placed.display());
    }
    println!("let your DAW scan for new plugins; `cargo xtask uninstall` takes all of it away again");
    Ok(())
}

/// Takes away what [`install`] has put there, and nothing else.
///
/// # Errors
/// [`Failure::Usage`], or [`Failure::Failed`] when something can't be removed.
pub fn uninstall(args: &[String]) -> Result<(), Failure> {
    let removed = Homes::of(args)?.give_up()?;
    for path in &removed {
        println!("removed {}", path.display());
    }
    if removed.is_empty() {
        println!("nothing of it is there");
    }
    Ok(())
}

/// The folders of the two formats, of programs and of manual pages.
pub struct Homes {
    /// Where DAWs look for CLAP plugins.
    pub clap: PathBuf,
    /// The same for VST3.
    pub vst3: PathBuf,
    programs: PathBuf,
    /// Not where there are no manual pages.
    manuals: Option<PathBuf>,
}

impl Homes {
    fn of(args: &[String]) -> Result<Self, Failure> {
        let args: Vec<&str> = args.iter().map(String::as_str).collect();
        match args.as_slice() {
            [] | ["--user"] => std::env::home_dir()
                .map(|home| Self::of_user(&home))
                .ok_or_else(|| Failure::Failed("your home folder is not known".to_owned())),
            ["--system"] => Ok(Self::of_system()),
            [other, ..] => Err(Failure::Usage(format!("'{other}' is not expected here"))),
        }
    }

    /// Those of one user.
    pub fn of_user(home: &Path) -> Self {
        let manuals = Some(home.join(".local/share/man/man1"));
        if cfg!(target_os = "macos") {
            let plugins = home.join("Library/Audio/Plug-Ins");
            Self {
                clap: plugins.join("CLAP"),
                vst3: plugins.join("VST3"),
                programs: home.join(".local/bin"),
                manuals,
            }
        } else if cfg!(windows) {
            let programs = home.join("AppData/Local/Programs");
            Self {
                clap: programs.join("Common/CLAP"),
                vst3: programs.join("Common/VST3"),
                programs: programs.join("Sumproof"),
                manuals: None,
            }
        } else {
            Self {
                clap: home.join(".clap"),
                vst3: home.join(".vst3"),
                programs: home.join(".local/bin"),
                manuals,
            }
        }
    }

    fn of_system() -> Self {
        let manuals = Some("/usr/local/share/man/man1".into());
        if cfg!(target_os = "macos") {
            Self {
                clap: "/Library/Audio/Plug-Ins/CLAP".into(),
                vst3: "/Library/Audio/Plug-Ins/VST3".into(),
                programs: "/usr/local/bin".into(),
                manuals,
            }
        } else if cfg!(windows) {
            Self {
                clap: "C:/Program Files/Common Files/CLAP".into(),
                vst3: "C:/Program Files/Common Files/VST3".into(),
                programs: "C:/Program Files/Sumproof".into(),
                manuals: None,
            }
        } else {
            Self {
                clap: "/usr/lib/clap".into(),
                vst3: "/usr/lib/vst3".into(),
                programs: "/usr/local/bin".into(),
                manuals,
            }
        }
    }

    /// Copies everything here; gives the places.
    ///
    /// # Errors
    /// The first copy that fails.
    pub fn take_in(&self, shipped: &Shipped) -> Result<Vec<PathBuf>, Failure> {
        let mut copies = vec![
            (&shipped.clap, &self.clap),
            (&shipped.vst3, &self.vst3),
            (&shipped.standalone, &self.programs),
            (&shipped.command, &self.programs),
        ];
        copies.extend(self.manuals.as_ref().map(|manuals| (&shipped.manual, manuals)));
        copies
            .into_iter()
            .map(|(file, home)| {
                place(file, home)
                    .map_err(|e| Failure::Failed(format!("{}: {e}; may you write there?", home.display())))
            })
            .collect()
    }

    /// Removes everything of ours; gives what was there.
    ///
    /// # Errors
    /// The first thing that can't be removed.
    pub fn give_up(&self) -> Result<Vec<PathBuf>, Failure> {
        let program = |name: &str| {
            self.programs
                .join(format!("{name}{}", std::env::consts::EXE_SUFFIX))
        };
        let mut ours = vec![
            self.clap.join(bundles::CLAP_FILE),
            self.vst3.join(bundles::VST3_FOLDER),
            program(bundles::STANDALONE),
            program(bundles::COMMAND),
        ];
        ours.extend(self.manuals.as_ref().map(|manuals| manuals.join(bundles::MANUAL)));
        ours.retain(|path| path.symlink_metadata().is_ok());
        for path in &ours {
            remove(path)
                .map_err(|e| Failure::Failed(format!("{}: {e}; may you write there?", path.display())))?;
        }
        Ok(ours)
    }
}

/// Copies a file or folder beside its destination, then swaps it in, so a DAW never loads half a plugin.
fn place(bundle: &Path, home: &Path) -> std::io::Result<PathBuf> {
    let name = bundle.file_name().unwrap_or_default();
    let placed = home.join(name);
    let partial = home.join(format!(".{}.part", name.to_string_lossy()));
    fs::create_dir_all(home)?;
    remove(&partial)?;
    copy(bundle, &partial)?;
    remove(&placed)?;
    fs::rename(&partial, &placed)?;
    Ok(placed)
}

fn remove(path: &Path) -> std::io::Result<()> {
    match path.symlink_metadata() {
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(()),
        Err(error) => Err(error),
        Ok(data) if data.is_dir() => fs::remove_dir_all(path),
        Ok(_) => fs::remove_file(path),
    }
}

fn copy(from: &Path, to: &Path) -> std::io::Result<()> {
    if !from.is_dir() {
        return fs::copy(from, to).map(drop);
    }
    fs::create_dir_all(to)?;
    for entry in fs::read_dir(from)? {
        let entry = entry?;
        copy(&entry.path(), &to.join(entry.file_name()))?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn everything_is_placed_replaced_and_taken_away_again() {
        let root = std::env::temp_dir().join(format!("sumproof-install-{}", std::process::id()));
        let (built, home) = (root.join("built"), root.join("home"));
        let inner = built.join(bundles::VST3_FOLDER).join("Contents");
        fs::create_dir_all(&inner).unwrap();
        fs::write(inner.join("library"), "new").unwrap();
        let program = |name: &str| built.join(format!("{name}{}", std::env::consts::EXE_SUFFIX));
        let shipped = Shipped {
            clap: built.join(bundles::CLAP_FILE),
            vst3: built.join(bundles::VST3_FOLDER),
            standalone: program(bundles::STANDALONE),
            command: program(bundles::COMMAND),
            manual: built.join(bundles::MANUAL),
        };
        for file in [
            &shipped.clap,
            &shipped.standalone,
            &shipped.command,
            &shipped.manual,
        ] {
            fs::write(file, "new").unwrap();
        }
        let homes = Homes::of_user(&home);
        // Something of an older version, and something of somebody else.
        let old = homes.vst3.join(bundles::VST3_FOLDER).join("Contents/old");
        fs::create_dir_all(old.parent().unwrap()).unwrap();
        fs::write(&old, "old").unwrap();
        let other = homes.vst3.join("Other.vst3");
        fs::write(&other, "other").unwrap();

        let placed = homes.take_in(&shipped).unwrap();
        assert!(placed.iter().all(|path| path.exists()), "{placed:?}");
        assert!(!old.exists(), "a bundle is replaced as a whole");
        let removed = homes.give_up().unwrap();
        assert_eq!(removed, placed);
        assert!(placed.iter().all(|path| !path.exists()));
        assert!(other.exists());
        assert!(homes.give_up().unwrap().is_empty());
        fs::remove_dir_all(&root).unwrap();
    }
}
