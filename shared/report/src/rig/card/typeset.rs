//! Sets text: shaping, measuring, breaking into lines. Libertinus Serif (SIL Open Font License 1.1), as in the window.

use std::cell::RefCell;
use std::collections::HashMap;

use harfrust::{FontRef, GlyphId, ShapeOptions, ShaperData, UnicodeBuffer};
use read_fonts::TableProvider;

use super::Typeface;

/// A cut of the typeface.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Cut {
    /// Upright.
    Regular,
    /// Upright, semibold.
    Semibold,
    /// Slanted.
    Italic,
}

impl Cut {
    /// All cuts.
    pub const ALL: [Self; 3] = [Self::Regular, Self::Semibold, Self::Italic];

    /// Its index in [`Cut::ALL`].
    #[must_use]
    pub fn index(self) -> usize {
        match self {
            Self::Regular => 0,
            Self::Semibold => 1,
            Self::Italic => 2,
        }
    }
}

/// One glyph of a set line; lengths relative to the type size.
#[derive(Clone, Debug, PartialEq)]
pub struct Glyph {
    /// Its number in the font; 0 where the font has none for the character.
    pub id: u32,
    /// Its advance width.
    pub advance: f32,
    /// Its position relative to the pen.
    pub offset: (f32, f32),
    /// Where its character begins in the text, byte offset.
    pub cluster: usize,
}

struct Face {
    font: FontRef<'static>,
    data: ShaperData,
    /// Units of its lengths in the type size.
    em: u16,
    ascent: f64,
    descent: f64,
}

/// The three cuts, ready to set.
pub struct Type {
    typeface: Typeface,
    faces: [Face; 3],
    /// Widths measured so far: a page is tried at several sizes, and most of its lines recur.
    widths: [RefCell<HashMap<String, f64>>; 3],
}

impl Type {
    /// Loads the cuts. `None` if a font is damaged, which the build script rules out.
    #[must_use]
    pub fn load(typeface: Typeface) -> Option<Self> {
        let face = |cut: Cut| {
            let font = FontRef::new(typeface.file(cut)).ok()?;
            let (em, heights) = (font.head().ok()?.units_per_em(), font.hhea().ok()?);
            let share = |units: i16| f64::from(units) / f64::from(em);
            Some(Face {
                data: ShaperData::new(&font),
                ascent: share(heights.ascender().to_i16()),
                descent: -share(heights.descender().to_i16()),
                em,
                font,
            })
        };
        let [regular, semibold, italic] = Cut::ALL.map(face);
        Some(Self {
            typeface,
            faces: [regular?, semibold?, italic?],
            widths: Default::default(),
        })
    }

    /// The OpenType file of a cut.
    #[must_use]
    pub fn file(&self, cut: Cut) -> &'static [u8] {
        self.typeface.file(cut)
    }

    /// The same, for its tables.
    #[must_use]
    pub fn font(&self, cut: Cut) -> &FontRef<'static> {
        &self.face(cut).font
    }

    fn face(&self, cut: Cut) -> &Face {
        &self.faces[cut.index()]
    }

    /// Height above and depth below the baseline of a line of this cut in browsers (OpenType 'hhea'), relative to the
    /// type size.
    #[must_use]
    pub fn heights(&self, cut: Cut) -> (f64, f64) {
        let face = self.face(cut);
        (face.ascent, face.descent)
    }

    /// The glyphs of a line, kerned.
    #[must_use]
    pub fn shape(&self, text: &str, cut: Cut) -> Vec<Glyph> {
        let face = self.face(cut);
        let shaper = face.data.shaper(&face.font).build();
        let em = f32::from(face.em);
        let mut buffer = UnicodeBuffer::new();
        buffer.push_str(text);
        buffer.guess_segment_properties();
        let set = shaper.shape(buffer, ShapeOptions::new());
        set.glyph_infos()
            .iter()
            .zip(set.glyph_positions())
            .map(|(info, position)| Glyph {
                id: info.glyph_id,
                advance: position.x_advance as f32 / em,
                offset: (position.x_offset as f32 / em, position.y_offset as f32 / em),
                cluster: info.cluster as usize,
            })
            .collect()
    }

    /// The width of a glyph before kerning (OpenType 1.9, 'hmtx'), relative to the type size.
    #[must_use]
    pub fn plain_width(&self, glyph: u32, cut: Cut) -> Option<f64> {
        let face = self.face(cut);
        let units = face.font.hmtx().ok()?.advance(GlyphId::new(glyph))?;
        Some(f64::from(units) / f64::from(face.em))
    }

    /// Width of a line, relative to the type size.
    #[must_use]
    pub fn width(&self, text: &str, cut: Cut) -> f64 {
        let known = &self.widths[cut.index()];
        if let Some(&width) = known.borrow().get(text) {
            return width;
        }
        let width = self
            .shape(text, cut)
            .iter()
            .map(|glyph| f64::from(glyph.advance))
            .sum();
        known.borrow_mut().insert(text.into(), width);
        width
    }

    /// The text with a question mark for each character that can't be set, and their number. These are characters the
    /// typeface lacks, and those written from right to left.
    #[must_use]
    pub fn settable(&self, text: &str) -> (String, usize) {
        let mut known: HashMap<char, bool> = HashMap::new();
        let mut missing = 0;
        let text = text
            .chars()
            .map(|c| {
                let settable = *known.entry(c).or_insert_with(|| {
                    // Plain ASCII needs no lookup.
                    c.is_ascii_graphic()
                        || c == ' '
                        || !is_right_to_left(c)
                            && self
                                .shape(c.encode_utf8(&mut [0; 4]), Cut::Regular)
                                .iter()
                                .all(|glyph| glyph.id != 0)
                });
                if settable {
                    c
                } else {
                    missing += 1;
                    '?'
                }
            })
            .collect();
        (text, missing)
    }

    /// Breaks a text into lines no wider than `width` at that size, at spaces, or inside a word that is too wide by
    /// itself.
    #[must_use]
    pub fn lines(&self, text: &str, cut: Cut, size: f64, width: f64) -> Vec<String> {
        let fits = |line: &str| self.width(line, cut) * size <= width;
        let mut lines: Vec<String> = Vec::new();
        let mut line = String::new();
        for word in text.split(' ').filter(|word| !word.is_empty()) {
            let longer = if line.is_empty() {
                word.to_string()
            } else {
                format!("{line} {word}")
            };
            if fits(&longer) {
                line = longer;
                continue;
            }
            if !line.is_empty() {
                lines.push(core::mem::take(&mut line));
            }
            for c in word.chars() {
                line.push(c);
                if !fits(&line) && line.chars().count() > 1 {
                    line.pop();
                    lines.push(core::mem::take(&mut line));
                    line.push(c);
                }
            }
        }
        if !line.is_empty() {
            lines.push(line);
        }
        lines
    }
}

/// Whether it belongs to Hebrew, Arabic or related scripts, or is a mark that changes the writing direction.
fn is_right_to_left(c: char) -> bool {
    matches!(c, '\u{590}'..='\u{8ff}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}'
        | '\u{fb1d}'..='\u{fdff}' | '\u{fe70}'..='\u{feff}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_is_measured_and_broken() {
        let set = Type::load(Typeface::WHOLE).expect("the fonts are in the house");
        // Figures are tabular: columns of them align.
        assert_eq!(set.width("111", Cut::Regular), set.width("888", Cut::Regular));
        // Kerned: narrower than its letters.
        assert!(set.width("AV", Cut::Regular) < set.width("A", Cut::Regular) + set.width("V", Cut::Regular));
        let text = "a word, another, and onemuchtoolongtofitinthelinethatthereis";
        let lines = set.lines(text, Cut::Semibold, 10.0, 80.0);
        assert!(lines.len() > 3);
        assert!(
            lines
                .iter()
                .all(|line| set.width(line, Cut::Semibold) * 10.0 <= 80.0)
        );
        assert_eq!(lines.concat().replace(' ', ""), text.replace(' ', ""));
        assert!(set.lines("", Cut::Regular, 10.0, 80.0).is_empty());
        // Narrower than any letter: one letter per line, never an endless loop.
        assert_eq!(set.lines("abc", Cut::Regular, 10.0, 0.1).len(), 3);
    }

    #[test]
    fn what_the_typeface_lacks_is_counted() {
        let set = Type::load(Typeface::WHOLE).expect("the fonts are in the house");
        assert_eq!(set.settable("Zoë – Ñandú, 3 Ω"), ("Zoë – Ñandú, 3 Ω".into(), 0));
        assert_eq!(set.settable("音 \u{5d0}!"), ("? ?!".into(), 2));
    }
}
