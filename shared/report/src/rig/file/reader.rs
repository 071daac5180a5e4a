//! Reads one section of a rig file: typed values by key, with errors that give the line.

use core::ops::RangeInclusive;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::RigFileError;

/// Longest part of a value repeated in an error, characters.
const REPEATED: usize = 40;

/// One section.
pub struct Section<'t> {
    text: &'t str,
    table: &'t DeTable<'t>,
    /// `left.` and the like; empty at the top.
    prefix: String,
    /// Line where the section begins, from 1.
    line: usize,
}

/// A value with its line.
pub struct Found<T> {
    /// The value.
    pub value: T,
    /// Line of the text, from 1.
    pub line: usize,
}

impl<'t> Section<'t> {
    /// The top level of a document; only the `known` keys may be in it.
    ///
    /// # Errors
    /// The document has an unknown key.
    pub fn top(text: &'t str, table: &'t DeTable<'t>, known: &[&str]) -> Result<Self, RigFileError> {
        let section = Self {
            text,
            table,
            prefix: String::new(),
            line: 1,
        };
        section.only(known)?;
        Ok(section)
    }

    /// The section of that name within this one, if there is one.
    ///
    /// # Errors
    /// It isn't a section, or has an unknown key.
    pub fn section(&self, key: &str, known: &[&str]) -> Result<Option<Section<'t>>, RigFileError> {
        let Some((line, value)) = self.value(key) else {
            return Ok(None);
        };
        let DeValue::Table(table) = value else {
            return Err(self.wrong(key, line, value, "a section", format!("[{}{key}]", self.prefix)));
        };
        let section = Section {
            text: self.text,
            table,
            prefix: format!("{}{key}.", self.prefix),
            line,
        };
        section.only(known)?;
        Ok(Some(section))
    }

    /// Line where the section begins, from 1.
    pub fn line(&self) -> usize {
        self.line
    }

    /// The key with its section.
    pub fn full(&self, key: &str) -> String {
        format!("{}{key}", self.prefix)
    }

    fn only(&self, known: &[&str]) -> Result<(), RigFileError> {
        // The table is in alphabetical order, but the user looks for the first one in the text.
        let unknown = self
            .table
            .keys()
            .filter(|key| !known.contains(&key.get_ref().as_ref()))
            .min_by_key(|key| key.span().start);
        let Some(key) = unknown else {
            return Ok(());
        };
        let nearest = known
            .iter()
            .min_by_key(|candidate| distance(candidate, key.get_ref()))
            .copied()
            .unwrap_or_default();
        Err(RigFileError::UnknownKey {
            line: self.line_at(key.span().start),
            key: short(&self.full(key.get_ref())),
            nearest: self.full(nearest),
            known: known.join(", "),
        })
    }

    fn line_at(&self, byte: usize) -> usize {
        line_at(self.text, byte)
    }

    fn value(&self, key: &str) -> Option<(usize, &'t DeValue<'t>)> {
        self.table
            .iter()
            .find(|(name, _)| name.get_ref() == key)
            .map(|(name, value)| (self.line_at(name.span().start), value.get_ref()))
    }

    fn wrong(
        &self,
        key: &str,
        line: usize,
        value: &DeValue<'_>,
        wanted: &'static str,
        example: String,
    ) -> RigFileError {
        RigFileError::Type {
            line,
            key: self.full(key),
            value: shown(value),
            wanted,
            example,
        }
    }

    /// A number within a range; `unit` starts with a space.
    ///
    /// # Errors
    /// The value is not a number, or out of range.
    pub fn number(
        &self,
        key: &str,
        range: RangeInclusive<f64>,
        unit: &'static str,
    ) -> Result<Option<Found<f64>>, RigFileError> {
        let Some((line, value)) = self.value(key) else {
            return Ok(None);
        };
        let number = match value {
            // An integer beyond 64 bits is out of every range.
            DeValue::Integer(integer) => i64::from_str_radix(integer.as_str(), integer.radix())
                .map_or(f64::INFINITY, |integer| integer as f64),
            DeValue::Float(float) => float.as_str().parse().unwrap_or(f64::NAN),
            _ => {
                let example = format!("{key} = {:?}", range.end());
                return Err(self.wrong(key, line, value, "a number", example));
            }
        };
        if !range.contains(&number) {
            return Err(RigFileError::Range {
                line,
                key: self.full(key),
                value: shown(value),
                low: *range.start(),
                high: *range.end(),
                unit,
            });
        }
        Ok(Some(Found { value: number, line }))
    }

    /// `true` or `false`.
    ///
    /// # Errors
    /// The value is neither.
    pub fn flag(&self, key: &str) -> Result<Option<Found<bool>>, RigFileError> {
        match self.value(key) {
            None => Ok(None),
            Some((line, DeValue::Boolean(value))) => Ok(Some(Found { value: *value, line })),
            Some((line, other)) => {
                Err(self.wrong(key, line, other, "true or false", format!("{key} = true")))
            }
        }
    }

    /// One of several words.
    ///
    /// # Errors
    /// The value is not a text, or is none of the words.
    pub fn choice<T: Copy>(
        &self,
        key: &str,
        choices: &[(&str, T)],
    ) -> Result<Option<Found<T>>, RigFileError> {
        let Some((line, value)) = self.value(key) else {
            return Ok(None);
        };
        let DeValue::String(word) = value else {
            let first = choices.first().map_or("", |(word, _)| word);
            return Err(self.wrong(key, line, value, "a text", format!("{key} = \"{first}\"")));
        };
        match choices.iter().find(|(name, _)| *name == word.as_ref()) {
            Some((_, value)) => Ok(Some(Found { value: *value, line })),
            None => Err(RigFileError::Choice {
                line,
                key: self.full(key),
                value: short(word),
                choices: choices
                    .iter()
                    .map(|(name, _)| format!("\"{name}\""))
                    .collect::<Vec<_>>()
                    .join(", "),
            }),
        }
    }

    /// A text of a limited length, with runs of white space made single.
    ///
    /// # Errors
    /// The value is not a text, or is too long.
    pub fn text(&self, key: &str, longest: usize) -> Result<Option<String>, RigFileError> {
        let Some((line, value)) = self.value(key) else {
            return Ok(None);
        };
        self.one_text(key, line, value, longest).map(Some)
    }

    fn one_text(
        &self,
        key: &str,
        line: usize,
        value: &DeValue<'_>,
        longest: usize,
    ) -> Result<String, RigFileError> {
        let DeValue::String(text) = value else {
            return Err(self.wrong(key, line, value, "a text", format!("{key} = \"…\"")));
        };
        let text = tidy(text);
        self.length(key, line, text.chars().count(), longest, "characters")?;
        Ok(text)
    }

    /// A list of texts; empty ones are left out.
    ///
    /// # Errors
    /// The value is not a list of texts, or the list or one of its texts is too long.
    pub fn texts(&self, key: &str, most: usize, longest: usize) -> Result<Vec<String>, RigFileError> {
        let Some((line, value)) = self.value(key) else {
            return Ok(Vec::new());
        };
        let DeValue::Array(list) = value else {
            return Err(self.wrong(
                key,
                line,
                value,
                "a list of texts",
                format!("{key} = [\"…\", \"…\"]"),
            ));
        };
        self.length(key, line, list.len(), most, "entries")?;
        let mut texts = Vec::with_capacity(list.len());
        for (index, entry) in list.iter().enumerate() {
            let name = format!("{key}[{index}]");
            let text = self.one_text(&name, self.line_at(entry.span().start), entry.get_ref(), longest)?;
            if !text.is_empty() {
                texts.push(text);
            }
        }
        Ok(texts)
    }

    fn length(
        &self,
        key: &str,
        line: usize,
        length: usize,
        longest: usize,
        unit: &'static str,
    ) -> Result<(), RigFileError> {
        if length > longest {
            return Err(RigFileError::Long {
                line,
                key: self.full(key),
                length,
                longest,
                unit,
            });
        }
        Ok(())
    }
}

/// Parses a text as TOML.
///
/// # Errors
/// The text is not TOML.
pub fn document(text: &str) -> Result<Spanned<DeTable<'_>>, RigFileError> {
    DeTable::parse(text).map_err(|error| RigFileError::Syntax {
        line: line_at(text, error.span().map_or(0, |span| span.start)),
        reason: tidy(error.message()),
    })
}

/// Line of a byte offset, from 1.
fn line_at(text: &str, byte: usize) -> usize {
    1 + text.bytes().take(byte).filter(|&b| b == b'\n').count()
}

/// One line: runs of white space and control characters become a space.
pub fn tidy(text: &str) -> String {
    text.split(|c: char| c.is_whitespace() || c.is_control())
        .filter(|word| !word.is_empty())
        .collect::<Vec<_>>()
        .join(" ")
}

/// The beginning of a text, for an error, on one line.
fn short(text: &str) -> String {
    let text = tidy(text);
    if text.chars().count() <= REPEATED {
        text
    } else {
        text.chars().take(REPEATED - 1).chain(['…']).collect()
    }
}

fn shown(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => format!("\"{}\"", short(text)),
        DeValue::Integer(integer) => short(&integer.to_string()),
        DeValue::Float(float) => short(float.as_str()),
        DeValue::Boolean(flag) => flag.to_string(),
        DeValue::Datetime(date) => date.to_string(),
        DeValue::Array(_) => "a list".into(),
        DeValue::Table(_) => "a section".into(),
    }
}

/// Edit distance (Levenshtein 1966): insertions, deletions and substitutions.
fn distance(a: &str, b: &str) -> usize {
    // A long key is compared only over the length that a known one can have.
    let b: Vec<char> = b.chars().take(REPEATED).collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, y) in b.iter().enumerate() {
            let cost = diagonal + usize::from(x != *y);
            diagonal = row[j + 1];
            row[j + 1] = cost.min(diagonal + 1).min(row[j] + 1);
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances_are_the_textbook_ones() {
        assert_eq!(distance("kitten", "sitting"), 3);
        assert_eq!(distance("gain_db", "gian_db"), 2);
        assert_eq!(distance("", "abc"), 3);
        assert_eq!(distance("abc", "abc"), 0);
    }

    #[test]
    fn a_text_becomes_one_line() {
        assert_eq!(tidy(" two\n\tlines \u{7} here\r\n"), "two lines here");
        assert_eq!(short(&"x".repeat(90)).chars().count(), REPEATED);
    }
}
