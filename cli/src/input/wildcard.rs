//! Names with `*` and `?` in them, for shells that leave them to the program (Windows' do).

use std::fs;
use std::path::{Path, PathBuf};

/// What a path stands for whose last part has a `*` or a `?` in it and is no file itself: everything in its folder of such a
/// name, hidden files left out, by name. `None` for any other path, and when nothing has such a name.
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

/// Whether a name is as a pattern says: `*` stands for any characters, `?` for one. Capitals make no difference: on the systems
/// where this is needed they make none in names either.
#[must_use]
pub fn matches(pattern: &str, name: &str) -> bool {
    let fold = |text: &str| text.to_lowercase().chars().collect::<Vec<char>>();
    let (pattern, name) = (fold(pattern), fold(name));
    // Where the last star stood, and what of the name it was given so far.
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
            // The star takes one more.
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
        // What is there already, and what nothing is called, stay as they were.
        assert_eq!(expanded(&folder.join("a.wav")), None);
        assert_eq!(expanded(&folder.join("*.flac")), None);
        assert_eq!(expanded(&folder.join("no such folder").join("*.wav")), None);
        fs::remove_dir_all(&folder).expect("the folder goes");
    }
}
