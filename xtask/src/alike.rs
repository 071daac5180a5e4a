//! Reproducible builds: the same bytes from the same sources and toolchain, on any machine and in any folder. The
//! compiler's options for that, and a check of the result.

use crate::place;
use crate::run::{Failure, output_of};
use crate::target::Target;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Paths of this machine that a compiler writes into its output (as places of panics), and their replacements. Where
/// one lies within another, the later one wins.
fn places() -> Result<Vec<(PathBuf, &'static str)>, Failure> {
    let registry = std::env::var_os("CARGO_HOME")
        .map(PathBuf::from)
        .or_else(|| std::env::home_dir().map(|home| home.join(".cargo")))
        .ok_or_else(|| Failure::Failed("your home folder is not known; set CARGO_HOME".to_owned()))?;
    let toolchain = output_of(Command::new("rustc").args(["--print", "sysroot"]))
        .ok_or_else(|| Failure::Failed("rustc does not say where its toolchain is".to_owned()))?;
    Ok(vec![
        (registry, "/cargo"),
        (PathBuf::from(toolchain.trim()), "/rust"),
        (place::root(), "/sumproof"),
        (place::target(), "/target"),
    ])
}

/// The value for `CARGO_ENCODED_RUSTFLAGS`. It overrides `RUSTFLAGS`, which may differ from machine to machine.
///
/// # Errors
/// If the paths can't be found out.
pub fn flags(target: &Target) -> Result<String, Failure> {
    let mut flags: Vec<String> = places()?
        .iter()
        .map(|(from, to)| format!("--remap-path-prefix={}={to}", from.display()))
        .collect();
    for triple in target.triples()? {
        flags.extend(of_linker(&triple).iter().map(|&flag| flag.to_owned()));
    }
    // Cargo's separator, because a path may contain spaces.
    Ok(flags.join("\x1f"))
}

/// The value for `CFLAGS`: C code (the decoder of Opus) contains its source paths in assertions. The option is that of
/// GCC and Clang; Microsoft's compiler has none for this. Paths with a space, which would end an option there, are left
/// out.
///
/// # Errors
/// If the paths can't be found out.
pub fn c_flags(target: &Target) -> Result<String, Failure> {
    if target
        .triples()?
        .iter()
        .any(|triple| triple.ends_with("-windows-msvc"))
    {
        return Ok(String::new());
    }
    let flags: Vec<String> = places()?
        .iter()
        .map(|(from, to)| format!("-ffile-prefix-map={}={to}", from.display()))
        .filter(|flag| !flag.contains(char::is_whitespace))
        .collect();
    Ok(flags.join(" "))
}

/// Linker options of a triple: no time stamp, and with Microsoft's linker the run-time library linked statically,
/// because not every machine has it. (GNU ld, `--no-insert-timestamp`; Microsoft's `/Brepro` is from memory and was not
/// run.)
fn of_linker(triple: &str) -> &'static [&'static str] {
    if triple.ends_with("-windows-msvc") {
        &["-Ctarget-feature=+crt-static", "-Clink-arg=/Brepro"]
    } else if triple.ends_with("-windows-gnu") {
        &["-Clink-arg=-Wl,--no-insert-timestamp"]
    } else {
        &[]
    }
}

/// Refuses files that contain a path of this machine.
///
/// # Errors
/// The first such file, and the path; or a file that can't be read.
pub fn no_place_in(folder: &Path) -> Result<(), Failure> {
    let places = places()?;
    for file in files_below(folder)? {
        let bytes = fs::read(&file).map_err(|e| Failure::Failed(format!("{}: {e}", file.display())))?;
        if let Some((place, _)) = places
            .iter()
            .find(|(place, _)| holds(&bytes, place.as_os_str().as_encoded_bytes()))
        {
            return Err(Failure::Failed(format!(
                "{} names {}: no other machine would make the same file",
                file.display(),
                place.display()
            )));
        }
    }
    Ok(())
}

fn files_below(folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    let failed = |e: std::io::Error| Failure::Failed(format!("{}: {e}", folder.display()));
    let mut files = Vec::new();
    for entry in fs::read_dir(folder).map_err(failed)? {
        let path = entry.map_err(failed)?.path();
        if path.is_dir() {
            files.extend(files_below(&path)?);
        } else {
            files.push(path);
        }
    }
    Ok(files)
}

fn holds(bytes: &[u8], wanted: &[u8]) -> bool {
    let Some(&first) = wanted.first() else {
        return false;
    };
    bytes
        .iter()
        .enumerate()
        .filter(|&(_, &byte)| byte == first)
        .any(|(at, _)| bytes[at..].starts_with(wanted))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_that_names_the_source_tree_is_refused() {
        let folder = std::env::temp_dir().join(format!("sumproof-alike-{}", std::process::id()));
        fs::create_dir_all(folder.join("inner")).unwrap();
        fs::write(folder.join("inner/clean"), b"/sumproof/plugin/src/lib.rs").unwrap();
        let clean = no_place_in(&folder);
        let named = format!("\0\0{}/plugin/src/lib.rs\0", place::root().display());
        fs::write(folder.join("inner/named"), named).unwrap();
        let refused = no_place_in(&folder);
        fs::remove_dir_all(&folder).unwrap();
        clean.unwrap();
        assert!(refused.unwrap_err().to_string().contains("inner/named names"));
    }

    #[test]
    fn the_tree_and_the_registry_are_written_otherwise() {
        let flags = flags(&Target::here().unwrap()).unwrap();
        let root = format!("--remap-path-prefix={}=/sumproof", place::root().display());
        assert!(flags.split('\x1f').any(|flag| flag == root), "{flags}");
        assert!(
            flags.split('\x1f').any(|flag| flag.ends_with("=/cargo")),
            "{flags}"
        );
    }
}
