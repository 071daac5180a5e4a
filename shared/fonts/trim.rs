//! Leaves out of an OpenType file what an alphabet doesn't need: its characters in 'cmap' (OpenType 1.9) and its
//! outlines. Glyph numbers, widths, kerning and substitutions stay as they are, so text is set exactly as with the whole
//! file.

use std::collections::BTreeSet;
use std::ops::RangeInclusive;

use read_fonts::collections::IntSet;
use read_fonts::types::{GlyphId, Tag};
use read_fonts::{FontRef, TableProvider};

use crate::outlines;

/// Characters for any text in Latin letters (Unicode blocks).
pub const LETTERS: &[RangeInclusive<u32>] = &[
    0x20..=0x7e,
    0xa0..=0x24f,
    // Schwa; apostrophes that are letters; combining marks.
    0x259..=0x259,
    0x2b9..=0x2bf,
    0x300..=0x36f,
    0x1e00..=0x1eff,
    // Punctuation, currencies, arrows.
    0x2000..=0x206f,
    0x20a0..=0x20cf,
    0x2190..=0x2199,
    // Numero, trade mark, ohm.
    0x2116..=0x2116,
    0x2122..=0x2126,
    // Greek that engineers write: capital delta, omega, mu.
    0x394..=0x394,
    0x3a9..=0x3a9,
    0x3bc..=0x3bc,
    // Minus, infinity, approximately, unequal, at most, at least.
    0x2212..=0x2212,
    0x221e..=0x221e,
    0x2248..=0x2248,
    0x2260..=0x2265,
    // Flat, natural, sharp.
    0x266d..=0x266f,
    0xfb00..=0xfb06,
];

/// Characters for the card's own words.
pub const WORDS: &[RangeInclusive<u32>] = &[0x20..=0x7e, 0xa0..=0xa0, 0x2010..=0x2027, 0x2212..=0x2212];

/// Features that a shaper applies without being asked (OpenType 1.9, 'Registered features').
const APPLIED: [&[u8; 4]; 7] = [b"ccmp", b"locl", b"rlig", b"liga", b"clig", b"calt", b"rclt"];

/// The file with only these characters. `None` if it isn't built as described above.
pub fn trimmed(file: &[u8], kept: &[RangeInclusive<u32>]) -> Option<Vec<u8>> {
    let font = FontRef::new(file).ok()?;
    let cmap = font.cmap().ok()?;
    let mut characters: Vec<(u32, u32)> = kept
        .iter()
        .flat_map(|range| range.clone())
        .filter_map(|c| Some((c, cmap.map_codepoint(c)?.to_u32())))
        .collect();
    // As format 12 wants them.
    characters.sort_unstable();
    let glyphs = reached(&font, &characters)?;
    let mut file = file.to_vec();
    let characters = cmap_of(&characters);
    let place = outlines::table(&file, b"cmap")?;
    outlines::fill(&mut file, place, &characters)?;
    let place = outlines::table(&file, b"CFF ")?;
    outlines::keep_only(file.get_mut(place)?, &glyphs)?;
    Some(file)
}

/// The glyphs of these characters, and those that replace them.
fn reached(font: &FontRef<'_>, characters: &[(u32, u32)]) -> Option<BTreeSet<u32>> {
    let mut glyphs: IntSet<GlyphId> = characters.iter().map(|(_, glyph)| GlyphId::new(*glyph)).collect();
    glyphs.insert(GlyphId::NOTDEF);
    let substitutions = font.gsub().ok()?;
    let applied: IntSet<Tag> = APPLIED.iter().map(|name| Tag::new(name)).collect();
    let features = substitutions
        .collect_features(&IntSet::all(), &IntSet::all(), &applied)
        .ok()?;
    let lookups = substitutions.collect_lookups(&features).ok()?;
    substitutions.closure_glyphs(&lookups, &mut glyphs).ok()?;
    Some(glyphs.iter().map(|glyph| glyph.to_u32()).collect())
}

/// A 'cmap' table of one subtable of format 12.
fn cmap_of(characters: &[(u32, u32)]) -> Vec<u8> {
    let mut groups: Vec<(u32, u32, u32)> = Vec::new();
    for &(c, glyph) in characters {
        match groups.last_mut() {
            Some((first, last, start)) if *last + 1 == c && *start + (c - *first) == glyph => *last = c,
            _ => groups.push((c, c, glyph)),
        }
    }
    let mut table: Vec<u8> = Vec::new();
    // Version 0, one subtable: Windows, full Unicode, 12 bytes from here.
    for number in [0u16, 1, 3, 10] {
        table.extend(number.to_be_bytes());
    }
    table.extend(12u32.to_be_bytes());
    table.extend(12u16.to_be_bytes());
    table.extend(0u16.to_be_bytes());
    let count = u32::try_from(groups.len()).unwrap_or(0);
    for number in [16 + 12 * count, 0, count] {
        table.extend(number.to_be_bytes());
    }
    for (first, last, glyph) in groups {
        for number in [first, last, glyph] {
            table.extend(number.to_be_bytes());
        }
    }
    table
}
