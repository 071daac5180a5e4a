//! A cut in a PDF: its outlines, widths, and what its glyphs mean (ISO 32000-1, 9.7 and 9.10.3).

use pdf_writer::types::{CidFontType, FontFlags, SystemInfo, UnicodeCmap};
use pdf_writer::{Filter, Finish, Name, Pdf, Rect, Ref, Str};
use read_fonts::types::Tag;
use read_fonts::{FontRef, TableProvider};
use subsetter::{GlyphRemapper, subset};

use super::{length, packed};
use crate::rig::card::CardError;
use crate::rig::card::typeset::{Cut, Glyph, Type};

/// Glyph numbers in the file are those of its own outlines (9.7.4.2).
const IDENTITY: SystemInfo<'_> = SystemInfo {
    registry: Str(b"Adobe"),
    ordering: Str(b"Identity"),
    supplement: 0,
};

/// Glyph numbers as UTF-16 (9.10.3).
const UNICODE: SystemInfo<'_> = SystemInfo {
    registry: Str(b"Adobe"),
    ordering: Str(b"UCS"),
    supplement: 0,
};

/// The glyphs of a cut that are in use.
#[derive(Default)]
pub struct Face {
    /// Their numbers in the typeface and in the file.
    numbers: GlyphRemapper,
    /// By their numbers in the file: their width, in shares of the type size, and the text they stand for. The first one
    /// is the sign for a missing character, which no text has.
    glyphs: Vec<(f64, String)>,
}

/// A glyph in the file.
pub struct Taken {
    /// Its number.
    pub number: u16,
    /// Its width, in shares of the type size.
    pub width: f64,
    /// Whether it stands for the text.
    pub tells: bool,
}

impl Face {
    /// Takes a glyph into use. `None` if the typeface doesn't have it.
    pub fn take(&mut self, glyph: &Glyph, text: &str, cut: Cut, set: &Type) -> Option<Taken> {
        if self.glyphs.is_empty() {
            self.glyphs.push((set.plain_width(0, cut)?, String::new()));
        }
        let number = self.numbers.remap(u16::try_from(glyph.id).ok()?);
        if usize::from(number) == self.glyphs.len() {
            self.glyphs.push((set.plain_width(glyph.id, cut)?, text.into()));
        }
        let (width, known) = self.glyphs.get(usize::from(number))?;
        Some(Taken {
            number,
            width: *width,
            tells: known == text,
        })
    }

    /// Whether nothing is set in this cut.
    pub fn is_empty(&self) -> bool {
        self.glyphs.is_empty()
    }

    /// Writes the font with the outlines in use.
    ///
    /// # Errors
    /// The cut's file can't be read, or a stream not be compressed.
    pub fn write(&self, cut: Cut, set: &Type, pdf: &mut Pdf, next: &mut Ref) -> Result<Ref, CardError> {
        let (font, descendant, descriptor) = (next.bump(), next.bump(), next.bump());
        let (program, meanings) = (next.bump(), next.bump());
        let file =
            subset(set.file(cut), 0, &self.numbers).map_err(|error| CardError::Pdf(error.to_string()))?;
        let outlines = FontRef::new(&file)
            .ok()
            .and_then(|file| file.table_data(Tag::new(b"CFF ")))
            .ok_or(CardError::Font)?;
        pdf.stream(program, &packed(outlines.as_bytes())?)
            .filter(Filter::FlateDecode)
            .pair(Name(b"Subtype"), Name(b"CIDFontType0C"));
        pdf.stream(meanings, &packed(&self.meanings())?)
            .filter(Filter::FlateDecode);

        let name = format!("{}+LibertinusSerif-{}", self.tag(), named(cut));
        pdf.type0_font(font)
            .base_font(Name(format!("{name}-Identity-H").as_bytes()))
            .encoding_predefined(Name(b"Identity-H"))
            .descendant_font(descendant)
            .to_unicode(meanings);
        let mut cid = pdf.cid_font(descendant);
        cid.subtype(CidFontType::Type0)
            .base_font(Name(name.as_bytes()))
            .system_info(IDENTITY)
            .font_descriptor(descriptor)
            .default_width(0.0);
        let widths = self.glyphs.iter().map(|(width, _)| length(1000.0 * width));
        cid.widths().consecutive(0, widths);
        cid.finish();
        self.describe(cut, set, pdf, descriptor, &name)
            .ok_or(CardError::Font)?
            .font_file3(program);
        Ok(font)
    }

    /// Begins the font's descriptor (9.8). `None` if the cut's file can't be read.
    fn describe<'p>(
        &self,
        cut: Cut,
        set: &Type,
        pdf: &'p mut Pdf,
        descriptor: Ref,
        name: &str,
    ) -> Option<pdf_writer::writers::FontDescriptor<'p>> {
        let font = set.font(cut);
        let (head, more) = (font.head().ok()?, font.os2().ok()?);
        let em = f64::from(head.units_per_em());
        let share = |units: i16| length(1000.0 * f64::from(units) / em);
        let (ascent, descent) = set.heights(cut);
        let slant = if cut == Cut::Italic {
            FontFlags::ITALIC
        } else {
            FontFlags::empty()
        };
        let mut written = pdf.font_descriptor(descriptor);
        written
            .name(Name(name.as_bytes()))
            .flags(FontFlags::SYMBOLIC | FontFlags::SERIF | slant)
            .bbox(Rect::new(
                share(head.x_min()),
                share(head.y_min()),
                share(head.x_max()),
                share(head.y_max()),
            ))
            .italic_angle(if cut == Cut::Italic { -12.0 } else { 0.0 })
            .ascent(length(1000.0 * ascent))
            .descent(length(-1000.0 * descent))
            .cap_height(share(more.s_cap_height()?))
            // Not in the typeface; viewers use it only without the outlines.
            .stem_v(if cut == Cut::Semibold { 110.0 } else { 80.0 });
        Some(written)
    }

    /// Six letters that tell this subset from others (9.6.4).
    fn tag(&self) -> String {
        // FNV-1a, 64 bits.
        let mut sum = self
            .numbers
            .remapped_gids()
            .flat_map(u16::to_be_bytes)
            .fold(0xcbf2_9ce4_8422_2325_u64, |sum, byte| {
                (sum ^ u64::from(byte)).wrapping_mul(0x100_0000_01b3)
            });
        let mut letter = || {
            let letter = char::from(b'A' + u8::try_from(sum % 26).unwrap_or(0));
            sum /= 26;
            letter
        };
        (0..6).map(|_| letter()).collect()
    }

    /// The map from glyphs to text.
    fn meanings(&self) -> Vec<u8> {
        let mut map = UnicodeCmap::new(Name(b"Adobe-Identity-UCS"), UNICODE);
        for (number, (_, text)) in (0_u16..).zip(&self.glyphs) {
            if !text.is_empty() {
                map.pair_with_multiple(number, text.chars());
            }
        }
        map.finish().into_vec()
    }
}

fn named(cut: Cut) -> &'static str {
    match cut {
        Cut::Regular => "Regular",
        Cut::Semibold => "Semibold",
        Cut::Italic => "Italic",
    }
}
