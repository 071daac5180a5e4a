//! Dry and wet from two passes of one part, in files.

use std::path::Path;

use sumproof_core::score::rig::Rig;
use sumproof_core::split::two_pass::{PassAudio, TwoPass, TwoPassError};
use sumproof_report::{Entry, Loudness};
use sumproof_wording::passes::{no_split, pair_check};
use thiserror::Error;

use crate::exit;
use crate::input::error::{ReadError, shown};
use crate::input::read::{StereoFile, read_stereo};
use crate::measure::analyse::name_of;
use crate::measure::loudness::LoudnessMeter;

/// Frames that are measured at once.
const CHUNK: usize = 4096;

/// Why two passes give no split.
#[derive(Debug, Error)]
pub enum PassesError {
    /// A file can't be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// The passes don't belong together.
    #[error("{dry} and {wet}: {}", no_split(*why))]
    Together {
        /// The dry pass.
        dry: String,
        /// The wet pass.
        wet: String,
        /// What is wrong.
        why: TwoPassError,
    },
}

impl PassesError {
    /// The command's exit code for it; see [`exit::TABLE`].
    #[must_use]
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Read(error) => error.exit_code(),
            Self::Together { .. } => exit::PASSES,
        }
    }
}

/// What two passes say.
#[derive(Debug)]
pub struct Passes {
    /// The split, as a take; how loud it is, if there is a full pass.
    pub entry: Entry,
    /// What the full pass says of the pair, in a sentence; `None` without one.
    pub check: Option<String>,
    /// Whether the pair holds against the full pass; `true` without one.
    pub holds: bool,
}

/// Splits a part into dry and wet from a pass with the effects off and one with the dry off; with a full pass, the gains of
/// both are fitted to it and the pair is checked. The files are held in memory whole. The take is named after the full pass,
/// or else after the dry one.
///
/// # Errors
/// When a file can't be read, the sample rates differ, or a pass is silent.
pub fn split(dry: &Path, wet: &Path, full: Option<&Path>, rig: &Rig) -> Result<Passes, PassesError> {
    let (dry_file, wet_file) = (read_stereo(dry)?, read_stereo(wet)?);
    let full_file = full.map(read_stereo).transpose()?;
    let two = TwoPass::of_audio(
        &audio(&dry_file),
        &audio(&wet_file),
        full_file.as_ref().map(audio).as_ref(),
    )
    .map_err(|why| PassesError::Together {
        dry: shown(dry),
        wet: shown(wet),
        why,
    })?;
    let named = full.unwrap_or(dry);
    Ok(Passes {
        entry: Entry {
            take: two.take(name_of(named)),
            file: Some(named.to_string_lossy().into_owned()),
            loudness: full_file.as_ref().and_then(|file| loudness(file, rig)),
        },
        check: two.check.as_ref().map(pair_check),
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
