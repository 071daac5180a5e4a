//! Laying the card out: every line of text with its place on the page, in the order it is read.
//!
//! Both forms draw this sheet, so that they hold the same and look the same; that everything fits is measured here, with the
//! font's own widths. If it doesn't at the usual size, the type shrinks down to [`SMALLEST`]; then it is an error, never a second
//! page. Lengths are points (1/72 inch), y grows downwards.

mod layout;

use super::content::Card;
use super::typeset::{Cut, Type};
use super::{CardError, Paper};
use layout::Layout;

/// Margin on all sides: what any printer can print.
const MARGIN: f64 = 37.0;
/// Type sizes tried, as shares of the usual size, the largest first. Above 1 only while everything has its place.
const SCALES: [f64; 15] = [
    1.12, 1.1, 1.08, 1.06, 1.04, 1.02, 1.0, 0.975, 0.95, 0.925, 0.9, 0.875, 0.85, 0.825, SMALLEST,
];
/// The smallest share: running text of 9 points.
const SMALLEST: f64 = 0.8;
/// Presets at risk that must be named, or the type gets smaller: the type grows only when all are, and becomes really small
/// only for the texts' sake.
fn named_at_least(scale: f64) -> usize {
    if scale > 1.0 {
        usize::MAX
    } else if scale >= 0.9 {
        8
    } else {
        2
    }
}

/// How strong the ink is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// What is read first.
    Ink,
    /// Labels.
    Soft,
}

/// What a block is to a reader who doesn't see the page.
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
    /// A cell that is as wide as two.
    Wide,
    /// A list, its entries numbered.
    Numbered,
    /// A list.
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
    /// What it says.
    pub text: String,
}

/// What a block holds.
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
    /// What it is.
    pub role: Role,
    /// What it holds, in reading order.
    pub parts: Vec<Part>,
}

/// A straight stroke.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stroke {
    /// From here.
    pub from: (f64, f64),
    /// To there.
    pub to: (f64, f64),
    /// Width.
    pub width: f64,
    /// Strong ink, or a hairline.
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
    /// Share of the usual type size.
    pub scale: f64,
    /// Presets at risk that there was no room for.
    pub unnamed: usize,
    /// Lowest point used.
    pub bottom: f64,
}

/// Lays a card out.
///
/// # Errors
/// It doesn't fit on one page, even at the smallest size.
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
        // As many presets as there is room for.
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
