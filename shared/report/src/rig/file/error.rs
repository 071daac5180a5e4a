//! What can be wrong with a rig file.

/// Why a rig file was refused. Its text is one line: where, which key, its value, what is allowed, what to do. Whoever read
/// the file puts its name in front.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum RigFileError {
    /// Not TOML.
    #[error("line {line}: is not TOML ({reason}); correct this line")]
    Syntax {
        /// Line of the text, from 1.
        line: usize,
        /// What the parser says.
        reason: String,
    },
    /// A key nobody knows.
    #[error("line {line}: {key} is not a key of a rig file; the nearest is {nearest} (known here: {known})")]
    UnknownKey {
        /// Line of the text, from 1.
        line: usize,
        /// The key, with its section.
        key: String,
        /// The known one that is spelled most like it, with its section.
        nearest: String,
        /// All that are known in that section.
        known: String,
    },
    /// A value of another kind than the key's.
    #[error("line {line}: {key} = {value} is not {wanted}; write {key} as in: {example}")]
    Type {
        /// Line of the text, from 1.
        line: usize,
        /// The key, with its section.
        key: String,
        /// What stands there.
        value: String,
        /// What should.
        wanted: &'static str,
        /// One that would do.
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
        /// Lowest allowed.
        low: f64,
        /// Highest allowed.
        high: f64,
        /// Unit, with a space before it.
        unit: &'static str,
    },
    /// A word that is none of those allowed.
    #[error("line {line}: {key} = \"{value}\" is not known; give one of {choices}")]
    Choice {
        /// Line of the text, from 1.
        line: usize,
        /// The key, with its section.
        key: String,
        /// The word.
        value: String,
        /// Those allowed.
        choices: String,
    },
    /// A text or list with no room for it on the card.
    #[error("line {line}: {key} has {length} {unit}; shorten it to {longest} at the most")]
    Long {
        /// Line of the text, from 1.
        line: usize,
        /// The key, with its section.
        key: String,
        /// How long it is.
        length: usize,
        /// How long it may be.
        longest: usize,
        /// `characters` or `entries`.
        unit: &'static str,
    },
    /// A key that means nothing beside another, or nothing without it.
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
