//! Drops outlines from a table of them ('CFF ', Adobe Technical Notes 5176; charstrings: 5177) without moving anything
//! in it: what is dropped becomes zeros, which compress to nothing.

use std::collections::BTreeSet;
use std::ops::Range;

/// Operators of a DICT (5176, 9 and 15).
const CHARSTRINGS: u16 = 17;
const PRIVATE: u16 = 18;
const SUBRS: u16 = 19;
/// Number of the first string that is in the file; the standard ones have lower numbers (5176, appendix A).
const OWN_STRINGS: i32 = 391;
/// Operators that end a subroutine and a charstring (5177, 4).
const RETURN: u8 = 11;
const ENDCHAR: u8 = 14;
/// Depth to which subroutines may be nested (5177, appendix B).
const DEEPEST: usize = 10;

/// Where a table is in an OpenType file (OpenType 1.9, 'Table directory'). `None` if there is none.
#[must_use]
pub fn table(file: &[u8], tag: &[u8; 4]) -> Option<Range<usize>> {
    let count = number(file, 4, 2)?;
    let at = (0..count)
        .map(|n| 12 + 16 * n)
        .find(|&at| file.get(at..at + 4) == Some(tag))?;
    let start = number(file, at + 8, 4)?;
    Some(start..start + number(file, at + 12, 4)?)
}

/// Drops the outlines of all glyphs but these, the subroutines that only they used, and the names of all glyphs. `None`
/// for a table of another kind (with a font per glyph, or damaged).
#[must_use]
pub fn keep_only(cff: &mut [u8], kept: &BTreeSet<u32>) -> Option<()> {
    let (_, next) = index(cff, number(cff, 2, 1)?)?;
    let (tops, next) = index(cff, next)?;
    let (strings, next) = index(cff, next)?;
    let (shared, _) = index(cff, next)?;
    let top = dictionary(cff.get(tops.first()?.clone())?)?;
    let operands = |operator| {
        top.iter()
            .find(|(found, _)| *found == operator)
            .map(|(_, operands)| operands)
    };
    let outlines = usize::try_from(*operands(CHARSTRINGS)?.first()?).ok()?;
    let (outlines, _) = index(cff, outlines)?;
    let [size, private] = operands(PRIVATE)?[..] else {
        return None;
    };
    let (size, private) = (usize::try_from(size).ok()?, usize::try_from(private).ok()?);
    let inner = dictionary(cff.get(private..private + size)?)?;
    let own = match inner.iter().find(|(operator, _)| *operator == SUBRS) {
        Some((_, operands)) => index(cff, private + usize::try_from(*operands.first()?).ok()?)?.0,
        None => Vec::new(),
    };
    let mut trace = Trace {
        cff,
        subroutines: [&own, &shared],
        used: [BTreeSet::new(), BTreeSet::new()],
    };
    let kept = |glyph: usize| u32::try_from(glyph).is_ok_and(|glyph| kept.contains(&glyph));
    for (glyph, outline) in outlines.iter().enumerate() {
        if kept(glyph) {
            trace.follow(outline.clone(), &mut State::default(), 0)?;
        }
    }
    let used = trace.used;
    for (glyph, outline) in outlines.into_iter().enumerate() {
        if !kept(glyph) && !outline.is_empty() {
            fill(cff, outline, &[ENDCHAR])?;
        }
    }
    for (subroutines, used) in [own, shared].into_iter().zip(used) {
        for (number, subroutine) in subroutines.into_iter().enumerate() {
            if !used.contains(&number) && !subroutine.is_empty() {
                fill(cff, subroutine, &[RETURN])?;
            }
        }
    }
    // The font's own names stay: the top dictionary refers to them.
    let named: Vec<i32> = top
        .iter()
        .flat_map(|(_, operands)| operands.iter().copied())
        .collect();
    for (string, number) in strings.into_iter().zip(OWN_STRINGS..) {
        if !named.contains(&number) {
            cff.get_mut(string)?.fill(b'-');
        }
    }
    Some(())
}

/// Replaces a stretch by something no longer, and zeros. `None` if it is longer.
#[must_use]
pub fn fill(file: &mut [u8], place: Range<usize>, with: &[u8]) -> Option<()> {
    let (head, rest) = file.get_mut(place)?.split_at_mut_checked(with.len())?;
    head.copy_from_slice(with);
    rest.fill(0);
    Some(())
}

/// Follows charstrings through the subroutines they call.
struct Trace<'f> {
    cff: &'f [u8],
    /// The font's own ones, and those shared by all fonts of the table.
    subroutines: [&'f [Range<usize>]; 2],
    used: [BTreeSet<usize>; 2],
}

/// What a charstring has set so far.
#[derive(Default)]
struct State {
    stack: Vec<i32>,
    stems: usize,
    ended: bool,
}

impl Trace<'_> {
    fn follow(&mut self, code: Range<usize>, state: &mut State, depth: usize) -> Option<()> {
        if depth > DEEPEST {
            return None;
        }
        let code = self.cff.get(code)?;
        let mut at = 0;
        while at < code.len() && !state.ended {
            if let Some((operand, size)) = operand(code, at) {
                state.stack.push(operand);
                at += size;
                continue;
            }
            let operator = code[at];
            at += 1;
            match operator {
                // Stems: two operands each.
                1 | 3 | 18 | 23 => state.stems += state.stack.len() / 2,
                // Masks: a bit for each stem, after stems that aren't announced.
                19 | 20 => {
                    state.stems += state.stack.len() / 2;
                    at += state.stems.div_ceil(8);
                }
                10 | 29 => {
                    let kind = usize::from(operator == 29);
                    let all = self.subroutines[kind];
                    let bias = match all.len() {
                        0..1240 => 107,
                        1240..33_900 => 1131,
                        _ => 32_768,
                    };
                    let number = usize::try_from(state.stack.pop()? + bias).ok()?;
                    let code = all.get(number)?.clone();
                    self.used[kind].insert(number);
                    self.follow(code, state, depth + 1)?;
                    continue;
                }
                RETURN => return Some(()),
                ENDCHAR => state.ended = true,
                12 => match code.get(at)? {
                    // The flex operators; arithmetic is in no font of ours.
                    34..=37 => at += 1,
                    _ => return None,
                },
                _ => {}
            }
            state.stack.clear();
        }
        Some(())
    }
}

/// The number in a charstring at `at`, in whole units, and its length; `None` for an operator.
fn operand(code: &[u8], at: usize) -> Option<(i32, usize)> {
    let byte = |n: usize| code.get(at + n).copied().map(i32::from);
    let first = byte(0)?;
    Some(match first {
        28 => (
            i32::from(i16::from_be_bytes([*code.get(at + 1)?, *code.get(at + 2)?])),
            3,
        ),
        32..=246 => (first - 139, 1),
        247..=250 => ((first - 247) * 256 + byte(1)? + 108, 2),
        251..=254 => (-(first - 251) * 256 - byte(1)? - 108, 2),
        // 16.16: its fraction has no meaning as the number of a subroutine.
        255 => (
            i32::from(i16::from_be_bytes([*code.get(at + 1)?, *code.get(at + 2)?])),
            5,
        ),
        _ => return None,
    })
}

/// The entries of an INDEX, and where it ends (5176, 5).
fn index(file: &[u8], at: usize) -> Option<(Vec<Range<usize>>, usize)> {
    let count = number(file, at, 2)?;
    if count == 0 {
        return Some((Vec::new(), at + 2));
    }
    let size = number(file, at + 2, 1)?;
    let data = at + 2 + size * (count + 1);
    let offsets = (0..=count)
        .map(|n| Some(data + number(file, at + 3 + size * n, size)?))
        .collect::<Option<Vec<usize>>>()?;
    let entries = offsets.windows(2).map(|pair| pair[0]..pair[1]).collect();
    Some((entries, *offsets.last()?))
}

/// Operators and operands of a DICT (5176, 4); operators of two bytes count from 256. Real numbers are left out.
fn dictionary(bytes: &[u8]) -> Option<Vec<(u16, Vec<i32>)>> {
    let mut entries = Vec::new();
    let mut operands = Vec::new();
    let mut at = 0;
    while at < bytes.len() {
        match bytes[at] {
            12 => {
                entries.push((
                    256 + u16::from(*bytes.get(at + 1)?),
                    std::mem::take(&mut operands),
                ));
                at += 2;
            }
            operator @ 0..=21 => {
                entries.push((u16::from(operator), std::mem::take(&mut operands)));
                at += 1;
            }
            29 => {
                operands.push(i32::from_be_bytes(bytes.get(at + 1..at + 5)?.try_into().ok()?));
                at += 5;
            }
            30 => {
                let ends = |byte: &u8| byte & 15 == 15 || byte >> 4 == 15;
                at += 2 + bytes.get(at + 1..)?.iter().position(ends)?;
            }
            _ => {
                let (number, size) = operand(bytes, at)?;
                operands.push(number);
                at += size;
            }
        }
    }
    Some(entries)
}

/// An unsigned number of `size` bytes.
fn number(file: &[u8], at: usize, size: usize) -> Option<usize> {
    let bytes = file.get(at..at.checked_add(size)?)?;
    Some(
        bytes
            .iter()
            .fold(0, |number, byte| number << 8 | usize::from(*byte)),
    )
}
