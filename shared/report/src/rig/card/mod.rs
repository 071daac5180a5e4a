//! The rig card: the one page for the sound engineer, as HTML and as PDF.
//!
//! The contents ([`content`](Card)), the layout of every line (`sheet`), and the two forms, which only draw. A card is
//! one page, or an error.

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

use typeset::Cut;

/// Paper size.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Paper {
    /// ISO 216: 210 × 297 mm.
    #[default]
    A4,
    /// 8.5 × 11 inch.
    Letter,
}

impl Paper {
    /// Both sizes.
    pub const ALL: [Self; 2] = [Self::A4, Self::Letter];

    /// Width and height, points of 1/72 inch.
    #[must_use]
    pub fn points(self) -> (f64, f64) {
        match self {
            Self::A4 => (210.0 / 25.4 * 72.0, 297.0 / 25.4 * 72.0),
            Self::Letter => (612.0, 792.0),
        }
    }

    /// The name people read.
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
        /// Excess length, mm.
        over_mm: f64,
        /// Paper size.
        paper: &'static str,
    },
    /// The PDF could not be made.
    #[error("the PDF could not be made ({0}); take HTML instead")]
    Pdf(String),
    /// A built-in font can't be read.
    #[error("a built-in font is damaged; install this program again")]
    Font,
}

/// The form of a card.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CardForm {
    /// One self-contained file.
    Html,
    /// The same without its typeface, for a page that has one.
    Screen,
    /// One page of PDF.
    Pdf,
}

/// A finished card.
#[derive(Clone, Debug, PartialEq)]
pub struct CardFile {
    /// Contents of the file.
    pub bytes: Vec<u8>,
    /// Type size relative to the usual one: below 1 where long texts made it shrink, above where there was room.
    pub scale: f64,
    /// Number of presets at risk for which there was no room.
    pub unnamed: usize,
    /// Number of characters of the player's texts that the typeface lacks; each is printed as a question mark.
    pub missing_characters: usize,
}

impl CardFile {
    /// What the player should know about it, in whole lines without the file's name.
    #[must_use]
    pub fn notices(&self) -> Vec<String> {
        let mut notices = Vec::new();
        if self.scale < SMALL {
            notices.push(format!(
                "the texts are long, so the type is at {:.0} % of its size",
                100.0 * self.scale
            ));
        }
        match self.unnamed {
            0 => {}
            1 => notices.push("one more preset is at risk than there is room for".into()),
            unnamed => notices.push(format!(
                "{unnamed} more presets are at risk than there is room for"
            )),
        }
        match self.missing_characters {
            0 => {}
            1 => notices.push(
                "one character is not in the typeface, or runs from right to left; it is a question mark".into(),
            ),
            missing => notices.push(format!(
                "{missing} characters are not in the typeface, or run from right to left; each is a question mark"
            )),
        }
        notices
    }
}

/// Below this type size, relative to the usual one, the player is advised to shorten his texts.
const SMALL: f64 = 0.9;

/// The cuts a card is set in: OpenType files.
#[derive(Clone, Copy, Debug)]
pub struct Typeface {
    /// For running text, and for all of the player's own texts.
    pub regular: &'static [u8],
    /// For what must not be overlooked.
    pub semibold: &'static [u8],
    /// For labels.
    pub italic: &'static [u8],
}

impl Typeface {
    /// Libertinus Serif (SIL Open Font License 1.1), as in the window.
    pub const WHOLE: Self = Self {
        regular: sumproof_fonts::REGULAR,
        semibold: sumproof_fonts::SEMIBOLD,
        italic: sumproof_fonts::ITALIC,
    };

    fn file(&self, cut: Cut) -> &'static [u8] {
        match cut {
            Cut::Regular => self.regular,
            Cut::Semibold => self.semibold,
            Cut::Italic => self.italic,
        }
    }
}

/// Makes the card of a rig.
///
/// `presets` come from [`presets_of_json`] or [`Preset::of_take`]; without any, the only presets at risk on the card
/// are those named in the rig file.
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
/// The texts don't fit on one page, the PDF can't be made, or a built-in font is damaged.
pub fn card(file: &RigFile, presets: &[Preset], paper: Paper, form: CardForm) -> Result<CardFile, CardError> {
    card_in(Typeface::WHOLE, file, presets, paper, form)
}

/// The same, set in other files.
///
/// # Errors
/// As [`card`].
pub fn card_in(
    typeface: Typeface,
    file: &RigFile,
    presets: &[Preset],
    paper: Paper,
    form: CardForm,
) -> Result<CardFile, CardError> {
    let set = typeset::Type::load(typeface).ok_or(CardError::Font)?;
    let card = Card::new(file, presets, &set);
    let sheet = sheet::lay_out(&card, paper, &set)?;
    let title = if card.player.is_empty() {
        "Rig card".to_string()
    } else {
        format!("Rig card: {}", card.player)
    };
    Ok(CardFile {
        bytes: match form {
            CardForm::Html => html::page(&sheet, &title, &set, true).into_bytes(),
            CardForm::Screen => html::page(&sheet, &title, &set, false).into_bytes(),
            CardForm::Pdf => pdf::file(&sheet, &title, &set)?,
        },
        scale: sheet.scale,
        unnamed: sheet.unnamed,
        missing_characters: card.missing_characters,
    })
}
