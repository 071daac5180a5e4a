//! Names with the wildcards `*` and `?`, for shells that leave them to the program (those of Windows do).

use std::fs;
use std::path::{Path, PathBuf};

/// Expands a path whose last part contains `*` or `?` and that is no existing file: returns every match in its folder,
/// sorted by name, hidden files left out. `None` for any other path, and when nothing matches.
#[must_use]
pub fn expanded(path: &Path) -> Option<Vec<PathBuf>> {
    let pattern = path
        .file_name()?
        .to_str()
        .filter(|name| name.contains(['*', '?']))?;
    if path.exists() {
        return None;
    }
    let folder = path.parent().unwrap_or(Path::new(""));
    let here = folder.as_os_str().is_empty();
    let entries = fs::read_dir(if here { Path::new(".") } else { folder }).ok()?;
    let mut names: Vec<String> = entries
        .flatten()
        .filter_map(|entry| entry.file_name().into_string().ok())
        .filter(|name| !name.starts_with('.') && matches(pattern, name))
        .collect();
    names.sort();
    (!names.is_empty()).then(|| names.iter().map(|name| folder.join(name)).collect())
}

/// Whether a name matches a pattern: `*` stands for any characters, `?` for one. Case is ignored: the systems where
/// this is needed ignore it in names too.
#[must_use]
pub fn matches(pattern: &str, name: &str) -> bool {
    let fold = |text: &str| text.to_lowercase().chars().collect::<Vec<char>>();
    let (pattern, name) = (fold(pattern), fold(name));
    // Position of the last star, and how much of the name it covers so far.
    let mut star: Option<(usize, usize)> = None;
    let (mut at, mut in_name) = (0, 0);
    while in_name < name.len() {
        match pattern.get(at) {
            Some('*') => {
                star = Some((at, in_name));
                at += 1;
            }
            Some(&wanted) if wanted == '?' || wanted == name[in_name] => {
                at += 1;
                in_name += 1;
            }
            // The star covers one more character.
            _ => match star {
                Some((before, given)) => {
                    star = Some((before, given + 1));
                    at = before + 1;
                    in_name = given + 1;
                }
                None => return false,
            },
        }
    }
    pattern[at..].iter().all(|&rest| rest == '*')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stars_stand_for_anything_and_marks_for_one() {
        for (pattern, name, holds) in [
            ("*.wav", "lead.wav", true),
            ("*.WAV", "lead.wav", true),
            ("*.wav", "lead.wav.txt", false),
            ("l*d?.wav", "lead 2.wav", false),
            ("l*d??.wav", "lead 2.wav", true),
            ("*a*b*", "xxaxxbxx", true),
            ("*a*b*", "xxbxxaxx", false),
            ("*", "", true),
            ("?", "", false),
            ("take*", "take", true),
            ("**d", "lead", true),
            ("Übung*", "übung 1.wav", true),
        ] {
            assert_eq!(matches(pattern, name), holds, "{pattern} {name}");
        }
    }

    #[test]
    fn a_pattern_is_what_is_in_its_folder_by_name() {
        let folder = std::env::temp_dir().join(format!("sumproof-wildcard-{}", std::process::id()));
        fs::create_dir_all(&folder).expect("a folder");
        for name in ["b.wav", "a.wav", ".hidden.wav", "notes.txt"] {
            fs::write(folder.join(name), "").expect("a file");
        }
        let found = expanded(&folder.join("*.wav"));
        assert_eq!(found, Some(vec![folder.join("a.wav"), folder.join("b.wav")]));
        // Existing files, and patterns without a match, stay as they were.
        assert_eq!(expanded(&folder.join("a.wav")), None);
        assert_eq!(expanded(&folder.join("*.flac")), None);
        assert_eq!(expanded(&folder.join("no such folder").join("*.wav")), None);
        fs::remove_dir_all(&folder).expect("the folder goes");
    }
}
