//! The rig card: the one page for the sound engineer, as HTML and as PDF.
//!
//! What it says ([`content`](Card)), where every line of it stands (`sheet`), and the two forms, which only draw. A card is
//! one page or it is an error.

mod content;
mod html;
mod pdf;
mod presets;
mod sheet;
mod typeset;

use crate::rig::file::RigFile;

pub use crate::formats::written::TakesError;
pub use content::{Card, FIRST};
pub use presets::{AtRisk, Preset, presets_of_json};

/// What the card is printed on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Paper {
    /// ISO 216: 210 × 297 mm.
    #[default]
    A4,
    /// 8.5 × 11 inch.
    Letter,
}

impl Paper {
    /// Both.
    pub const ALL: [Self; 2] = [Self::A4, Self::Letter];

    /// Width and height, points of 1/72 inch.
    #[must_use]
    pub fn points(self) -> (f64, f64) {
        match self {
            Self::A4 => (210.0 / 25.4 * 72.0, 297.0 / 25.4 * 72.0),
            Self::Letter => (612.0, 792.0),
        }
    }

    /// What people read.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::A4 => "A4",
            Self::Letter => "Letter",
        }
    }
}

/// Why there is no card. One line.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CardError {
    /// The texts don't fit on one page, even in the smallest type.
    #[error(
        "the card is {over_mm:.0} mm too long for one {paper} page; shorten card.notes, card.rig, card.left or card.right"
    )]
    TooLong {
        /// By how much, mm.
        over_mm: f64,
        /// On what.
        paper: &'static str,
    },
    /// The PDF can't be made.
    #[error("the PDF could not be made ({0}); take HTML instead")]
    Pdf(String),
    /// A font that is built in can't be read.
    #[error("a built-in font is damaged; install this program again")]
    Font,
}

/// The form of a card.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CardForm {
    /// One file that needs nothing else.
    Html,
    /// One page.
    Pdf,
}

/// A finished card.
#[derive(Clone, Debug, PartialEq)]
pub struct CardFile {
    /// What to write.
    pub bytes: Vec<u8>,
    /// Share of the usual type size: below 1 where long texts made it shrink, above where there was room.
    pub scale: f64,
    /// Presets at risk that there was no room for.
    pub unnamed: usize,
    /// How many characters of the player's texts the typeface lacks; each is a question mark.
    pub missing_characters: usize,
}

/// Makes the card of a rig.
///
/// `presets` are those of [`presets_of_json`] or [`Preset::of_take`]; without any, the card names only those at risk that
/// the rig file names.
///
/// ```
/// use sumproof_report::rig::card::{CardForm, Paper, card};
/// use sumproof_report::rig::file::parse;
///
/// let file = parse("[card]\nplayer = \"A. Player\"\n").expect("a rig file");
/// let page = card(&file, &[], Paper::A4, CardForm::Html).expect("it fits on a page");
/// assert!(String::from_utf8(page.bytes).is_ok_and(|page| page.contains("A. Player")));
/// ```
///
/// # Errors
/// The texts don't fit on one page, or the PDF can't be made.
pub fn card(file: &RigFile, presets: &[Preset], paper: Paper, form: CardForm) -> Result<CardFile, CardError> {
    let set = typeset::Type::load().ok_or(CardError::Font)?;
    let card = Card::new(file, presets, &set);
    let sheet = sheet::lay_out(&card, paper, &set)?;
    let title = if card.player.is_empty() {
        "Rig card".to_string()
    } else {
        format!("Rig card: {}", card.player)
    };
    Ok(CardFile {
        bytes: match form {
            CardForm::Html => html::page(&sheet, &title, &set).into_bytes(),
            CardForm::Pdf => pdf::file(&sheet, &title, &set)?,
        },
        scale: sheet.scale,
        unnamed: sheet.unnamed,
        missing_characters: card.missing_characters,
    })
}
