//! The card as PDF: one page, tagged, its fonts embedded.

use core::num::{NonZeroU16, NonZeroU32};

use krilla::Document;
use krilla::color::rgb;
use krilla::geom::{PathBuilder, Point};
use krilla::metadata::Metadata;
use krilla::page::PageSettings;
use krilla::paint::{Fill, Stroke as PdfStroke};
use krilla::surface::Surface;
use krilla::tagging::{
    ArtifactType, ContentTag, ListNumbering, SpanTag, TableHeaderScope, Tag, TagGroup, TagKind, TagTree,
};
use krilla::text::{Font, GlyphId, KrillaGlyph};
use sumproof_core::dsp::numbers::to_single;

use super::CardError;
use super::sheet::{Block, Part, Role, Sheet, Tone};
use super::typeset::{Cut, Type};

/// The bytes of the file.
///
/// # Errors
/// The PDF writer rejects the page.
pub fn file(sheet: &Sheet, title: &str, set: &Type) -> Result<Vec<u8>, CardError> {
    let refused = |why: &str| CardError::Pdf(why.into());
    let fonts = Cut::ALL.map(|cut| Font::new(cut.file().into(), 0));
    let [Some(regular), Some(semibold), Some(italic)] = fonts else {
        return Err(refused("a font can't be read"));
    };
    let pen = Pen {
        set,
        fonts: [regular, semibold, italic],
    };
    let (width, height) = sheet.paper.points();
    let settings = PageSettings::from_wh(to_single(width), to_single(height))
        .ok_or_else(|| refused("the paper has no size"))?;
    let mut document = Document::new();
    document.set_metadata(Metadata::new().title(title.into()).language("en".into()));
    let mut page = document.start_page_with(settings);
    let mut surface = page.surface();
    surface.start_tagged(ContentTag::Artifact(krilla::tagging::Artifact::with_kind(
        ArtifactType::Other,
    )));
    for stroke in &sheet.strokes {
        let mut path = PathBuilder::new();
        path.move_to(to_single(stroke.from.0), to_single(stroke.from.1));
        path.line_to(to_single(stroke.to.0), to_single(stroke.to.1));
        let grey = if stroke.strong { INK } else { HAIRLINE };
        surface.set_fill(None);
        surface.set_stroke(Some(PdfStroke {
            paint: colour(grey).into(),
            width: to_single(stroke.width),
            ..PdfStroke::default()
        }));
        if let Some(path) = path.finish() {
            surface.draw_path(&path);
        }
    }
    surface.end_tagged();
    surface.set_stroke(None);
    let mut tree = TagTree::new();
    for block in &sheet.blocks {
        tree.push(pen.block(block, &mut surface));
    }
    surface.finish();
    page.finish();
    document.set_tag_tree(tree);
    document
        .finish()
        .map_err(|error| CardError::Pdf(format!("{error:?}")))
}

/// The colours of the printed page in `html`.
const INK: [u8; 3] = [0, 0, 0];
const SOFT: [u8; 3] = [0x3a, 0x38, 0x30];
const HAIRLINE: [u8; 3] = [0xa8, 0xa2, 0x95];

fn colour([red, green, blue]: [u8; 3]) -> rgb::Color {
    rgb::Color::new(red, green, blue)
}

struct Pen<'t> {
    set: &'t Type,
    fonts: [Font; 3],
}

impl Pen<'_> {
    fn block(&self, block: &Block, surface: &mut Surface<'_>) -> TagGroup {
        let tag: TagKind = match block.role {
            Role::Title => Tag::Hn(NonZeroU16::MIN, None).into(),
            Role::Heading => Tag::Hn(NonZeroU16::MIN.saturating_add(1), None).into(),
            Role::Paragraph => Tag::P.into(),
            Role::Table => Tag::Table.into(),
            Role::Row => Tag::TR.into(),
            Role::Head => Tag::TH(TableHeaderScope::Both).into(),
            Role::Cell => Tag::TD.into(),
            Role::Wide => Tag::TD.with_col_span(NonZeroU32::new(2)).into(),
            Role::Numbered => Tag::L(ListNumbering::Decimal).into(),
            Role::List => Tag::L(ListNumbering::None).into(),
            Role::Entry => Tag::LI.into(),
            Role::Section => Tag::Section.into(),
        };
        let mut group = TagGroup::new(tag);
        // A list's entry holds its text in a body of its own.
        let mut inner = (block.role == Role::Entry).then(|| TagGroup::new(Tag::LBody));
        for part in &block.parts {
            match part {
                Part::Block(block) => group.push(self.block(block, surface)),
                Part::Line(line) => {
                    let id = surface.start_tagged(ContentTag::Span(SpanTag::empty()));
                    self.line(line, surface);
                    surface.end_tagged();
                    inner.as_mut().unwrap_or(&mut group).push(id);
                }
            }
        }
        if let Some(inner) = inner {
            group.push(inner);
        }
        group
    }

    fn line(&self, line: &super::sheet::SetLine, surface: &mut Surface<'_>) {
        let font = &self.fonts[line.cut.index()];
        // A space at the end, so that a screen reader separates the last word from the next line.
        let text = format!("{} ", line.text);
        let shaped = self.set.shape(&text, line.cut);
        let ends = shaped
            .iter()
            .skip(1)
            .map(|glyph| glyph.cluster)
            .chain([text.len()]);
        let glyphs: Vec<KrillaGlyph> = shaped
            .iter()
            .zip(ends)
            .map(|(glyph, end)| {
                KrillaGlyph::new(
                    GlyphId::new(glyph.id),
                    glyph.advance,
                    glyph.offset.0,
                    glyph.offset.1,
                    0.0,
                    glyph.cluster..end.max(glyph.cluster),
                    None,
                )
            })
            .collect();
        let ink = match line.tone {
            Tone::Ink => INK,
            Tone::Soft => SOFT,
        };
        surface.set_fill(Some(Fill {
            paint: colour(ink).into(),
            ..Fill::default()
        }));
        let start = Point::from_xy(to_single(line.x), to_single(line.y));
        surface.draw_glyphs(start, &glyphs, font.clone(), &text, to_single(line.size), false);
    }
}
