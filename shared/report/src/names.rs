//! Names from files are untrusted data: made safe for a terminal, a table and a spreadsheet.

use unicode_width::UnicodeWidthStr;

/// A name as part of one line: characters that would end the line, move the cursor or change the writing direction
/// become question marks.
#[must_use]
pub fn line(name: &str) -> String {
    name.chars().map(|c| if steers(c) { '?' } else { c }).collect()
}

/// A name as a cell of a spreadsheet: one line, and never a formula. One that begins like a formula gets an apostrophe
/// in front, as spreadsheets themselves mark text (common practice: OWASP, 'CSV Injection').
#[must_use]
pub fn cell(name: &str) -> String {
    let name = line(name);
    if name
        .trim_start()
        .starts_with(['=', '+', '-', '@', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}'])
    {
        format!("'{name}")
    } else {
        name
    }
}

/// Width of a text in columns of a terminal: two for each wide character (Unicode Standard Annex 11).
#[must_use]
pub fn width(text: &str) -> usize {
    text.width()
}

/// Whether it is a control character, a line or paragraph separator, or one that sets the writing direction (Unicode
/// Standard Annex 9).
fn steers(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{2028}' | '\u{2029}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_one_line() {
        assert_eq!(
            line("Foam \u{1b}[2Jbar\r\nbaz\u{202e}x\u{9b}"),
            "Foam ?[2Jbar??baz?x?"
        );
        assert_eq!(line("Ärger – 北京"), "Ärger – 北京");
    }

    #[test]
    fn a_name_is_no_formula() {
        for (name, expected) in [
            ("=1+1", "'=1+1"),
            ("+49", "'+49"),
            ("-dry", "'-dry"),
            ("@SUM(A1)", "'@SUM(A1)"),
            (" =1", "' =1"),
            ("\t=1", "?=1"),
            ("a=1", "a=1"),
            ("", ""),
        ] {
            assert_eq!(cell(name), expected);
        }
    }

    #[test]
    fn wide_scripts_take_two_columns() {
        assert_eq!(width("abc"), 3);
        assert_eq!(width("北京"), 4);
        // A letter and an accent on it.
        assert_eq!(width("e\u{301}"), 1);
    }
}
