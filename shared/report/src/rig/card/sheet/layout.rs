//! Lays out a card on a sheet: its parts from top to bottom, each measured as it is placed.

use sumproof_core::score::outcome::Outcome;

use super::{Block, MARGIN, Part, Role, SetLine, Sheet, Stroke, Tone};
use crate::rig::card::Paper;
use crate::rig::card::content::{Card, FIRST, OWN_ROWS};
use crate::rig::card::typeset::{Cut, Type};

/// A style of text.
#[derive(Clone, Copy)]
struct Style {
    size: f64,
    cut: Cut,
    tone: Tone,
}

const TITLE: Style = Style {
    size: 25.0,
    cut: Cut::Semibold,
    tone: Tone::Ink,
};
const HEADING: Style = Style {
    size: 13.0,
    cut: Cut::Semibold,
    tone: Tone::Ink,
};
const BODY: Style = Style {
    size: 11.25,
    cut: Cut::Regular,
    tone: Tone::Ink,
};
const STRONG: Style = Style {
    cut: Cut::Semibold,
    ..BODY
};
const LABEL: Style = Style {
    cut: Cut::Italic,
    tone: Tone::Soft,
    ..BODY
};

/// Baseline to baseline, in shares of the size.
const LEADING: f64 = 1.18;

/// A page being laid out.
pub(super) struct Layout<'t> {
    set: &'t Type,
    scale: f64,
    left: f64,
    right: f64,
    y: f64,
    sheet: Sheet,
}

impl<'t> Layout<'t> {
    /// An empty page, with its type scaled by `scale`.
    pub(super) fn new(paper: Paper, scale: f64, set: &'t Type) -> Self {
        let (width, _) = paper.points();
        Self {
            set,
            scale,
            left: MARGIN,
            right: width - MARGIN,
            y: MARGIN,
            sheet: Sheet {
                paper,
                blocks: Vec::new(),
                strokes: Vec::new(),
                scale,
                unnamed: 0,
                bottom: MARGIN,
            },
        }
    }

    /// Lays out the whole card, with that many presets at risk named.
    pub(super) fn all(mut self, card: &Card, named: usize) -> Sheet {
        self.head(card);
        self.lines(card);
        self.two_columns(card);
        self.never(card);
        self.at_risk(card, named);
        self.cautions(card);
        self.sheet.bottom = self.y;
        self.sheet
    }

    /// Adds vertical space, which scales with the type.
    fn space(&mut self, points: f64) {
        self.y += points * self.scale;
    }

    fn rule(&mut self, strong: bool) {
        self.sheet.strokes.push(Stroke {
            from: (self.left, self.y),
            to: (self.right, self.y),
            width: if strong { 1.0 } else { 0.5 },
            strong,
        });
    }

    /// Sets a text downwards from `self.y`, between `x` and `x + width`; moves `self.y` below it.
    fn text(&mut self, text: &str, style: Style, x: f64, width: f64) -> Vec<Part> {
        let size = style.size * self.scale;
        let (ascent, descent) = self.set.heights(style.cut);
        // The lines' box is centred in the leading.
        let lead = (LEADING - (ascent + descent)) / 2.0;
        self.set
            .lines(text, style.cut, size, width)
            .into_iter()
            .map(|text| {
                let line = SetLine {
                    x,
                    y: self.y + (lead + ascent) * size,
                    size,
                    cut: style.cut,
                    tone: style.tone,
                    text,
                };
                self.y += LEADING * size;
                Part::Line(line)
            })
            .collect()
    }

    fn block(&mut self, role: Role, text: &str, style: Style, x: f64, width: f64) -> Block {
        let parts = self.text(text, style, x, width);
        Block { role, parts }
    }

    fn width(&self) -> f64 {
        self.right - self.left
    }

    fn head(&mut self, card: &Card) {
        let title = self.block(Role::Title, FIRST, TITLE, self.left, self.width());
        self.sheet.blocks.push(title);
        self.space(4.0);
        self.labelled(&card.who, [0.46, 0.29, 0.25]);
        self.space(2.0);
        let send = self.block(Role::Paragraph, &card.send, STRONG, self.left, self.width());
        self.sheet.blocks.push(send);
        if !card.rig.is_empty() {
            let rig = self.block(Role::Paragraph, &card.rig, BODY, self.left, self.width());
            self.sheet.blocks.push(rig);
        }
        self.space(6.0);
    }

    /// Sets texts after their labels, side by side.
    fn labelled(&mut self, texts: &[[String; 2]], shares: [f64; 3]) {
        let gap = 10.0;
        let mut x = self.left;
        let mut cells = Vec::new();
        let said: Vec<String> = texts
            .iter()
            .map(|[label, text]| format!("{label}: {text}"))
            .collect();
        for (text, share) in said.iter().zip(shares) {
            let width = share * self.width();
            cells.push((Role::Cell, text.as_str(), BODY, x, width - gap));
            x += width;
        }
        let row = self.row(&cells);
        self.sheet.blocks.push(Block {
            role: Role::Table,
            parts: vec![Part::Block(row)],
        });
    }

    /// A row of cells side by side, each with its role, style, position and width; as high as its highest cell.
    fn row(&mut self, cells: &[(Role, &str, Style, f64, f64)]) -> Block {
        let top = self.y;
        let mut bottom = top;
        let mut parts = Vec::new();
        for &(role, text, style, x, width) in cells {
            self.y = top;
            parts.push(Part::Block(self.block(role, text, style, x, width)));
            bottom = bottom.max(self.y);
        }
        self.y = bottom;
        Block {
            role: Role::Row,
            parts,
        }
    }

    fn lines(&mut self, card: &Card) {
        self.rule(true);
        self.space(3.0);
        let gap = 12.0;
        let label = 0.24 * self.width();
        let cell = (self.width() - label) / 2.0;
        let (first, second) = (self.left + label, self.left + label + cell);
        let mut rows = vec![self.row(&[
            (Role::Head, "", LABEL, self.left, label - gap),
            (Role::Head, "Left line", HEADING, first, cell - gap),
            (Role::Head, "Right line", HEADING, second, cell - gap),
        ])];
        self.space(1.2);
        for (index, [name, left, right]) in card.rows.iter().enumerate() {
            if index > 0 {
                self.rule(false);
            }
            self.space(0.7);
            let own = OWN_ROWS.contains(&name.as_str());
            let style = |text: &str| {
                // Must not be overlooked.
                if !own
                    && ["YES", "NO:", "FLIPPED"]
                        .iter()
                        .any(|word| text.starts_with(word))
                {
                    STRONG
                } else {
                    BODY
                }
            };
            let head = (Role::Head, name.as_str(), LABEL, self.left, label - gap);
            rows.push(if left == right {
                self.row(&[head, (Role::Wide, left, style(left), first, 2.0 * cell - gap)])
            } else {
                self.row(&[
                    head,
                    (Role::Cell, left, style(left), first, cell - gap),
                    (Role::Cell, right, style(right), second, cell - gap),
                ])
            });
            self.space(0.7);
        }
        self.sheet.blocks.push(Block {
            role: Role::Table,
            parts: rows.into_iter().map(Part::Block).collect(),
        });
        self.space(3.0);
        self.labelled(&card.stage, [0.42, 0.29, 0.29]);
        if !card.differs.is_empty() {
            self.space(2.0);
            let differs = self.block(Role::Paragraph, &card.differs, STRONG, self.left, self.width());
            self.sheet.blocks.push(differs);
        }
        self.space(4.0);
        self.rule(true);
        self.space(4.0);
    }

    /// The test on the left; the use of one line, and the notes, on the right.
    fn two_columns(&mut self, card: &Card) {
        let gap = 22.0;
        let column = (self.width() - gap) / 2.0;
        let top = self.y;
        let (left, right) = (self.left, self.left + column + gap);
        let heading = self.block(
            Role::Heading,
            "30 seconds at the sound check",
            HEADING,
            left,
            column,
        );
        let steps = self.list(Role::Numbered, &card.test, left, column);
        self.sheet.blocks.push(section(vec![heading, steps]));
        let lowest = self.y;
        self.y = top;
        let heading = self.block(Role::Heading, "If only one line fits", HEADING, right, column);
        let said = self.block(Role::Paragraph, &card.one_line, BODY, right, column);
        self.sheet.blocks.push(section(vec![heading, said]));
        if !card.notes.is_empty() {
            self.space(4.0);
            let heading = self.block(Role::Heading, "Good to know", HEADING, right, column);
            let notes = self.list(Role::List, &card.notes, right, column);
            self.sheet.blocks.push(section(vec![heading, notes]));
        }
        self.y = self.y.max(lowest);
        self.space(4.0);
        self.rule(true);
        self.space(4.0);
    }

    fn list(&mut self, role: Role, texts: &[String], x: f64, width: f64) -> Block {
        let indent = 14.0 * self.scale;
        let mut parts = Vec::new();
        for (index, text) in texts.iter().enumerate() {
            let top = self.y;
            let mark = if role == Role::Numbered {
                format!("{}.", index + 1)
            } else {
                "–".into()
            };
            let mut entry = self.text(&mark, LABEL, x, indent);
            self.y = top;
            entry.extend(self.text(text, BODY, x + indent, width - indent));
            parts.push(Part::Block(Block {
                role: Role::Entry,
                parts: entry,
            }));
            self.space(1.2);
        }
        Block { role, parts }
    }

    fn never(&mut self, card: &Card) {
        let gap = 12.0;
        let widths = [0.28, 0.36, 0.36].map(|share| share * self.width());
        let x = [
            self.left,
            self.left + widths[0],
            self.left + widths[0] + widths[1],
        ];
        let heading = self.block(
            Role::Heading,
            "Where my two lines are added: what must not happen, and how it sounds",
            HEADING,
            self.left,
            self.width(),
        );
        self.space(1.0);
        let mut rows = vec![self.row(&[
            (Role::Head, "You hear", LABEL, x[0], widths[0] - gap),
            (Role::Head, "Because", LABEL, x[1], widths[1] - gap),
            (Role::Head, "Do", LABEL, x[2], widths[2]),
        ])];
        for [heard, because, then] in &card.never {
            self.rule(false);
            self.space(0.7);
            rows.push(self.row(&[
                (Role::Head, heard, STRONG, x[0], widths[0] - gap),
                (Role::Cell, because, BODY, x[1], widths[1] - gap),
                (Role::Cell, then, BODY, x[2], widths[2]),
            ]));
            self.space(0.7);
        }
        let table = Block {
            role: Role::Table,
            parts: rows.into_iter().map(Part::Block).collect(),
        };
        self.sheet.blocks.push(section(vec![heading, table]));
        self.space(4.0);
        self.rule(true);
        self.space(4.0);
    }

    fn at_risk(&mut self, card: &Card, named: usize) {
        if card.at_risk.is_empty() && card.faults.is_empty() {
            return;
        }
        let mut blocks = vec![self.block(Role::Heading, "Presets at risk", HEADING, self.left, self.width())];
        if !card.faults.is_empty() {
            let faults = capital(&card.faults);
            blocks.push(self.block(Role::Paragraph, &faults, BODY, self.left, self.width()));
            self.space(1.2);
        }
        self.sheet.unnamed = card.at_risk.len() - named;
        let shown = &card.at_risk[..named];
        let gap = 22.0;
        let column = (self.width() - gap) / 2.0;
        let mark = 20.0 * self.scale;
        let mut entries = Vec::new();
        // Row by row, so that the two worst are at the top.
        for pair in shown.chunks(2) {
            let top = self.y;
            let mut bottom = top;
            for (index, risk) in pair.iter().enumerate() {
                self.y = top;
                let x = self.left + index as f64 * (column + gap);
                self.mark(risk.outcome, x);
                let entry = self.block(Role::Entry, &risk.text, BODY, x + mark, column - mark);
                entries.push(Part::Block(entry));
                bottom = bottom.max(self.y);
            }
            self.y = bottom;
        }
        if !entries.is_empty() {
            blocks.push(Block {
                role: Role::List,
                parts: entries,
            });
        }
        if self.sheet.unnamed > 0 {
            let more = format!("and {} more: ask me for the list.", self.sheet.unnamed);
            blocks.push(self.block(Role::Paragraph, &more, LABEL, self.left, self.width()));
        }
        self.sheet.blocks.push(section(blocks));
        self.space(4.0);
        self.rule(true);
        self.space(4.0);
    }

    /// The stroke of an outcome: unbroken, dashed, or cut in the middle.
    fn mark(&mut self, outcome: Option<Outcome>, x: f64) {
        let length = 14.0 * self.scale;
        // The middle of the x-height of the line that follows.
        let size = BODY.size * self.scale;
        let (ascent, descent) = self.set.heights(BODY.cut);
        let y = self.y + ((LEADING - (ascent + descent)) / 2.0 + ascent - 0.21) * size;
        let pieces: &[(f64, f64)] = match outcome {
            // A preset that the player named himself has no outcome: a dot.
            None => &[(0.42, 0.58)],
            Some(Outcome::Holds) => &[(0.0, 1.0)],
            Some(Outcome::Thins) => &[(0.0, 0.24), (0.38, 0.62), (0.76, 1.0)],
            Some(Outcome::DropsOut) => &[(0.0, 0.3), (0.7, 1.0)],
        };
        for &(from, to) in pieces {
            self.sheet.strokes.push(Stroke {
                from: (x + from * length, y),
                to: (x + to * length, y),
                width: 1.4 * self.scale,
                strong: true,
            });
        }
    }

    fn cautions(&mut self, card: &Card) {
        let heading = self.block(Role::Heading, "Take care", HEADING, self.left, self.width());
        let list = self.list(Role::List, &card.cautions, self.left, self.width());
        self.sheet.blocks.push(section(vec![heading, list]));
    }
}

fn section(blocks: Vec<Block>) -> Block {
    Block {
        role: Role::Section,
        parts: blocks.into_iter().map(Part::Block).collect(),
    }
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(chars).chain(['.']).collect()
    })
}
