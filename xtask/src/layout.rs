//! The layout of plugin and program bundles on each system.
//!
//! Sources: VST 3 Developer Portal, "Plug-in Format Structure" (`Contents/x86_64-linux`, `x86_64-win`, `MacOS`); CLAP,
//! `include/clap/entry.h` (a file, on macOS a bundle); Apple, "Information Property List". A VST3 bundle's folder and the
//! library in it have the same name.

use crate::run::Failure;
use crate::system::System;
use std::fs;
use std::path::{Path, PathBuf};

/// Name of a bundle.
pub const NAME: &str = "Sumproof";

/// Its identifier on macOS: the same as the CLAP id of the plugin.
const IDENTIFIER: &str = "io.sumproof.sumproof";
/// The identifier of the program.
const PROGRAM_IDENTIFIER: &str = "io.sumproof.standalone";
/// Why the program needs the microphone: macOS shows it to the user, and without it gives the program no sound.
const MICROPHONE: &str =
    "Sumproof measures the sound that comes in over your audio interface. It records nothing.";

/// Kind of a macOS bundle.
#[derive(Clone, Copy)]
enum Kind {
    Plugin,
    Program,
}

/// Path of the library within a CLAP plugin, relative to the folder that holds the plugin.
pub fn clap(system: System) -> PathBuf {
    let bundle = PathBuf::from(format!("{NAME}.clap"));
    match system {
        System::MacOs => bundle.join("Contents/MacOS").join(NAME),
        System::Linux | System::Windows => bundle,
    }
}

/// The same for a VST3 plugin; `processor` is Rust's name for it.
pub fn vst3(system: System, processor: &str) -> PathBuf {
    let contents = PathBuf::from(format!("{NAME}.vst3/Contents"));
    match system {
        System::MacOs => contents.join("MacOS").join(NAME),
        System::Linux => contents
            .join(format!("{processor}-linux"))
            .join(format!("{NAME}.so")),
        System::Windows => contents
            .join(format!("{processor}-win"))
            .join(format!("{NAME}.vst3")),
    }
}

/// Lays out both plugins' bundles of one library below `home`, replacing existing ones.
///
/// # Errors
/// A file that can't be written.
pub fn plugins(
    library: &Path,
    system: System,
    processor: &str,
    home: &Path,
) -> Result<[PathBuf; 2], Failure> {
    let places = [clap(system), vst3(system, processor)];
    let mut bundles = [PathBuf::new(), PathBuf::new()];
    for (place, bundle) in places.iter().zip(&mut bundles) {
        *bundle = home.join(
            place
                .components()
                .next()
                .map_or(place.as_path(), |first| Path::new(first.as_os_str())),
        );
        fresh(bundle)?;
        put(library, &home.join(place))?;
        if system == System::MacOs {
            describe(bundle, Kind::Plugin, NAME)?;
        }
    }
    Ok(bundles)
}

/// File name of the stand-alone program for users: a bundle on macOS.
pub fn program_file(system: System, name: &str) -> String {
    match system {
        System::MacOs => format!("{NAME}.app"),
        System::Linux | System::Windows => system.program(name),
    }
}

/// Lays out the stand-alone program below `home`: on macOS as a bundle, elsewhere the file itself.
///
/// # Errors
/// A file that can't be written.
pub fn program(built: &Path, system: System, name: &str, home: &Path) -> Result<PathBuf, Failure> {
    let bundle = home.join(program_file(system, name));
    fresh(&bundle)?;
    if system != System::MacOs {
        put(built, &bundle)?;
        return Ok(bundle);
    }
    put(built, &bundle.join("Contents/MacOS").join(name))?;
    describe(&bundle, Kind::Program, name)?;
    Ok(bundle)
}

fn fresh(path: &Path) -> Result<(), Failure> {
    let removed = if path.is_dir() {
        fs::remove_dir_all(path)
    } else if path.exists() {
        fs::remove_file(path)
    } else {
        Ok(())
    };
    removed.map_err(|e| failed(path, &e))
}

fn put(from: &Path, to: &Path) -> Result<(), Failure> {
    if let Some(folder) = to.parent() {
        fs::create_dir_all(folder).map_err(|e| failed(folder, &e))?;
    }
    fs::copy(from, to).map(drop).map_err(|e| failed(from, &e))
}

/// Writes the property list that macOS needs for a bundle.
fn describe(bundle: &Path, kind: Kind, executable: &str) -> Result<(), Failure> {
    let contents = bundle.join("Contents");
    let sort = match kind {
        Kind::Plugin => "BNDL",
        Kind::Program => "APPL",
    };
    for (file, text) in [
        ("PkgInfo", format!("{sort}????")),
        ("Info.plist", properties(kind, sort, executable)),
    ] {
        let path = contents.join(file);
        fs::write(&path, text).map_err(|e| failed(&path, &e))?;
    }
    Ok(())
}

fn properties(kind: Kind, sort: &str, executable: &str) -> String {
    let version = env!("CARGO_PKG_VERSION");
    let identifier = match kind {
        Kind::Plugin => IDENTIFIER,
        Kind::Program => PROGRAM_IDENTIFIER,
    };
    let mut pairs = vec![
        ("CFBundleExecutable", executable),
        ("CFBundleIdentifier", identifier),
        ("CFBundleName", NAME),
        ("CFBundleDisplayName", NAME),
        ("CFBundlePackageType", sort),
        ("CFBundleSignature", "????"),
        ("CFBundleShortVersionString", version),
        ("CFBundleVersion", version),
        ("CFBundleInfoDictionaryVersion", "6.0"),
    ];
    if matches!(kind, Kind::Program) {
        pairs.push(("NSMicrophoneUsageDescription", MICROPHONE));
    }
    let pairs: String = pairs
        .iter()
        .map(|(key, value)| format!("\t<key>{key}</key>\n\t<string>{value}</string>\n"))
        .collect();
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <!DOCTYPE plist PUBLIC \"-//Apple//DTD PLIST 1.0//EN\" \"http://www.apple.com/DTDs/PropertyList-1.0.dtd\">\n\
         <plist version=\"1.0\">\n<dict>\n{pairs}\t<key>NSHighResolutionCapable</key>\n\t<true/>\n</dict>\n</plist>\n"
    )
}

fn failed(path: &Path, error: &std::io::Error) -> Failure {
    Failure::Failed(format!("{}: {error}", path.display()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every file below a folder, relative to it.
    fn files(folder: &Path) -> Vec<String> {
        let mut found = Vec::new();
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            if path.is_dir() {
                found.extend(files(&path).into_iter().map(|inner| format!("{name}/{inner}")));
            } else {
                found.push(name);
            }
        }
        found.sort();
        found
    }

    fn laid_out(system: System, processor: &str) -> (PathBuf, Vec<String>) {
        let home = std::env::temp_dir().join(format!("sumproof-layout-{system:?}-{}", std::process::id()));
        fs::create_dir_all(&home).unwrap();
        let built = std::env::temp_dir().join(format!("sumproof-built-{system:?}-{}", std::process::id()));
        fs::write(&built, "library").unwrap();
        // Twice: an existing one is replaced.
        for _ in 0..2 {
            plugins(&built, system, processor, &home).unwrap();
            program(&built, system, "sumproof-standalone", &home).unwrap();
        }
        fs::remove_file(&built).unwrap();
        let files = files(&home);
        (home, files)
    }

    #[test]
    fn files_lie_where_the_formats_documents_say() {
        let (home, linux) = laid_out(System::Linux, "x86_64");
        fs::remove_dir_all(home).unwrap();
        assert_eq!(
            linux,
            [
                "Sumproof.clap",
                "Sumproof.vst3/Contents/x86_64-linux/Sumproof.so",
                "sumproof-standalone"
            ]
        );
        let (home, windows) = laid_out(System::Windows, "x86_64");
        fs::remove_dir_all(home).unwrap();
        assert_eq!(
            windows,
            [
                "Sumproof.clap",
                "Sumproof.vst3/Contents/x86_64-win/Sumproof.vst3",
                "sumproof-standalone.exe"
            ]
        );
        let (home, macs) = laid_out(System::MacOs, "universal");
        let list = fs::read_to_string(home.join("Sumproof.app/Contents/Info.plist")).unwrap();
        fs::remove_dir_all(home).unwrap();
        let inside = |bundle: &str, executable: &str| {
            [
                "Info.plist".to_owned(),
                format!("MacOS/{executable}"),
                "PkgInfo".to_owned(),
            ]
            .map(|file| format!("{bundle}/Contents/{file}"))
        };
        let wanted: Vec<String> = [
            inside("Sumproof.app", "sumproof-standalone"),
            inside("Sumproof.clap", NAME),
            inside("Sumproof.vst3", NAME),
        ]
        .concat();
        assert_eq!(macs, wanted);
        // The executable named in the list exists, and may use the microphone.
        assert!(list.contains("<key>CFBundleExecutable</key>\n\t<string>sumproof-standalone</string>"));
        assert!(list.contains("NSMicrophoneUsageDescription"));
        assert!(list.contains(env!("CARGO_PKG_VERSION")));
    }
}
