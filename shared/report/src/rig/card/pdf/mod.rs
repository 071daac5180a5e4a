//! The card as PDF (ISO 32000-1): one page, tagged, with the outlines that it uses.

mod face;
mod file;

use std::fmt::Write;

use super::CardError;
use super::sheet::{Block, Part, Role, SetLine, Sheet, Tone};
use super::typeset::{Cut, Glyph, Type};
use face::Face;
use file::{Objects, Ref, number, text};

/// The bytes of the file.
///
/// # Errors
/// A built-in font can't be read, or a stream not be compressed.
pub fn file(sheet: &Sheet, title: &str, set: &Type) -> Result<Vec<u8>, CardError> {
    let (width, height) = sheet.paper.points();
    let mut objects = Objects::default();
    let (catalogue, pages, page, root) = (objects.take(), objects.take(), objects.take(), objects.take());
    let mut pen = Pen {
        set,
        height,
        faces: Default::default(),
        drawn: String::new(),
        marked: Vec::new(),
        page,
        objects,
    };
    // Rules mean nothing to a reader who doesn't see them (14.8.2.2).
    pen.drawn.push_str("/Artifact BMC\n");
    for stroke in &sheet.strokes {
        let grey = if stroke.strong { INK } else { HAIRLINE };
        let _ = writeln!(
            pen.drawn,
            "{} RG {} w {} {} m {} {} l S",
            colour(grey),
            number(stroke.width),
            number(stroke.from.0),
            number(height - stroke.from.1),
            number(stroke.to.0),
            number(height - stroke.to.1)
        );
    }
    pen.drawn.push_str("EMC\n");
    let blocks: Vec<Ref> = sheet.blocks.iter().map(|block| pen.block(block, root)).collect();
    let Pen {
        faces,
        drawn,
        marked,
        mut objects,
        ..
    } = pen;
    let mut fonts = String::new();
    for (cut, face) in Cut::ALL.into_iter().zip(&faces) {
        if !face.is_empty() {
            let font = face.write(cut, set, &mut objects).ok_or(CardError::Font)?;
            let _ = write!(fonts, "/F{} {font}", cut.index());
        }
    }
    let contents = objects
        .stream("", drawn.as_bytes())
        .map_err(|error| CardError::Pdf(error.to_string()))?;
    let parents = objects.add(format!("<</Nums[0[{}]]>>", listed(&marked)));
    objects.set(
        root,
        format!(
            "<</Type/StructTreeRoot/K[{}]/ParentTree {parents}/ParentTreeNextKey 1>>",
            listed(&blocks)
        ),
    );
    objects.set(
        page,
        format!(
            "<</Type/Page/Parent {pages}/MediaBox[0 0 {} {}]/Resources<</Font<<{fonts}>>>>/Contents {contents}/StructParents \
             0/Tabs/S>>",
            number(width),
            number(height)
        ),
    );
    objects.set(pages, format!("<</Type/Pages/Kids[{page}]/Count 1>>"));
    objects.set(
        catalogue,
        format!(
            "<</Type/Catalog/Pages {pages}/Lang(en)/MarkInfo<</Marked true>>/StructTreeRoot {root}/ViewerPreferences<</DisplayDocTitle \
             true>>>>"
        ),
    );
    let information = objects.add(format!("<</Title{}>>", text(title)));
    Ok(objects.file(catalogue, information))
}

/// The colours of the printed page in `html`.
const INK: [u8; 3] = [0, 0, 0];
const SOFT: [u8; 3] = [0x3a, 0x38, 0x30];
const HAIRLINE: [u8; 3] = [0xa8, 0xa2, 0x95];

fn colour(parts: [u8; 3]) -> String {
    parts.map(|part| number(f64::from(part) / 255.0)).join(" ")
}

fn listed(objects: &[Ref]) -> String {
    objects.iter().map(Ref::to_string).collect::<Vec<_>>().join(" ")
}

struct Pen<'t> {
    set: &'t Type,
    /// Height of the page: the sheet's lengths count downwards, a PDF's upwards.
    height: f64,
    faces: [Face; 3],
    /// The page's contents.
    drawn: String,
    /// The element of each piece of marked contents.
    marked: Vec<Ref>,
    page: Ref,
    objects: Objects,
}

impl Pen<'_> {
    /// Draws a block and writes its element (14.7.2 and 14.8.4).
    fn block(&mut self, block: &Block, parent: Ref) -> Ref {
        let (kind, attributes) = match block.role {
            Role::Title => ("H1", ""),
            Role::Heading => ("H2", ""),
            Role::Paragraph => ("P", ""),
            Role::Table => ("Table", ""),
            Role::Row => ("TR", ""),
            Role::Head => ("TH", "/A<</O/Table/Scope/Both>>"),
            Role::Cell => ("TD", ""),
            Role::Wide => ("TD", "/A<</O/Table/ColSpan 2>>"),
            Role::Numbered => ("L", "/A<</O/List/ListNumbering/Decimal>>"),
            Role::List => ("L", "/A<</O/List/ListNumbering/None>>"),
            Role::Entry => ("LI", ""),
            Role::Section => ("Sect", ""),
        };
        let element = self.objects.take();
        // A list's entry holds its text in a body of its own.
        let body = (block.role == Role::Entry).then(|| self.objects.take());
        let mut children = Vec::new();
        for part in &block.parts {
            match part {
                Part::Block(block) => children.push(self.block(block, element).to_string()),
                Part::Line(line) => {
                    children.push(self.marked.len().to_string());
                    self.line(line);
                    self.marked.push(body.unwrap_or(element));
                }
            }
        }
        let mut children = children.join(" ");
        let page = self.page;
        if let Some(body) = body {
            self.objects.set(
                body,
                format!("<</Type/StructElem/S/LBody/P {element}/Pg {page}/K[{children}]>>"),
            );
            children = body.to_string();
        }
        self.objects.set(
            element,
            format!("<</Type/StructElem/S/{kind}/P {parent}/Pg {page}{attributes}/K[{children}]>>"),
        );
        element
    }

    fn line(&mut self, line: &SetLine) {
        // A space at the end, so that a screen reader separates the last word from the next line.
        let words = format!("{} ", line.text);
        let glyphs = self.set.shape(&words, line.cut);
        let face = &mut self.faces[line.cut.index()];
        let mut shown = String::from("[<");
        // What the pen moves besides the glyphs' widths, thousandths of the size; and its height above the baseline.
        let mut due = 0.0;
        let mut rise = 0.0;
        // Whether every glyph tells its own text.
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
            let (width, same) = face.take(glyph, if one { text } else { &part }, line.cut, self.set);
            told &= one && same && !text.is_empty();
            if (f64::from(glyph.offset.1) - rise).abs() > 5e-4 {
                rise = f64::from(glyph.offset.1);
                let _ = write!(shown, ">]TJ {} Ts[<", number(rise * line.size));
            }
            due += 1000.0 * f64::from(glyph.offset.0);
            if due.abs() > 0.5 {
                let _ = write!(shown, ">{}<", number(-due));
                due = 0.0;
            }
            let _ = write!(shown, "{:04X}", glyph.id);
            due += 1000.0 * (f64::from(glyph.advance) - width - f64::from(glyph.offset.0));
        }
        shown.push_str(">]TJ");
        if rise != 0.0 {
            shown.push_str(" 0 Ts");
        }
        let ink = match line.tone {
            Tone::Ink => INK,
            Tone::Soft => SOFT,
        };
        // The whole line's text where its glyphs don't tell it (14.9.4).
        let actual = if told {
            String::new()
        } else {
            format!("/ActualText{}", text(&words))
        };
        let _ = writeln!(
            self.drawn,
            "/Span<</MCID {}{actual}>>BDC BT /F{} {} Tf {} rg {} {} Td {shown} ET EMC",
            self.marked.len(),
            line.cut.index(),
            number(line.size),
            colour(ink),
            number(line.x),
            number(self.height - line.y)
        );
    }
}
