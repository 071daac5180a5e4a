//! `cargo xtask install` and `uninstall`: puts the bundles where DAWs look for plugins, the programs where programs
//! are, and installs the command's manual page.

use crate::bundles::{self, Shipped};
use crate::run::Failure;
use crate::system::{Homes, System};
use crate::target::Target;
use crate::{layout, place};
use std::fs;
use std::path::{Path, PathBuf};

/// Builds everything that users get and copies it into place.
///
/// # Errors
/// [`Failure::Usage`], or [`Failure::Failed`] when building or a copy fails.
pub fn install(args: &[String]) -> Result<(), Failure> {
    let homes = homes(args)?;
    for placed in take_in(&homes, &bundles::shipped(&Target::here()?)?)? {
        println!("installed {}", placed.display());
    }
    println!("let your DAW scan for new plugins; `cargo xtask uninstall` takes all of it away again");
    Ok(())
}

/// Removes the files that [`install`] has put there, and nothing else.
///
/// # Errors
/// [`Failure::Usage`], or [`Failure::Failed`] if something can't be removed.
pub fn uninstall(args: &[String]) -> Result<(), Failure> {
    let removed = give_up(&homes(args)?, System::here())?;
    for path in &removed {
        println!("removed {}", path.display());
    }
    if removed.is_empty() {
        println!("nothing of it is there");
    }
    Ok(())
}

/// The folders for `--user`, which is the default, or `--system`.
fn homes(args: &[String]) -> Result<Homes, Failure> {
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    match args.as_slice() {
        [] | ["--user"] => Homes::of_user(),
        ["--system"] => Ok(Homes::of_everybody(System::here())),
        [other, ..] => Err(Failure::Usage(format!("'{other}' is not expected here"))),
    }
}

/// Copies everything into place; returns the paths.
///
/// # Errors
/// The first copy that fails.
pub fn take_in(homes: &Homes, shipped: &Shipped) -> Result<Vec<PathBuf>, Failure> {
    let mut copies = vec![
        (&shipped.clap, &homes.clap),
        (&shipped.vst3, &homes.vst3),
        (&shipped.standalone, &homes.applications),
        (&shipped.command, &homes.programs),
    ];
    copies.extend(homes.manuals.as_ref().map(|manuals| (&shipped.manual, manuals)));
    copies
        .into_iter()
        .map(|(file, home)| {
            put(file, home)
                .map_err(|e| Failure::Failed(format!("{}: {e}; may you write there?", home.display())))
        })
        .collect()
}

/// Removes everything of ours; returns the paths of what was there.
///
/// # Errors
/// The first thing that can't be removed.
pub fn give_up(homes: &Homes, system: System) -> Result<Vec<PathBuf>, Failure> {
    let mut ours = vec![
        homes.clap.join(bundles::CLAP_FILE),
        homes.vst3.join(bundles::VST3_FOLDER),
        homes
            .applications
            .join(layout::program_file(system, bundles::STANDALONE)),
        homes.programs.join(system.program(bundles::COMMAND)),
    ];
    ours.extend(
        homes
            .manuals
            .as_ref()
            .map(|manuals| manuals.join(bundles::MANUAL)),
    );
    ours.retain(|path| path.symlink_metadata().is_ok());
    for path in &ours {
        remove(path)
            .map_err(|e| Failure::Failed(format!("{}: {e}; may you write there?", path.display())))?;
    }
    Ok(ours)
}

/// Copies a file or folder to a temporary name beside its destination, then renames it, so a DAW never loads half a
/// plugin.
fn put(bundle: &Path, home: &Path) -> std::io::Result<PathBuf> {
    let name = bundle.file_name().unwrap_or_default();
    let placed = home.join(name);
    let partial = home.join(format!(".{}.part", name.to_string_lossy()));
    fs::create_dir_all(home)?;
    remove(&partial)?;
    place::copy(bundle, &partial)?;
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
        let system = System::here();
        let program = |name: &str| built.join(system.program(name));
        let shipped = Shipped {
            clap: built.join(bundles::CLAP_FILE),
            vst3: built.join(bundles::VST3_FOLDER),
            standalone: built.join(layout::program_file(system, bundles::STANDALONE)),
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
        let homes = Homes::below(system, &home);
        // A file of an older version, and one of another vendor.
        let old = homes.vst3.join(bundles::VST3_FOLDER).join("Contents/old");
        fs::create_dir_all(old.parent().unwrap()).unwrap();
        fs::write(&old, "old").unwrap();
        let other = homes.vst3.join("Other.vst3");
        fs::write(&other, "other").unwrap();

        let placed = take_in(&homes, &shipped).unwrap();
        assert!(placed.iter().all(|path| path.exists()), "{placed:?}");
        assert!(!old.exists(), "a bundle is replaced as a whole");
        let removed = give_up(&homes, system).unwrap();
        assert_eq!(removed, placed);
        assert!(placed.iter().all(|path| !path.exists()));
        assert!(other.exists());
        assert!(give_up(&homes, system).unwrap().is_empty());
        fs::remove_dir_all(&root).unwrap();
    }
}
