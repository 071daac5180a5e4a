//! Dry and wet from two or three passes of one part, in files.

use std::path::{Path, PathBuf};

use sumproof_core::explain::diagnosis::diagnose;
use sumproof_core::score::rig::Rig;
use sumproof_core::split::two_pass::{PassAudio, TwoPass, TwoPassError};
use sumproof_report::{Entry, Loudness};
use sumproof_wording::passes::{dry_in_full, no_split, pair_check};
use thiserror::Error;

use crate::exit;
use sumproof_recordings::analyse::name_of;
use sumproof_recordings::error::{ReadError, shown};
use sumproof_recordings::loudness::LoudnessMeter;
use sumproof_recordings::read::{StereoFile, read_stereo};

/// Frames measured at once.
const CHUNK: usize = 4096;

/// Why two passes give no split.
#[derive(Debug, Error)]
pub enum PassesError {
    /// A file can't be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// The passes don't belong together.
    #[error("{dry} and {other}: {}", no_split(*why))]
    Together {
        /// The dry pass.
        dry: String,
        /// The wet pass, or the full one where there is no wet pass.
        other: String,
        /// The reason.
        why: TwoPassError,
    },
}

impl PassesError {
    /// The command's exit code for it; see [`exit::TABLE`].
    #[must_use]
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Read(error) => exit::of(error),
            Self::Together { .. } => exit::PASSES,
        }
    }
}

/// The passes besides the dry one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Others<T> {
    /// The pass with the dry off.
    Wet(T),
    /// The pass with dry and wet.
    Full(T),
    /// Both.
    Both {
        /// With the dry off.
        wet: T,
        /// With dry and wet.
        full: T,
    },
}

impl<T> Others<T> {
    /// From an optional wet and full pass; `None` if there is neither.
    #[must_use]
    pub fn of(wet: Option<T>, full: Option<T>) -> Option<Self> {
        match (wet, full) {
            (Some(wet), Some(full)) => Some(Self::Both { wet, full }),
            (Some(wet), None) => Some(Self::Wet(wet)),
            (None, Some(full)) => Some(Self::Full(full)),
            (None, None) => None,
        }
    }

    /// The wet pass.
    #[must_use]
    pub fn wet(&self) -> Option<&T> {
        match self {
            Self::Wet(wet) | Self::Both { wet, .. } => Some(wet),
            Self::Full(_) => None,
        }
    }

    /// The wet pass, or the full one where there is none.
    #[must_use]
    pub fn wet_or_full(&self) -> &T {
        let (Self::Wet(one) | Self::Both { wet: one, .. } | Self::Full(one)) = self;
        one
    }

    /// Converts each pass with `make`.
    fn map<U, E>(&self, mut make: impl FnMut(&T) -> Result<U, E>) -> Result<Others<U>, E> {
        Ok(match self {
            Self::Wet(wet) => Others::Wet(make(wet)?),
            Self::Full(full) => Others::Full(make(full)?),
            Self::Both { wet, full } => Others::Both {
                wet: make(wet)?,
                full: make(full)?,
            },
        })
    }

    /// The full pass.
    #[must_use]
    pub fn full(&self) -> Option<&T> {
        match self {
            Self::Full(full) | Self::Both { full, .. } => Some(full),
            Self::Wet(_) => None,
        }
    }
}

/// The split of the passes.
#[derive(Debug)]
pub struct Passes {
    /// The split as a take; with its loudness if there is a full pass.
    pub entry: Entry,
    /// How the full pass agrees with the pair, as a sentence; `None` without one.
    pub check: Option<String>,
    /// Whether the pair agrees with the full pass; `true` without one.
    pub holds: bool,
}

/// Splits a part into dry and wet from a pass with the effects off and `others`. With a wet and a full pass, the gains
/// of dry and wet are fitted to the full pass and the pair is checked; with only a full one, the wet is the full less
/// the dry. The files are held in memory whole. The take is named after the full pass, or else after the dry one.
///
/// # Errors
/// A file can't be read, the sample rates differ, or the passes don't belong together (see [`TwoPassError`]).
pub fn split(dry: &Path, others: &Others<PathBuf>, rig: &Rig) -> Result<Passes, PassesError> {
    let dry_file = read_stereo(dry)?;
    let files = others.map(|path| read_stereo(path))?;
    let full_file = files.full();
    let dry_audio = audio(&dry_file);
    let two = match &files {
        Others::Wet(wet) => TwoPass::of_audio(&dry_audio, &audio(wet), None),
        Others::Full(full) => TwoPass::of_dry_and_full(&dry_audio, &audio(full)),
        Others::Both { wet, full } => TwoPass::of_audio(&dry_audio, &audio(wet), Some(&audio(full))),
    }
    .map_err(|why| PassesError::Together {
        dry: shown(dry),
        other: shown(others.wet_or_full()),
        why,
    })?;
    let named = others.full().map_or(dry, PathBuf::as_path);
    let mut take = two.take(name_of(named));
    // Modulation between the channels shows in the sound, not in its parts' spectra.
    let seen = full_file.map(|file| diagnose(&file.left, &file.right, file.rate_hz));
    take.explain_parts(seen.as_ref());
    Ok(Passes {
        entry: Entry {
            take,
            file: Some(named.to_string_lossy().into_owned()),
            loudness: full_file.and_then(|file| loudness(file, rig)),
        },
        check: (two.check.as_ref().map(pair_check)).or(two.dry_in_full.as_ref().map(dry_in_full)),
        holds: two.check.as_ref().is_none_or(|check| check.holds()),
    })
}

fn loudness(file: &StereoFile, rig: &Rig) -> Option<Loudness> {
    let mut meter = LoudnessMeter::new(file.rate_hz, rig)?;
    for (left, right) in file.left.chunks(CHUNK).zip(file.right.chunks(CHUNK)) {
        meter.push(left, right);
    }
    Some(meter.read())
}

fn audio(file: &StereoFile) -> PassAudio<'_> {
    PassAudio {
        rate_hz: file.rate_hz,
        left: &file.left,
        right: &file.right,
    }
}
