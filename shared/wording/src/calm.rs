//! Whether a new sentence differs enough from the shown one to replace it.

/// Largest change of a figure in dB that is not news, dB.
const DB: f64 = 1.0;
/// Largest relative change of any other figure that is not news.
const SHARE: f64 = 0.15;

/// Whether two texts differ by more than small changes of their figures: more than 1 dB, or more than 15 % for figures
/// that aren't decibels.
///
/// ```
/// use sumproof_wording::calm::says_something_new;
///
/// assert!(!says_something_new("The dry is 4.2 dB down.", "The dry is 4.9 dB down."));
/// assert!(says_something_new("The dry is 4.2 dB down.", "The dry is 5.9 dB down."));
/// assert!(says_something_new("The left channel is 2.0 ms late.", "The left channel is 1.0 ms late."));
/// assert!(says_something_new("The left channel is late.", "The right channel is late."));
/// ```
#[must_use]
pub fn says_something_new(old: &str, new: &str) -> bool {
    if old == new {
        return false;
    }
    let (mut olds, mut news) = (pieces(old), pieces(new));
    loop {
        match (olds.next(), news.next()) {
            (None, None) => return false,
            (Some(a), Some(b)) if a.is_near(&b) => {}
            _ => return true,
        }
    }
}

/// The same for lists of texts.
#[must_use]
pub fn say_something_new(old: &[String], new: &[String]) -> bool {
    old.len() != new.len() || old.iter().zip(new).any(|(old, new)| says_something_new(old, new))
}

/// A stretch of text and the figure that follows it.
struct Piece<'a> {
    text: &'a str,
    figure: Option<f64>,
    is_db: bool,
}

impl Piece<'_> {
    fn is_near(&self, other: &Self) -> bool {
        self.text == other.text
            && self.is_db == other.is_db
            && match (self.figure, other.figure) {
                (Some(a), Some(b)) => {
                    let most = if self.is_db {
                        DB
                    } else {
                        SHARE * a.abs().max(b.abs())
                    };
                    (a - b).abs() <= most
                }
                (a, b) => a.is_none() && b.is_none(),
            }
    }
}

fn pieces(text: &str) -> impl Iterator<Item = Piece<'_>> {
    let mut rest = text;
    std::iter::from_fn(move || {
        if rest.is_empty() {
            return None;
        }
        let begin = rest.find(|c: char| c.is_ascii_digit()).unwrap_or(rest.len());
        let figure = &rest[begin..];
        let len = figure
            .find(|c: char| !(c.is_ascii_digit() || c == '.'))
            .unwrap_or(figure.len());
        // A full stop after a figure belongs to the sentence.
        let number = figure[..len].trim_end_matches('.');
        let piece = Piece {
            text: &rest[..begin],
            figure: number.parse().ok(),
            is_db: figure[number.len()..].trim_start().starts_with("dB"),
        };
        rest = &figure[number.len()..];
        Some(piece)
    })
}
