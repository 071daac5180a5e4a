//! Errors of a rig file.

/// Why a rig file was refused. Its text is one line: the place, the key, its value, the values allowed, the remedy. The
/// caller puts the file's name in front.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum RigFileError {
    /// Not TOML.
    #[error("line {line}: is not TOML ({reason}); correct this line")]
    Syntax {
        /// Line of the text, from 1.
        line: usize,
        /// The parser's message.
        reason: String,
    },
    /// An unknown key.
    #[error("line {line}: {key} is not a key of a rig file; the nearest is {nearest} (known here: {known})")]
    UnknownKey {
        /// Line of the text, from 1.
        line: usize,
        /// The key, with its section.
        key: String,
        /// The known key with the most similar spelling, with its section.
        nearest: String,
        /// All keys known in that section.
        known: String,
    },
    /// A value of the wrong type.
    #[error("line {line}: {key} = {value} is not {wanted}; write {key} as in: {example}")]
    Type {
        /// Line of the text, from 1.
        line: usize,
        /// The key, with its section.
        key: String,
        /// The value found.
        value: String,
        /// The type expected.
        wanted: &'static str,
        /// A valid example.
        example: String,
    },
    /// A number outside its range.
    #[error("line {line}: {key} = {value} is out of range; give {low} to {high}{unit}")]
    Range {
        /// Line of the text, from 1.
        line: usize,
        /// The key, with its section.
        key: String,
        /// The number.
        value: String,
        /// Lowest value allowed.
        low: f64,
        /// Highest value allowed.
        high: f64,
        /// Unit, with a space before it.
        unit: &'static str,
    },
    /// A word that is not one of those allowed.
    #[error("line {line}: {key} = \"{value}\" is not known; give one of {choices}")]
    Choice {
        /// Line of the text, from 1.
        line: usize,
        /// The key, with its section.
        key: String,
        /// The word found.
        value: String,
        /// The words allowed.
        choices: String,
    },
    /// A text or list that is too long for the card.
    #[error("line {line}: {key} has {length} {unit}; shorten it to {longest} at the most")]
    Long {
        /// Line of the text, from 1.
        line: usize,
        /// The key, with its section.
        key: String,
        /// Its length.
        length: usize,
        /// The longest allowed.
        longest: usize,
        /// `characters` or `entries`.
        unit: &'static str,
    },
    /// A key that has no meaning together with another, or none without it.
    #[error("line {line}: {key} {why}")]
    Beside {
        /// Line of the text, from 1.
        line: usize,
        /// The key, with its section.
        key: String,
        /// Why, and what to do.
        why: String,
    },
}
