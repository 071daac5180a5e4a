//! Damage to bytes.

use sumproof_signals::Rng;

/// Numbers that often break programs.
const NUMBERS: [u64; 18] = [
    0,
    1,
    2,
    7,
    16,
    32,
    127,
    128,
    255,
    256,
    0x7fff,
    0x8000,
    0xffff,
    0x7fff_ffff,
    0x8000_0000,
    0xffff_ffff,
    0x7fff_ffff_ffff_ffff,
    u64::MAX,
];

/// The same as text.
const TEXTS: [&str; 22] = [
    "0",
    "-0",
    "1",
    "-1",
    "1e308",
    "-1e308",
    "1e309",
    "5e-324",
    "nan",
    "inf",
    "-inf",
    "NaN",
    "null",
    "true",
    "\"\"",
    "[]",
    "{}",
    "0x7f",
    "18446744073709551616",
    "1e",
    "\\u0000",
    "'",
];

/// Damages `bytes` a few times in a row; `words` are the format's, `other` is another input to take pieces from.
pub fn damage(bytes: &mut Vec<u8>, words: &[&str], other: &[u8], rng: &mut Rng) {
    let times = 1 << rng.below(4);
    for _ in 0..times {
        once(bytes, words, other, rng);
    }
}

fn once(bytes: &mut Vec<u8>, words: &[&str], other: &[u8], rng: &mut Rng) {
    if bytes.is_empty() {
        bytes.push(rng.below(256) as u8);
        return;
    }
    let at = rng.below(bytes.len());
    match rng.below(14) {
        0 | 1 => bytes[at] ^= 1 << rng.below(8),
        2 => bytes[at] = rng.below(256) as u8,
        3 => bytes[at] = bytes[at].wrapping_add(rng.below(9) as u8).wrapping_sub(4),
        4 => number(&mut bytes[at..], rng),
        5 => drop(bytes.drain(at..at + piece(bytes.len() - at, rng))),
        6 => {
            let piece = bytes[at..at + piece(bytes.len() - at, rng)].to_vec();
            let to = rng.below(bytes.len());
            bytes.splice(to..to, piece);
        }
        7 => {
            let piece = bytes[at..at + piece(bytes.len() - at, rng)].to_vec();
            let to = rng.below(bytes.len());
            for (into, from) in bytes[to..].iter_mut().zip(piece) {
                *into = from;
            }
        }
        8 => bytes.truncate(at),
        9 if !other.is_empty() => {
            let from = rng.below(other.len());
            let piece = &other[from..from + piece(other.len() - from, rng)];
            let to = at + piece_or_none(bytes.len() - at, rng);
            bytes.splice(at..to, piece.iter().copied());
        }
        10 if !words.is_empty() => {
            let word = words[rng.below(words.len())].bytes();
            let to = at + piece_or_none(bytes.len() - at, rng);
            bytes.splice(at..to, word);
        }
        11 => {
            let text = TEXTS[rng.below(TEXTS.len())].bytes();
            let to = end_of_number(bytes, at);
            bytes.splice(at..to, text);
        }
        12 => {
            let bytes_of = rng.next_u64().to_le_bytes();
            for (into, from) in bytes[at..].iter_mut().zip(bytes_of) {
                *into = from;
            }
        }
        _ => {
            let value = [0, 0xff, b' ', b'\n', b'9'][rng.below(5)];
            let to = at + piece(bytes.len() - at, rng);
            bytes[at..to].fill(value);
        }
    }
}

/// Writes such a number, in one of the usual widths and byte orders.
fn number(bytes: &mut [u8], rng: &mut Rng) {
    let value = NUMBERS[rng.below(NUMBERS.len())];
    let width = [1, 2, 4, 8][rng.below(4)].min(bytes.len());
    if rng.below(2) == 0 {
        bytes[..width].copy_from_slice(&value.to_le_bytes()[..width]);
    } else {
        bytes[..width].copy_from_slice(&value.to_be_bytes()[8 - width..]);
    }
}

/// A random length of a piece out of `most` bytes: mostly short.
fn piece(most: usize, rng: &mut Rng) -> usize {
    let longest = most.min(1 << rng.below(12));
    1 + rng.below(longest.max(1)).min(most.saturating_sub(1))
}

fn piece_or_none(most: usize, rng: &mut Rng) -> usize {
    if rng.below(2) == 0 {
        0
    } else {
        piece(most, rng).min(most)
    }
}

/// The end of the number that begins at `at`, or `at` itself if there is none.
fn end_of_number(bytes: &[u8], at: usize) -> usize {
    at + bytes[at..]
        .iter()
        .take_while(|b| b.is_ascii_digit() || matches!(b, b'.' | b'-' | b'e'))
        .count()
}
