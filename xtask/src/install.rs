//! `cargo xtask install`: the bundles to where DAWs look for plugins, and the stand-alone program to where programs are.

use crate::bundles::{self, Bundles};
use crate::run::Failure;
use std::fs;
use std::path::{Path, PathBuf};

/// Copies the users' bundles, making them first when there are none.
///
/// # Errors
/// [`Failure::Usage`], or [`Failure::Failed`] when a copy fails.
pub fn install(args: &[String]) -> Result<(), Failure> {
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    let homes = match args.as_slice() {
        [] | ["--user"] => user_homes()?,
        ["--system"] => system_homes(),
        [other, ..] => return Err(Failure::Usage(format!("'{other}' is not expected here"))),
    };
    if bundles::made().is_none() || bundles::standalone().is_none() {
        bundles::bundle(Vec::new())?;
    }
    let (Some(Bundles { clap, vst3 }), Some(standalone)) = (bundles::made(), bundles::standalone()) else {
        return Err(Failure::Failed(
            "the bundles were made and are not there".to_owned(),
        ));
    };
    for (bundle, home) in [
        (clap, &homes.clap),
        (vst3, &homes.vst3),
        (standalone, &homes.programs),
    ] {
        let placed = place(&bundle, home)
            .map_err(|e| Failure::Failed(format!("{}: {e}; may you write there?", home.display())))?;
        println!("installed {}", placed.display());
    }
    println!("let your DAW scan for new plugins");
    Ok(())
}

/// The folders of the two formats and of programs.
struct Homes {
    clap: PathBuf,
    vst3: PathBuf,
    programs: PathBuf,
}

fn user_homes() -> Result<Homes, Failure> {
    let home =
        std::env::home_dir().ok_or_else(|| Failure::Failed("your home folder is not known".to_owned()))?;
    Ok(if cfg!(target_os = "macos") {
        let plugins = home.join("Library/Audio/Plug-Ins");
        Homes {
            clap: plugins.join("CLAP"),
            vst3: plugins.join("VST3"),
            programs: home.join(".local/bin"),
        }
    } else if cfg!(windows) {
        let programs = home.join("AppData/Local/Programs/Common");
        Homes {
            clap: programs.join("CLAP"),
            vst3: programs.join("VST3"),
            programs: home.join("AppData/Local/Programs/Sumproof"),
        }
    } else {
        Homes {
            clap: home.join(".clap"),
            vst3: home.join(".vst3"),
            programs: home.join(".local/bin"),
        }
    })
}

fn system_homes() -> Homes {
    let (clap, vst3) = if cfg!(target_os = "macos") {
        ("/Library/Audio/Plug-Ins/CLAP", "/Library/Audio/Plug-Ins/VST3")
    } else if cfg!(windows) {
        (
            "C:/Program Files/Common Files/CLAP",
            "C:/Program Files/Common Files/VST3",
        )
    } else {
        ("/usr/lib/clap", "/usr/lib/vst3")
    };
    let programs = if cfg!(windows) {
        "C:/Program Files/Sumproof"
    } else {
        "/usr/local/bin"
    };
    Homes {
        clap: clap.into(),
        vst3: vst3.into(),
        programs: programs.into(),
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
