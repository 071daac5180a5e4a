//! Reads the JSON that [`crate::json_of_set`] writes, with only the fields of a take that the caller needs.

use serde::Deserialize;
use serde::de::DeserializeOwned;

use crate::formats::schema::SCHEMA;

/// Longest file of takes that is read, bytes: a hundred times the size of 128 takes.
pub const LARGEST_BYTES: u64 = 256 << 20;

/// Why a file of takes could not be used. One line, to follow the file's name.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TakesError {
    /// Not JSON of `check`.
    #[error("is not what `sumproof check --format json` writes ({0}); write it again")]
    NotTakes(String),
    /// Written by a newer version.
    #[error("has schema {found}, and this program knows {known}; update it, or write the file with this one")]
    Newer {
        /// Schema of the file.
        found: u32,
        /// Newest schema known here.
        known: u32,
    },
    /// It holds no preset that can be judged.
    #[error("holds no preset that was judged; check what it was made of")]
    Empty,
}

/// The takes in such a JSON.
///
/// # Errors
/// The text isn't such a JSON ([`TakesError::NotTakes`]), or is of a newer version ([`TakesError::Newer`]).
pub fn takes<T: DeserializeOwned>(text: &str) -> Result<Vec<T>, TakesError> {
    #[derive(Deserialize)]
    struct Document<T> {
        schema: u32,
        takes: Vec<T>,
    }
    let document: Document<T> = serde_json::from_str(text).map_err(|error| {
        // The parser's message names the expected field and repeats no line breaks of the file.
        TakesError::NotTakes(crate::rig::file::one_line(&error.to_string()))
    })?;
    if document.schema > SCHEMA {
        return Err(TakesError::Newer {
            found: document.schema,
            known: SCHEMA,
        });
    }
    Ok(document.takes)
}
