//! Explanations of the window's marks and short words, one line each.

use crate::scores::column;

/// The dips marked in a curve.
pub const DIPS: &str = "The marks below a curve: where a feed takes a hole of 3 dB or more out of the sound, with the note that lies there.";
/// The margin.
pub const MARGIN: &str = "How late a line may be before the dry is 2 dB down: the fall of the dry over the delay, dashed with that line flipped as well.";

/// Every word that needs explaining, with its explanation.
#[must_use]
pub fn lines() -> Vec<(&'static str, &'static str)> {
    vec![
        ("dry, wet", column("dry")),
        ("LU", column("LU")),
        ("tone", column("tone")),
        ("deepest dip", column("deepest dip")),
        ("dip marks", DIPS),
        ("margin", MARGIN),
        (
            "strokes",
            "Unbroken: it holds. Dashed: it thins. Cut in the middle: it drops out. A thin one below: the worst in this phrase.",
        ),
        (
            "?",
            "After a word: the likelier of two. In a column: it is there, but no figure of it is known.",
        ),
        (
            "keys",
            "1 to 9 and F1 to F4 hear a feed, 0 and Escape go back to stereo. F5: from afar. F6: the set. F7: this. Home: lines back to \
             straight. Tab goes on, Enter clicks, Escape closes.",
        ),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_word_has_a_line() {
        for (word, line) in lines() {
            assert!(line.len() > 20, "{word}: {line}");
        }
    }
}
