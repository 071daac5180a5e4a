//! Pairs the dry and wet passes of a whole folder by file name.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use sumproof_report::names;

use crate::measure::jobs::Job;
use crate::measure::passes::Others;
use sumproof_recordings::error::shown;

/// A pattern of file names with one `*`, which stands for the preset's name: `*-dry`, `dry/*`, `* (effects off)`.
///
/// It is matched against the end of the path without its extension, over as many parts as the pattern has.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NamePattern {
    before: String,
    after: String,
    parts: usize,
}

/// The preset a file belongs to: the folder before the part matched by the pattern, and the text matched by the `*`.
type Preset = (PathBuf, String);

impl NamePattern {
    /// Whether a text is a pattern rather than the name of one file.
    #[must_use]
    pub fn is_one(text: &str) -> bool {
        text.contains('*')
    }

    /// Parses a pattern.
    ///
    /// # Errors
    /// One line if it doesn't contain exactly one `*`.
    pub fn parse(text: &str) -> Result<Self, String> {
        // The folder separator of Windows.
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
        // A star matches one name, not a path through folders.
        (!name.is_empty() && !name.contains('/')).then(|| (folder, name.into()))
    }
}

/// The passes of one preset: dry, wet, and full. More than one of a kind is an error.
#[derive(Default)]
struct Passes([Vec<PathBuf>; 3]);

impl Passes {
    /// The jobs for them. Without dry and wet every file is a preset by itself.
    fn jobs(self, name: String) -> Vec<Result<Job, String>> {
        let Self([dry, wet, full]) = self;
        if dry.is_empty() && wet.is_empty() {
            return full.into_iter().map(|path| Ok(Job::File(path))).collect();
        }
        for (passes, kind) in [
            (&dry, "the dry pass"),
            (&wet, "the wet pass"),
            (&full, "the full pass"),
        ] {
            if let [first, second, ..] = passes.as_slice() {
                return vec![Err(format!(
                    "{}: is {kind} of the same preset as {}; keep one of them",
                    shown(second),
                    shown(first)
                ))];
            }
        }
        let [dry, wet, full] = [dry, wet, full].map(|passes| passes.into_iter().next());
        let missing = |one: PathBuf, is: &str, other: &str| {
            format!(
                "{}: there is a {is} pass of this preset but no {other} one; bounce it, or correct its name",
                shown(&one)
            )
        };
        vec![match (dry, wet) {
            (Some(dry), wet) => match Others::of(wet, full) {
                Some(others) => Ok(Job::Passes {
                    dry,
                    others,
                    name: Some(names::line(&name)),
                }),
                None => Err(missing(dry, "dry", "wet or full")),
            },
            (None, Some(one)) => Err(missing(one, "wet", "dry")),
            (None, None) => return Vec::new(),
        }]
    }
}

/// Groups files: those that match `dry` and `wet` with the same name belong to one preset, and a file that matches
/// `full` with that name (and neither of the others) is its full pass. Files that are no pass are presets by
/// themselves. Presets are in the order of their first file.
///
/// A dry pass with neither wet nor full pass, or a wet one without its dry, is an error of one line in its place; so
/// are two files that are the same pass of one preset (with different extensions).
#[must_use]
pub fn pair(
    files: Vec<PathBuf>,
    dry: &NamePattern,
    wet: Option<&NamePattern>,
    full: &NamePattern,
) -> Vec<Result<Job, String>> {
    let mut order: Vec<Preset> = Vec::new();
    let mut presets: BTreeMap<Preset, Passes> = BTreeMap::new();
    for path in files {
        let kinds = [Some(dry), wet, Some(full)];
        let Some((kind, preset)) = kinds
            .iter()
            .enumerate()
            .find_map(|(kind, pattern)| Some((kind, (*pattern)?.preset(&path)?)))
        else {
            // A unique name that no pattern can produce.
            let own = (path.clone(), String::new());
            order.push(own.clone());
            presets.entry(own).or_default().0[2].push(path);
            continue;
        };
        if !presets.contains_key(&preset) {
            order.push(preset.clone());
        }
        presets.entry(preset).or_default().0[kind].push(path);
    }
    order
        .into_iter()
        .filter_map(|preset| Some(presets.remove(&preset)?.jobs(preset.1)))
        .flatten()
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
            (!wet.is_empty()).then(|| pattern(wet)).as_ref(),
            &pattern(full),
        )
        .into_iter()
        .map(|job| match job {
            Ok(Job::File(path)) => path.display().to_string(),
            Ok(Job::Passes { dry, others, name }) => format!(
                "{} = {}{}{}",
                name.unwrap_or_default(),
                dry.display(),
                (others.wet()).map_or(String::new(), |wet| format!(" + {}", wet.display())),
                (others.full()).map_or(String::new(), |full| format!(" = {}", full.display()))
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
                "set/Tin-dry.wav: there is a dry pass of this preset but no wet or full one",
                "other/Tin-wet.flac: there is a wet pass of this preset but no dry one",
            ]
        );
    }

    #[test]
    fn a_dry_and_a_full_pass_are_enough() {
        for wet in ["", "*-wet"] {
            assert_eq!(
                paired(
                    &["set/Foam-dry.wav", "set/Foam.wav", "set/Gravel.wav"],
                    "*-dry",
                    wet,
                    "*"
                ),
                ["Foam = set/Foam-dry.wav = set/Foam.wav", "set/Gravel.wav"]
            );
        }
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
    fn passes_that_differ_in_extension_only_are_told_of() {
        assert_eq!(
            paired(
                &[
                    "Foam-dry.wav",
                    "Foam-wet.wav",
                    "Foam-dry.flac",
                    "Tin.wav",
                    "Tin.flac"
                ],
                "*-dry",
                "*-wet",
                "*"
            ),
            [
                "Foam-dry.flac: is the dry pass of the same preset as Foam-dry.wav",
                "Tin.wav",
                "Tin.flac",
            ]
        );
        assert_eq!(
            paired(
                &["Foam.wav", "Foam.aiff", "Foam-dry.wav", "Foam-wet.wav"],
                "*-dry",
                "*-wet",
                "*"
            ),
            ["Foam.aiff: is the full pass of the same preset as Foam.wav"]
        );
    }

    #[test]
    fn a_pattern_has_one_star() {
        for wrong in ["dry", "*dry*", ""] {
            assert!(NamePattern::parse(wrong).is_err(), "{wrong}");
        }
    }
}
