//! A cut in a PDF: its outlines, widths, and what its glyphs mean (ISO 32000-1, 9.7 and 9.10.3).

use std::collections::{BTreeMap, BTreeSet};

use sumproof_fonts::outlines;

use super::file::{Objects, Ref, number, utf16};
use crate::rig::card::typeset::{Cut, Glyph, Type};

/// The glyphs of a cut that are in use.
#[derive(Default)]
pub struct Face {
    /// By their numbers: their width, in shares of the type size, and the text they stand for.
    glyphs: BTreeMap<u32, (f64, String)>,
}

impl Face {
    /// Takes a glyph into use. Returns the width it has in the file, and whether it stands for this text there.
    pub fn take(&mut self, glyph: &Glyph, text: &str, cut: Cut, set: &Type) -> (f64, bool) {
        let (width, known) = self.glyphs.entry(glyph.id).or_insert_with(|| {
            let plain = set.plain_width(glyph.id, cut);
            (plain.unwrap_or(f64::from(glyph.advance)), text.into())
        });
        (*width, known == text)
    }

    /// Whether nothing is set in this cut.
    pub fn is_empty(&self) -> bool {
        self.glyphs.is_empty()
    }

    /// Writes the font with the outlines in use. `None` if the cut's file isn't OpenType with CFF.
    pub fn write(&self, cut: Cut, set: &Type, objects: &mut Objects) -> Option<Ref> {
        let file = set.file(cut);
        let mut outlines = file.get(outlines::table(file, b"CFF ")?)?.to_vec();
        let kept: BTreeSet<u32> = self.glyphs.keys().copied().chain([0]).collect();
        outlines::keep_only(&mut outlines, &kept)?;
        let program = objects.stream("/Subtype/CIDFontType0C", &outlines).ok()?;
        let name = format!("{}+LibertinusSerif-{}", self.tag(), named(cut));
        let head = file.get(outlines::table(file, b"head")?)?;
        let em = f64::from(signed(head, 18)?);
        let corner = |at| Some(number(f64::from(signed(head, at)?) * 1000.0 / em));
        let corners = [corner(36)?, corner(38)?, corner(40)?, corner(42)?].join(" ");
        let capitals = file
            .get(outlines::table(file, b"OS/2")?)
            .and_then(|table| signed(table, 88))?;
        let (ascent, descent) = set.heights(cut);
        // Symbolic, with serifs, slanted (table 123).
        let flags = 4 | 2 | if cut == Cut::Italic { 64 } else { 0 };
        let descriptor = objects.add(format!(
            "<</Type/FontDescriptor/FontName/{name}/Flags {flags}/FontBBox[{corners}]/ItalicAngle {}/Ascent {}/Descent \
             {}/CapHeight {}/StemV {}/FontFile3 {program}>>",
            if cut == Cut::Italic { -12 } else { 0 },
            number(1000.0 * ascent),
            number(-1000.0 * descent),
            number(f64::from(capitals) * 1000.0 / em),
            // Not in the file; viewers use it only without the outlines.
            if cut == Cut::Semibold { 110 } else { 80 },
        ));
        let widths: String = self
            .glyphs
            .iter()
            .map(|(glyph, (width, _))| format!("{glyph}[{}]", number(1000.0 * width)))
            .collect();
        let descendant = objects.add(format!(
            "<</Type/Font/Subtype/CIDFontType0/BaseFont/{name}/CIDSystemInfo<</Registry(Adobe)/Ordering(Identity)/Supplement \
             0>>/FontDescriptor {descriptor}/DW 0/W[{widths}]>>"
        ));
        let meanings = objects.stream("", self.meanings().as_bytes()).ok()?;
        Some(objects.add(format!(
            "<</Type/Font/Subtype/Type0/BaseFont/{name}-Identity-H/Encoding/Identity-H/DescendantFonts[{descendant}]/ToUnicode \
             {meanings}>>"
        )))
    }

    /// Six letters that tell this subset from others (9.6.4).
    fn tag(&self) -> String {
        // FNV-1a, 64 bits.
        let mut sum = self
            .glyphs
            .keys()
            .flat_map(|glyph| glyph.to_be_bytes())
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

    /// The CMap from glyphs to text.
    fn meanings(&self) -> String {
        let mut map = String::from(
            "/CIDInit/ProcSet findresource begin\n12 dict begin\nbegincmap\n/CIDSystemInfo<</Registry(Adobe)/Ordering(UCS)/Supplement \
             0>>def\n/CMapName/Adobe-Identity-UCS def\n/CMapType 2 def\n1 begincodespacerange\n<0000><FFFF>\nendcodespacerange\n",
        );
        let told: Vec<_> = self
            .glyphs
            .iter()
            .filter(|(_, (_, text))| !text.is_empty())
            .collect();
        // At most a hundred in one block.
        for block in told.chunks(100) {
            map.push_str(&format!("{} beginbfchar\n", block.len()));
            for (glyph, (_, text)) in block {
                map.push_str(&format!("<{glyph:04X}><{}>\n", utf16(text)));
            }
            map.push_str("endbfchar\n");
        }
        map.push_str("endcmap\nCMapName currentdict/CMap defineresource pop\nend\nend\n");
        map
    }
}

fn named(cut: Cut) -> &'static str {
    match cut {
        Cut::Regular => "Regular",
        Cut::Semibold => "Semibold",
        Cut::Italic => "Italic",
    }
}

fn signed(table: &[u8], at: usize) -> Option<i16> {
    Some(i16::from_be_bytes(table.get(at..at + 2)?.try_into().ok()?))
}
