//! Lays out the card: every line of text with its position on the page, in reading order.
//!
//! Both forms draw this sheet, so they have the same contents and look the same; whether everything fits is measured
//! here, with the font's own widths. If it doesn't fit at the usual size, the type shrinks down to [`SMALLEST`]; beyond
//! that it is an error, never a second page. Lengths are points (1/72 inch), y grows downwards.

mod layout;

use super::content::Card;
use super::typeset::{Cut, Type};
use super::{CardError, Paper};
use layout::Layout;

/// Margin on all sides: any printer can print within it.
const MARGIN: f64 = 37.0;
/// Type sizes tried, relative to the usual size, the largest first. Above 1 only while everything fits.
const SCALES: [f64; 15] = [
    1.12, 1.1, 1.08, 1.06, 1.04, 1.02, 1.0, 0.975, 0.95, 0.925, 0.9, 0.875, 0.85, 0.825, SMALLEST,
];
/// The smallest scale: running text of 9 points.
const SMALLEST: f64 = 0.8;
/// Number of presets at risk that must be named at this scale: the type grows only if all are, and becomes really small
/// only to fit the texts.
fn named_at_least(scale: f64) -> usize {
    if scale > 1.0 {
        usize::MAX
    } else if scale >= 0.9 {
        8
    } else {
        2
    }
}

/// Strength of the ink.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// Main text.
    Ink,
    /// Labels.
    Soft,
}

/// The role of a block for a reader who doesn't see the page.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// The first line.
    Title,
    /// A heading.
    Heading,
    /// Running text.
    Paragraph,
    /// A table of rows.
    Table,
    /// A row of a table.
    Row,
    /// The head of a row or column.
    Head,
    /// A cell.
    Cell,
    /// A cell that spans two columns.
    Wide,
    /// A numbered list.
    Numbered,
    /// A list without numbers.
    List,
    /// An entry of a list.
    Entry,
    /// A part of the page with a heading.
    Section,
}

/// One line of text.
#[derive(Clone, Debug, PartialEq)]
pub struct SetLine {
    /// Left end.
    pub x: f64,
    /// Baseline.
    pub y: f64,
    /// Type size.
    pub size: f64,
    /// Cut.
    pub cut: Cut,
    /// Ink.
    pub tone: Tone,
    /// Its text.
    pub text: String,
}

/// Content of a block.
#[derive(Clone, Debug, PartialEq)]
pub enum Part {
    /// A line of text.
    Line(SetLine),
    /// Another block.
    Block(Block),
}

/// A block.
#[derive(Clone, Debug, PartialEq)]
pub struct Block {
    /// Its role.
    pub role: Role,
    /// Its content, in reading order.
    pub parts: Vec<Part>,
}

/// A straight stroke.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stroke {
    /// One end.
    pub from: (f64, f64),
    /// The other end.
    pub to: (f64, f64),
    /// Width.
    pub width: f64,
    /// Whether it has strong ink; otherwise it is a hairline.
    pub strong: bool,
}

/// A finished page.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    /// The paper.
    pub paper: Paper,
    /// Blocks in reading order.
    pub blocks: Vec<Block>,
    /// Rules and marks.
    pub strokes: Vec<Stroke>,
    /// Type size relative to the usual one.
    pub scale: f64,
    /// Number of presets at risk for which there was no room.
    pub unnamed: usize,
    /// Lowest point used, from the top of the page.
    pub bottom: f64,
}

/// Lays a card out.
///
/// # Errors
/// The card doesn't fit on one page, even at the smallest size.
pub fn lay_out(card: &Card, paper: Paper, set: &Type) -> Result<Sheet, CardError> {
    let (_, height) = paper.points();
    let floor = height - MARGIN;
    let try_at = |scale: f64, named: usize| Layout::new(paper, scale, set).all(card, named);
    for scale in SCALES {
        let least = card.at_risk.len().min(named_at_least(scale));
        let mut sheet = try_at(scale, least);
        if sheet.bottom > floor {
            continue;
        }
        // Names as many presets as there is room for.
        for named in least + 1..=card.at_risk.len() {
            let longer = try_at(scale, named);
            if longer.bottom > floor {
                break;
            }
            sheet = longer;
        }
        return Ok(sheet);
    }
    let over = try_at(SMALLEST, card.at_risk.len().min(named_at_least(SMALLEST))).bottom - floor;
    Err(CardError::TooLong {
        over_mm: over / 72.0 * 25.4,
        paper: paper.name(),
    })
}
