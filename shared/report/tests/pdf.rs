//! The card's PDF: readable as ISO 32000-1 says, and with the same words as the HTML, in the same order.

use std::collections::HashMap;
use std::io::Read;

use sumproof_report::rig::card::{CardForm, Paper, card};
use sumproof_report::rig::file::{RigFile, parse};

/// A rig whose texts have ligatures, kerning, composed and stacked accents.
fn rig() -> RigFile {
    parse(
        "[left]\nbox = \"passive-direct-box\"\n[right]\npolarity = \"flipped\"\n[card]\nplayer = \"AVATAR, official flow, Type 7\"\n\
         show = \"e\u{301} Việt, Łódź, a\u{300}\u{323}\"\nleft = \"½ & <3\"\nright = \"YES, Tomáš\"\nnotes = [\"Ж 3 Ω\", \"q\u{302}\u{302}\"]\n",
    )
    .expect("a rig file")
}

/// Objects of a file by their numbers, found through its table of places.
fn objects(pdf: &[u8]) -> HashMap<usize, Vec<u8>> {
    let find = |from: usize, what: &[u8]| {
        let at = pdf[from..].windows(what.len()).position(|part| part == what);
        from + at.expect("it is there")
    };
    let tail = String::from_utf8_lossy(&pdf[pdf.len() - 40..]).into_owned();
    let table: usize = tail
        .split("startxref")
        .nth(1)
        .and_then(|rest| rest.split_whitespace().next()?.parse().ok())
        .expect("a place");
    let text = String::from_utf8_lossy(&pdf[table..]).into_owned();
    assert!(text.starts_with("xref\n0 "), "{text}");
    let places = text.lines().skip(3).take_while(|line| line.ends_with(" n "));
    places
        .enumerate()
        .map(|(index, line)| {
            let number = index + 1;
            let at: usize = line[..10].parse().expect("a place");
            let begin = format!("{number} 0 obj\n");
            assert!(pdf[at..].starts_with(begin.as_bytes()), "{number}");
            let from = at + begin.len();
            (number, pdf[from..find(from, b"\nendobj\n")].to_vec())
        })
        .collect()
}

/// A stream, decompressed.
fn stream(object: &[u8]) -> Vec<u8> {
    let head = b">>\nstream\n";
    let at = object.windows(head.len()).position(|part| part == head);
    let mut bytes = Vec::new();
    flate2::read::ZlibDecoder::new(&object[at.expect("a stream") + head.len()..])
        .read_to_end(&mut bytes)
        .expect("it is packed");
    bytes
}

/// The number of the object that a key refers to.
fn refers(object: &[u8], key: &str) -> usize {
    let text = String::from_utf8_lossy(object).into_owned();
    let rest = text.split(key).nth(1).expect(key);
    let digits: String = rest
        .trim_start_matches(['[', ' '])
        .chars()
        .take_while(char::is_ascii_digit)
        .collect();
    digits.parse().expect("a number")
}

fn utf16(digits: &str) -> String {
    let units: Vec<u16> = (0..digits.len() / 4)
        .map(|n| u16::from_str_radix(&digits[4 * n..4 * n + 4], 16).expect("hexadecimal"))
        .collect();
    String::from_utf16(&units).expect("text")
}

/// What a reader of the file finds, in the order of the page's contents.
fn told(pdf: &[u8]) -> String {
    let objects = objects(pdf);
    let catalogue = objects
        .values()
        .find(|object| object.starts_with(b"<</Type/Catalog"));
    let pages = &objects[&refers(catalogue.expect("a catalogue"), "/Pages")];
    let page = &objects[&refers(pages, "/Kids")];
    let meanings: Vec<HashMap<String, String>> = (0..3)
        .map(|font| {
            let font = &objects[&refers(page, &format!("/F{font} "))];
            let map = stream(&objects[&refers(font, "/ToUnicode")]);
            let map = String::from_utf8(map).expect("text");
            let pairs = map.lines().filter_map(|line| {
                let (glyph, text) = line.strip_prefix('<')?.strip_suffix('>')?.split_once("><")?;
                (glyph.len() == 4).then(|| (glyph.to_string(), utf16(text)))
            });
            pairs.collect()
        })
        .collect();
    let contents = String::from_utf8(stream(&objects[&refers(page, "/Contents")])).expect("text");
    let mut text = String::new();
    for line in contents.lines().filter(|line| line.starts_with("/Span")) {
        if let Some(actual) = line.split("/ActualText<FEFF").nth(1) {
            text.push_str(&utf16(actual.split('>').next().expect("its end")));
            continue;
        }
        let font: usize = line
            .split("BT /F")
            .nth(1)
            .and_then(|rest| rest[..1].parse().ok())
            .expect("a font");
        for shown in line.split('<').skip(3) {
            let glyphs = shown.split('>').next().expect("its end");
            for glyph in 0..glyphs.len() / 4 {
                text.push_str(&meanings[font][&glyphs[4 * glyph..4 * glyph + 4]]);
            }
        }
    }
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The words of the HTML.
fn words(file: &RigFile, paper: Paper) -> String {
    let made = card(file, &[], paper, CardForm::Screen).expect("it fits");
    let page = String::from_utf8(made.bytes).expect("text");
    assert!(!page.contains("@font-face"));
    let body = page.split("</svg>").nth(1).expect("a page");
    let text: String = body
        .split('<')
        .map(|part| part.split_once('>').map_or("", |(_, text)| text))
        .collect();
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    text.replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&quot;", "\"")
        .replace("&amp;", "&")
}

#[test]
fn a_reader_finds_the_words_of_the_page() {
    for paper in Paper::ALL {
        for file in [rig(), RigFile::default()] {
            let made = card(&file, &[], paper, CardForm::Pdf).expect("it fits");
            assert_eq!(told(&made.bytes), words(&file, paper));
        }
    }
}

#[test]
fn every_piece_of_text_has_its_element_and_every_element_its_parent() {
    let made = card(&rig(), &[], Paper::A4, CardForm::Pdf).expect("it fits");
    let objects = objects(&made.bytes);
    let elements: HashMap<usize, String> = objects
        .iter()
        .filter(|(_, object)| object.starts_with(b"<</Type/StructElem"))
        .map(|(&number, object)| (number, String::from_utf8(object.clone()).expect("text")))
        .collect();
    let children = |object: &str| -> Vec<String> {
        let list = object
            .split("/K[")
            .nth(1)
            .and_then(|rest| rest.split(']').next())
            .expect("children");
        list.replace(" 0 R", "R")
            .split_whitespace()
            .map(str::to_string)
            .collect()
    };
    let page = objects
        .values()
        .find(|object| object.starts_with(b"<</Type/Page/"))
        .expect("a page");
    let contents = String::from_utf8(stream(&objects[&refers(page, "/Contents")])).expect("text");
    let pieces = contents.matches("<</MCID ").count();
    let mut seen = vec![0; pieces];
    for (number, element) in &elements {
        for child in children(element) {
            match child.strip_suffix('R') {
                Some(child) => {
                    let child: usize = child.parse().expect("a number");
                    assert_eq!(refers(elements[&child].as_bytes(), "/P "), *number);
                }
                None => seen[child.parse::<usize>().expect("a number")] += 1,
            }
        }
    }
    assert!(pieces > 60 && seen.iter().all(|&times| times == 1), "{seen:?}");
    let root = objects
        .values()
        .find(|object| object.starts_with(b"<</Type/StructTreeRoot"))
        .expect("a root");
    let parents = String::from_utf8(objects[&refers(root, "/ParentTree ")].clone()).expect("text");
    assert_eq!(parents.matches(" 0 R").count(), pieces);
    for kind in [
        "H1", "H2", "P", "Table", "TR", "TH", "TD", "L", "LI", "LBody", "Sect",
    ] {
        assert!(
            elements
                .values()
                .any(|element| element.contains(&format!("/S/{kind}/"))),
            "{kind}"
        );
    }
}
