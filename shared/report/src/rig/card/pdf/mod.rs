//! The card as PDF (ISO 32000-1): one page, tagged, with the outlines that it uses.

mod face;

use std::io::Write;

use flate2::Compression;
use flate2::write::ZlibEncoder;
use pdf_writer::types::{ListNumbering, StructRole, TabOrder, TableHeaderScope};
use pdf_writer::writers::{StructElement, StructTreeRoot};
use pdf_writer::{Content, Filter, Finish, Name, Pdf, Rect, Ref, Settings, Str, TextStr};
use sumproof_core::dsp::numbers::{to_signed, to_single};

use super::CardError;
use super::sheet::{Block, Part, Role, SetLine, Sheet, Tone};
use super::typeset::{Cut, Glyph, Type};
use face::Face;

/// Every byte counts on a phone's network, and nobody reads the file as text.
const COMPACT: Settings = Settings { pretty: false };

/// Names of the cuts in the page's resources, in the order of [`Cut::ALL`].
const FONTS: [Name<'static>; 3] = [Name(b"F0"), Name(b"F1"), Name(b"F2")];

/// The bytes of the file.
///
/// # Errors
/// A built-in font can't be read, or a stream not be compressed.
pub fn file(sheet: &Sheet, title: &str, set: &Type) -> Result<Vec<u8>, CardError> {
    let (width, height) = sheet.paper.points();
    let mut next = Ref::new(1);
    let (catalogue, pages, page, root) = (next.bump(), next.bump(), next.bump(), next.bump());
    let mut pen = Pen {
        set,
        height,
        faces: Default::default(),
        drawn: Content::with_settings(COMPACT),
        marked: Vec::new(),
        page,
        pdf: Pdf::with_settings(COMPACT),
        next,
    };
    pen.strokes(sheet);
    let mut blocks = Vec::new();
    for block in &sheet.blocks {
        blocks.push(pen.block(block, root)?);
    }
    let Pen {
        faces,
        drawn,
        marked,
        mut pdf,
        mut next,
        ..
    } = pen;
    let mut fonts = Vec::new();
    for ((cut, face), name) in Cut::ALL.into_iter().zip(&faces).zip(FONTS) {
        if !face.is_empty() {
            fonts.push((name, face.write(cut, set, &mut pdf, &mut next)?));
        }
    }
    let (contents, parents) = (next.bump(), next.bump());
    pdf.stream(contents, &packed(&drawn.finish())?)
        .filter(Filter::FlateDecode);
    pdf.indirect(parents).array().items(marked);

    let mut tree = pdf.indirect(root).start::<StructTreeRoot<'_>>();
    tree.children().items(blocks);
    tree.parent_tree().nums().insert(0, parents);
    tree.parent_tree_next_key(1);
    tree.finish();

    let mut leaf = pdf.page(page);
    leaf.parent(pages)
        .media_box(Rect::new(0.0, 0.0, length(width), length(height)))
        .contents(contents)
        .struct_parents(0)
        .tab_order(TabOrder::StructureOrder);
    leaf.resources().fonts().pairs(fonts);
    leaf.finish();
    pdf.pages(pages).kids([page]).count(1);

    let mut whole = pdf.catalog(catalogue);
    whole.pages(pages).lang(TextStr("en"));
    whole.mark_info().marked(true);
    whole.pair(Name(b"StructTreeRoot"), root);
    whole.viewer_preferences().display_doc_title(true);
    whole.finish();
    pdf.document_info(next.bump()).title(TextStr(title));
    Ok(pdf.finish())
}

/// The colours of the printed page in `html`.
const INK: [u8; 3] = [0, 0, 0];
const SOFT: [u8; 3] = [0x3a, 0x38, 0x30];
const HAIRLINE: [u8; 3] = [0xa8, 0xa2, 0x95];

fn colour(parts: [u8; 3]) -> [f32; 3] {
    parts.map(|part| length(f64::from(part) / 255.0))
}

/// A number with at most three decimals: a thousandth of a point is finer than any printer.
fn length(value: f64) -> f32 {
    to_single((1000.0 * value).round() / 1000.0)
}

/// A stream's bytes, compressed.
fn packed(bytes: &[u8]) -> Result<Vec<u8>, CardError> {
    let mut packer = ZlibEncoder::new(Vec::new(), Compression::best());
    packer
        .write_all(bytes)
        .and_then(|()| packer.finish())
        .map_err(|error| CardError::Pdf(error.to_string()))
}

/// A child of an element.
enum Child {
    Element(Ref),
    /// A piece of the page's contents, by its number.
    Piece(i32),
}

/// Glyphs of a line at the same height.
struct Run {
    /// Height above the baseline, in shares of the type size.
    rise: f64,
    /// What the pen moves first, thousandths of the type size, and the glyphs' numbers.
    shown: Vec<(f64, Vec<u8>)>,
}

struct Pen<'t> {
    set: &'t Type,
    /// Height of the page: the sheet's lengths count downwards, a PDF's upwards.
    height: f64,
    faces: [Face; 3],
    /// The page's contents.
    drawn: Content,
    /// The element of each piece of marked contents.
    marked: Vec<Ref>,
    page: Ref,
    pdf: Pdf,
    next: Ref,
}

impl Pen<'_> {
    fn strokes(&mut self, sheet: &Sheet) {
        // Rules mean nothing to a reader who doesn't see them (14.8.2.2).
        self.drawn.begin_marked_content(Name(b"Artifact"));
        for stroke in &sheet.strokes {
            let [red, green, blue] = colour(if stroke.strong { INK } else { HAIRLINE });
            self.drawn
                .set_stroke_rgb(red, green, blue)
                .set_line_width(length(stroke.width))
                .move_to(length(stroke.from.0), length(self.height - stroke.from.1))
                .line_to(length(stroke.to.0), length(self.height - stroke.to.1))
                .stroke();
        }
        self.drawn.end_marked_content();
    }

    /// Draws a block and writes its element (14.7.2 and 14.8.4).
    fn block(&mut self, block: &Block, parent: Ref) -> Result<Ref, CardError> {
        let element = self.next.bump();
        // A list's entry holds its text in a body of its own.
        let body = (block.role == Role::Entry).then(|| self.next.bump());
        let mut children = Vec::new();
        for part in &block.parts {
            children.push(match part {
                Part::Block(block) => Child::Element(self.block(block, element)?),
                Part::Line(line) => {
                    let piece = to_signed(self.marked.len());
                    self.line(line, piece)?;
                    self.marked.push(body.unwrap_or(element));
                    Child::Piece(piece)
                }
            });
        }
        if let Some(body) = body {
            let written = self.pdf.struct_element(body);
            finish(written, StructRole::LBody, element, self.page, &children);
            children = vec![Child::Element(body)];
        }
        let mut written = self.pdf.struct_element(element);
        let role = match block.role {
            Role::Title => StructRole::H1,
            Role::Heading => StructRole::H2,
            Role::Paragraph => StructRole::P,
            Role::Table => StructRole::Table,
            Role::Row => StructRole::TR,
            Role::Head => {
                let mut all = written.attributes();
                all.push().table().scope(TableHeaderScope::Both);
                StructRole::TH
            }
            Role::Cell => StructRole::TD,
            Role::Wide => {
                written.attributes().push().table().col_span(2);
                StructRole::TD
            }
            Role::Numbered => {
                let mut all = written.attributes();
                all.push().list().list_numbering(ListNumbering::Decimal);
                StructRole::L
            }
            Role::List => {
                let mut all = written.attributes();
                all.push().list().list_numbering(ListNumbering::None);
                StructRole::L
            }
            Role::Entry => StructRole::LI,
            Role::Section => StructRole::Sect,
        };
        finish(written, role, parent, self.page, &children);
        Ok(element)
    }

    fn line(&mut self, line: &SetLine, piece: i32) -> Result<(), CardError> {
        // A space at the end, so that a screen reader separates the last word from the next line.
        let words = format!("{} ", line.text);
        let (runs, told) = self.runs(&words, line.cut)?;
        let mut span = self.drawn.begin_marked_content_with_properties(Name(b"Span"));
        let mut properties = span.properties();
        properties.identify(piece);
        if !told {
            // The whole line's text where its glyphs don't tell it (14.9.4).
            properties.actual_text(TextStr(&words));
        }
        properties.finish();
        span.finish();
        let [red, green, blue] = colour(match line.tone {
            Tone::Ink => INK,
            Tone::Soft => SOFT,
        });
        self.drawn
            .begin_text()
            .set_font(FONTS[line.cut.index()], length(line.size))
            .set_fill_rgb(red, green, blue)
            .next_line(length(line.x), length(self.height - line.y));
        let mut rise = 0.0;
        for run in &runs {
            if run.rise != rise {
                rise = run.rise;
                self.drawn.set_rise(length(rise * line.size));
            }
            let mut operation = self.drawn.show_positioned();
            let mut items = operation.items();
            for (moved, glyphs) in &run.shown {
                if *moved != 0.0 {
                    items.adjust(length(-moved));
                }
                items.show(Str(glyphs));
            }
        }
        if rise != 0.0 {
            self.drawn.set_rise(0.0);
        }
        self.drawn.end_text().end_marked_content();
        Ok(())
    }

    /// The glyphs of a text, and whether they tell all of it.
    fn runs(&mut self, words: &str, cut: Cut) -> Result<(Vec<Run>, bool), CardError> {
        let glyphs = self.set.shape(words, cut);
        let face = &mut self.faces[cut.index()];
        let mut runs: Vec<Run> = Vec::new();
        // What the pen moves besides the glyphs' widths.
        let mut due = 0.0;
        let mut told = true;
        for (index, glyph) in glyphs.iter().enumerate() {
            let same = |other: &&Glyph| other.cluster == glyph.cluster;
            let before = glyphs[..index].iter().rev().take_while(same).count();
            let after = glyphs[index + 1..].iter().take_while(same).count();
            let end = glyphs
                .get(index + 1 + after)
                .map_or(words.len(), |next| next.cluster);
            let text = words.get(glyph.cluster..end).unwrap_or("");
            // Of several glyphs for one text, such as a letter and its accent, none tells all of it.
            let one = before + after == 0;
            let part = text.chars().nth(before).map(String::from).unwrap_or_default();
            let taken = face
                .take(glyph, if one { text } else { &part }, cut, self.set)
                .ok_or(CardError::Font)?;
            told &= one && taken.tells && !text.is_empty();
            let rise = f64::from(glyph.offset.1);
            due += 1000.0 * f64::from(glyph.offset.0);
            let moves = due.abs() > 0.5;
            let run = match runs.last_mut() {
                Some(run) if (rise - run.rise).abs() <= 5e-4 => run,
                _ => {
                    runs.push(Run {
                        rise,
                        shown: Vec::new(),
                    });
                    let last = runs.len() - 1;
                    &mut runs[last]
                }
            };
            match run.shown.last_mut() {
                Some((_, numbers)) if !moves => numbers.extend(taken.number.to_be_bytes()),
                _ => {
                    let moved = if moves { std::mem::take(&mut due) } else { 0.0 };
                    run.shown.push((moved, taken.number.to_be_bytes().into()));
                }
            }
            due += 1000.0 * (f64::from(glyph.advance) - taken.width - f64::from(glyph.offset.0));
        }
        Ok((runs, told))
    }
}

/// Writes what every element has.
fn finish(mut element: StructElement<'_>, role: StructRole, parent: Ref, page: Ref, children: &[Child]) {
    element.kind(role).parent(parent).page(page);
    let mut written = element.children();
    for child in children {
        match child {
            Child::Element(element) => written.struct_element(*element),
            Child::Piece(piece) => written.marked_content_id(*piece),
        };
    }
}
