//! Dry and wet passes of a whole folder, put together by how their files are called.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use crate::measure::jobs::Job;

/// A pattern of file names with one `*`, which stands for the preset's name: `*-dry`, `dry/*`, `* (effects off)`.
///
/// It's held against the path without its extension, from the end, as many parts of it as the pattern has.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NamePattern {
    before: String,
    after: String,
    parts: usize,
}

/// Which preset a file is a pass of: the folder that the pattern leaves, and what the `*` stands for.
type Preset = (PathBuf, String);

impl NamePattern {
    /// Whether a text is a pattern rather than the name of one file.
    #[must_use]
    pub fn is_one(text: &str) -> bool {
        text.contains('*')
    }

    /// Reads a pattern.
    ///
    /// # Errors
    /// One line when there isn't exactly one `*` in it.
    pub fn parse(text: &str) -> Result<Self, String> {
        // Windows' own mark between folders.
        let text = &text.replace(std::path::MAIN_SEPARATOR, "/");
        let mut halves = text.split('*');
        let (Some(before), Some(after), None) = (halves.next(), halves.next(), halves.next()) else {
            return Err(format!(
                "the pattern '{text}' needs exactly one *, where the preset's name stands; for example '*-dry'"
            ));
        };
        Ok(Self {
            before: before.into(),
            after: after.into(),
            parts: 1 + text.matches('/').count(),
        })
    }

    fn preset(&self, path: &Path) -> Option<Preset> {
        let stem = path.with_extension("");
        let parts: Vec<String> = stem
            .components()
            .map(|part| part.as_os_str().to_string_lossy().into_owned())
            .collect();
        let split = parts.len().checked_sub(self.parts)?;
        let tail = parts[split..].join("/");
        let name = tail
            .strip_prefix(self.before.as_str())?
            .strip_suffix(self.after.as_str())?;
        let folder = stem.components().take(split).collect();
        // What a star stands for is one name, not a way through folders.
        (!name.is_empty() && !name.contains('/')).then(|| (folder, name.into()))
    }
}

/// The passes of one preset.
#[derive(Default)]
struct Passes {
    dry: Option<PathBuf>,
    wet: Option<PathBuf>,
    full: Option<PathBuf>,
}

/// Puts files together: what matches `dry` and `wet` under one name belongs to one preset, and what matches `full` under
/// that name (and neither of the others) is the same part as it is. Files that are nobody's pass are presets of their own.
/// Presets are in the order of their first file.
///
/// A dry without its wet, or the other way round, is an error of one line in its place.
#[must_use]
pub fn pair(
    files: Vec<PathBuf>,
    dry: &NamePattern,
    wet: &NamePattern,
    full: &NamePattern,
) -> Vec<Result<Job, String>> {
    let mut order: Vec<Preset> = Vec::new();
    let mut presets: BTreeMap<Preset, Passes> = BTreeMap::new();
    for path in files {
        let kinds = [dry, wet, full];
        let Some((kind, preset)) = kinds
            .iter()
            .enumerate()
            .find_map(|(kind, pattern)| Some((kind, pattern.preset(&path)?)))
        else {
            // A name of its own that no pattern can make.
            let own = (path.clone(), String::new());
            order.push(own.clone());
            presets.entry(own).or_default().full = Some(path);
            continue;
        };
        if !presets.contains_key(&preset) {
            order.push(preset.clone());
        }
        let passes = presets.entry(preset).or_default();
        let place = match kind {
            0 => &mut passes.dry,
            1 => &mut passes.wet,
            _ => &mut passes.full,
        };
        // The same name with two extensions: the first one counts.
        place.get_or_insert(path);
    }
    order
        .into_iter()
        .filter_map(|preset| {
            let passes = presets.remove(&preset)?;
            Some(match (passes.dry, passes.wet, passes.full) {
                (Some(dry), Some(wet), full) => Ok(Job::Passes {
                    dry,
                    wet,
                    full,
                    name: Some(preset.1),
                }),
                (None, None, full) => Ok(Job::File(full?)),
                (Some(one), None, _) => Err(format!(
                    "{}: there is a dry pass of this preset but no wet one; bounce it, or correct its name",
                    one.display()
                )),
                (None, Some(one), _) => Err(format!(
                    "{}: there is a wet pass of this preset but no dry one; bounce it, or correct its name",
                    one.display()
                )),
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn paired(files: &[&str], dry: &str, wet: &str, full: &str) -> Vec<String> {
        let pattern = |text: &str| NamePattern::parse(text).expect("a pattern");
        pair(
            files.iter().map(PathBuf::from).collect(),
            &pattern(dry),
            &pattern(wet),
            &pattern(full),
        )
        .into_iter()
        .map(|job| match job {
            Ok(Job::File(path)) => path.display().to_string(),
            Ok(Job::Passes { dry, wet, full, name }) => format!(
                "{} = {} + {}{}",
                name.unwrap_or_default(),
                dry.display(),
                wet.display(),
                full.map_or(String::new(), |full| format!(" = {}", full.display()))
            ),
            Err(line) => line.split(';').next().unwrap_or_default().into(),
        })
        .collect()
    }

    #[test]
    fn passes_find_each_other_by_name() {
        assert_eq!(
            paired(
                &[
                    "set/Foam-dry.wav",
                    "set/Foam-wet.wav",
                    "set/Foam.wav",
                    "set/Gravel.wav",
                    "set/Tin-dry.wav",
                    "other/Tin-wet.flac",
                ],
                "*-dry",
                "*-wet",
                "*"
            ),
            [
                "Foam = set/Foam-dry.wav + set/Foam-wet.wav = set/Foam.wav",
                "set/Gravel.wav",
                "set/Tin-dry.wav: there is a dry pass of this preset but no wet one",
                "other/Tin-wet.flac: there is a wet pass of this preset but no dry one",
            ]
        );
    }

    #[test]
    fn passes_may_lie_in_folders_of_their_own() {
        assert_eq!(
            paired(
                &["set/Foam.v2.wav", "set/dry/Foam.v2.wav", "set/wet/Foam.v2.wav"],
                "dry/*",
                "wet/*",
                "*"
            ),
            ["Foam.v2 = set/dry/Foam.v2.wav + set/wet/Foam.v2.wav = set/Foam.v2.wav"]
        );
    }

    #[test]
    fn a_pattern_has_one_star() {
        for wrong in ["dry", "*dry*", ""] {
            assert!(NamePattern::parse(wrong).is_err(), "{wrong}");
        }
    }
}
