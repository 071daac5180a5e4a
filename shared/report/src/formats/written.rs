//! Reading back the JSON that [`crate::json_of_set`] writes, as much of each take as somebody needs.

use serde::Deserialize;
use serde::de::DeserializeOwned;

use crate::formats::schema::SCHEMA;

/// Longest file of takes that is read, bytes: a hundred times what 128 takes are.
pub const LARGEST_BYTES: u64 = 256 << 20;

/// Why a file of takes could not be used. One line, to stand behind the file's name.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TakesError {
    /// Not the JSON of `check`.
    #[error("is not what `sumproof check --format json` writes ({0}); write it again")]
    NotTakes(String),
    /// Of a newer version.
    #[error("has schema {found}, and this program knows {known}; update it, or write the file with this one")]
    Newer {
        /// In the file.
        found: u32,
        /// Known here.
        known: u32,
    },
    /// No preset in it that can be judged.
    #[error("holds no preset that was judged; check what it was made of")]
    Empty,
}

/// The takes in such a JSON.
///
/// # Errors
/// It isn't one ([`TakesError::NotTakes`]), or is of a newer version ([`TakesError::Newer`]).
pub fn takes<T: DeserializeOwned>(text: &str) -> Result<Vec<T>, TakesError> {
    #[derive(Deserialize)]
    struct Document<T> {
        schema: u32,
        takes: Vec<T>,
    }
    let document: Document<T> = serde_json::from_str(text).map_err(|error| {
        // The parser names what it looked for: no line breaks of the file are repeated.
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
