//! Presets of sampled guitars through third-party effects, with known dry and wet (`tests/presets/build.py` makes
//! them), and the accuracy of the analysis on them.
//!
//! The truth is computed from the separate dry and wet ([`truth`], by the slow definitions of [`crate::obvious`]),
//! never from the analysis.

pub mod causes;
pub mod feeds;
pub mod truth;

use std::fs;
use std::path::{Path, PathBuf};

use serde::Deserialize;
use sumproof_signals::Stereo;
use thiserror::Error;

/// Why a preset can't be loaded.
#[derive(Debug, Error)]
pub enum PresetError {
    /// The folder or a file in it can't be read.
    #[error("{path}: {source}")]
    File {
        /// Its path.
        path: PathBuf,
        /// The system's error.
        source: std::io::Error,
    },
    /// A sound file is invalid.
    #[error("{path}: {source}")]
    Sound {
        /// Its path.
        path: PathBuf,
        /// The error.
        source: hound::Error,
    },
    /// A preset's sheet is invalid.
    #[error("{path}: {source}")]
    Sheet {
        /// Its path.
        path: PathBuf,
        /// The error.
        source: serde_json::Error,
    },
    /// There are no presets in this folder.
    #[error("{0}: no presets; make them with tests/presets/build.py")]
    None(PathBuf),
}

/// The phrase played.
#[derive(Clone, Debug, Deserialize)]
pub struct Phrase {
    /// The style of playing.
    pub style: String,
    /// The strings are muted at its end, and only wet remains.
    pub muted_end: bool,
}

/// Names of causes, as [`causes`] reads them.
#[derive(Clone, Debug, Default, Deserialize)]
pub struct Causes {
    /// Must be named.
    pub must: Vec<String>,
    /// May be named.
    pub may: Vec<String>,
    /// Must be named where the wet is known separately, and may be elsewhere.
    pub with_wet: Vec<String>,
}

/// A preset's sheet: its description and its true causes.
#[derive(Clone, Debug, Deserialize)]
pub struct Sheet {
    /// Its kind.
    pub kind: String,
    /// The kind that a player would state.
    pub said: String,
    /// The phrase.
    pub phrase: Phrase,
    /// The effects in order.
    pub effects: Vec<String>,
    /// Wet over dry power, dB; `None` where there's no wet.
    pub wet_over_dry_db: Option<f64>,
    /// How much later the right channel's dry is, ms.
    pub right_channel_late_ms: f64,
    /// The causes.
    pub causes: Causes,
}

/// One preset.
#[derive(Clone, Debug)]
pub struct Preset {
    /// Its folder's name.
    pub name: String,
    /// Its sheet.
    pub sheet: Sheet,
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// The dry.
    pub dry: Stereo,
    /// The wet; silence where there's none.
    pub wet: Stereo,
    /// Dry and wet together.
    pub full: Stereo,
}

impl Preset {
    /// Reads a preset from its folder.
    ///
    /// # Errors
    /// See [`PresetError`].
    pub fn load(folder: &Path) -> Result<Self, PresetError> {
        let path = folder.join("preset.json");
        let text = fs::read_to_string(&path).map_err(|source| PresetError::File {
            path: path.clone(),
            source,
        })?;
        let sheet = serde_json::from_str(&text).map_err(|source| PresetError::Sheet { path, source })?;
        let (rate_hz, dry) = sound(&folder.join("dry.wav"))?;
        let (_, wet) = sound(&folder.join("wet.wav"))?;
        let (_, full) = sound(&folder.join("full.wav"))?;
        let name = folder.file_name().unwrap_or_default();
        Ok(Self {
            name: name.to_string_lossy().into_owned(),
            sheet,
            rate_hz,
            dry,
            wet,
            full,
        })
    }

    /// Whether there's a wet.
    #[must_use]
    pub fn has_wet(&self) -> bool {
        self.sheet.wet_over_dry_db.is_some()
    }
}

/// The folders of presets in a folder, by name.
///
/// # Errors
/// [`PresetError::None`] when there are none.
pub fn folders(root: &Path) -> Result<Vec<PathBuf>, PresetError> {
    let entries = fs::read_dir(root).map_err(|source| PresetError::File {
        path: root.into(),
        source,
    })?;
    let mut found: Vec<PathBuf> = entries
        .filter_map(|entry| entry.ok().map(|entry| entry.path()))
        .filter(|path| path.join("preset.json").is_file())
        .collect();
    found.sort();
    if found.is_empty() {
        return Err(PresetError::None(root.into()));
    }
    Ok(found)
}

fn sound(path: &Path) -> Result<(f64, Stereo), PresetError> {
    let failed = |source| PresetError::Sound {
        path: path.into(),
        source,
    };
    let mut reader = hound::WavReader::open(path).map_err(failed)?;
    let rate_hz = f64::from(reader.spec().sample_rate);
    let samples = reader
        .samples::<f32>()
        .collect::<Result<Vec<_>, _>>()
        .map_err(failed)?;
    let channel = |first: usize| {
        samples
            .iter()
            .skip(first)
            .step_by(2)
            .map(|&x| f64::from(x))
            .collect()
    };
    Ok((
        rate_hz,
        Stereo {
            left: channel(0),
            right: channel(1),
        },
    ))
}
