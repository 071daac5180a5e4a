//! Extracts the three cuts in use from the crate that carries them, so that these and no others are shipped. They are
//! identified by the names inside the files, not by their paths.

#[cfg(feature = "latin")]
mod outlines;
#[cfg(feature = "latin")]
mod trim;

use std::path::Path;
use std::process::exit;

/// Full names wanted, and the files they become.
const WANTED: [(&str, &str); 3] = [
    ("Libertinus Serif Regular", "regular.otf"),
    ("Libertinus Serif Semibold", "semibold.otf"),
    ("Libertinus Serif Italic", "italic.otf"),
];

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    println!("cargo::rerun-if-changed=trim.rs");
    println!("cargo::rerun-if-changed=outlines.rs");
    let Some(out) = std::env::var_os("OUT_DIR") else {
        fail("OUT_DIR is not set: build this with cargo");
    };
    let fonts: Vec<(String, &[u8])> = typst_assets::fonts()
        .filter_map(|font| full_name(font).map(|name| (name, font)))
        .collect();
    for (name, file) in WANTED {
        let Some((_, font)) = fonts.iter().find(|(found, _)| found == name) else {
            let found: Vec<&str> = fonts.iter().map(|(name, _)| name.as_str()).collect();
            fail(&format!(
                "typst-assets holds no font named '{name}' (it has: {}): pin the version in Cargo.toml that does",
                found.join(", ")
            ));
        };
        let path = Path::new(&out).join(file);
        write(&path, font);
        #[cfg(feature = "latin")]
        {
            // The player's own texts are set in the regular cut only.
            let kept = if file == "regular.otf" {
                trim::LETTERS
            } else {
                trim::WORDS
            };
            match trim::trimmed(font, kept) {
                Some(font) => write(&Path::new(&out).join(format!("latin-{file}")), &font),
                None => fail(&format!(
                    "'{name}' is not the OpenType file with CFF that trim.rs reads"
                )),
            }
        }
    }
}

fn write(path: &Path, font: &[u8]) {
    if let Err(error) = std::fs::write(path, font) {
        fail(&format!("cannot write {}: {error}", path.display()));
    }
}

fn fail(why: &str) -> ! {
    eprintln!("{why}");
    exit(1)
}

/// Family and style of an OpenType file, from its `name` table (OpenType 1.9, 'name'): ids 1 and 2, or 16 and 17 where
/// there are more than four styles.
fn full_name(font: &[u8]) -> Option<String> {
    let u16_at = |at: usize| Some(u16::from_be_bytes(font.get(at..at + 2)?.try_into().ok()?) as usize);
    let u32_at = |at: usize| Some(u32::from_be_bytes(font.get(at..at + 4)?.try_into().ok()?) as usize);
    let tables = u16_at(4)?;
    let record = (0..tables)
        .map(|n| 12 + 16 * n)
        .find(|&at| font.get(at..at + 4) == Some(b"name"))?;
    let table = u32_at(record + 8)?;
    let strings = table + u16_at(table + 4)?;
    let name = |id: usize| {
        (0..u16_at(table + 2)?)
            .map(|n| table + 6 + 12 * n)
            .find(|&at| u16_at(at) == Some(3) && u16_at(at + 6) == Some(id))
            .and_then(|at| {
                let begin = strings + u16_at(at + 10)?;
                let bytes = font.get(begin..begin + u16_at(at + 8)?)?;
                let units: Vec<u16> = bytes
                    .chunks_exact(2)
                    .map(|pair| u16::from_be_bytes([pair[0], pair[1]]))
                    .collect();
                String::from_utf16(&units).ok()
            })
    };
    let family = name(16).or_else(|| name(1))?;
    let style = name(17).or_else(|| name(2))?;
    Some(format!("{family} {style}"))
}
