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

/// A word of a file (7.2 and 7.3).
#[derive(Clone, Debug, PartialEq)]
enum Token {
    /// A number, an operator, or another bare word.
    Word(String),
    Name(String),
    Text(Vec<u8>),
    /// The beginning or end of an array or a dictionary.
    Mark(&'static str),
}
use Token::{Mark, Name, Text, Word};

fn tokens(bytes: &[u8]) -> Vec<Token> {
    let regular = |byte: &u8| !byte.is_ascii_whitespace() && !b"()<>[]/%".contains(byte);
    let word = |bytes: &[u8]| {
        let end = bytes.iter().position(|byte| !regular(byte));
        String::from_utf8(bytes[..end.unwrap_or(bytes.len())].to_vec()).expect("text")
    };
    let mut tokens = Vec::new();
    let mut rest = bytes;
    while let [first, more @ ..] = rest {
        rest = match (first, more.first()) {
            (b'<', Some(b'<')) | (b'>', Some(b'>')) => {
                tokens.push(Mark(if *first == b'<' { "<<" } else { ">>" }));
                &more[1..]
            }
            (b'[' | b']', _) => {
                tokens.push(Mark(if *first == b'[' { "[" } else { "]" }));
                more
            }
            (b'/', _) => {
                let name = word(more);
                let after = &more[name.len()..];
                tokens.push(Name(name));
                after
            }
            (b'<', _) => {
                let end = more.iter().position(|&byte| byte == b'>').expect("its end");
                let digits = String::from_utf8(more[..end].to_vec()).expect("digits");
                let byte = |n: usize| u8::from_str_radix(&digits[2 * n..2 * n + 2], 16).expect("digits");
                tokens.push(Text((0..digits.len() / 2).map(byte).collect()));
                &more[end + 1..]
            }
            (b'(', _) => {
                let (text, after) = literal(more);
                tokens.push(Text(text));
                after
            }
            _ if first.is_ascii_whitespace() => more,
            (b'%', _) => {
                let end = more.iter().position(|&byte| byte == b'\n');
                &more[end.unwrap_or(more.len())..]
            }
            _ => {
                let word = word(rest);
                assert!(!word.is_empty(), "{:?}", char::from(*first));
                let after = &rest[word.len()..];
                tokens.push(Word(word));
                after
            }
        };
    }
    tokens
}

/// A text in parentheses, from after the first one (7.3.4.2), and what comes after it.
fn literal(mut rest: &[u8]) -> (Vec<u8>, &[u8]) {
    let mut text = Vec::new();
    let mut depth = 0;
    loop {
        let (&first, more) = rest.split_first().expect("its end");
        rest = more;
        match first {
            b')' if depth == 0 => return (text, rest),
            b'\\' => {
                let octal = rest.iter().take(3).take_while(|byte| (b'0'..b'8').contains(byte));
                let digits = octal.count();
                if digits > 0 {
                    text.push(
                        rest[..digits]
                            .iter()
                            .fold(0, |sum, digit| 8 * sum + (digit - b'0')),
                    );
                } else {
                    text.push(match rest[0] {
                        b'n' => b'\n',
                        b'r' => b'\r',
                        b't' => b'\t',
                        b'b' => 8,
                        b'f' => 12,
                        other => other,
                    });
                }
                rest = &rest[digits.max(1)..];
            }
            _ => {
                depth += i32::from(first == b'(') - i32::from(first == b')');
                text.push(first);
            }
        }
    }
}

/// An object: its words, up to a stream, and the stream, decompressed.
struct Object {
    words: Vec<Token>,
    stream: Option<Vec<u8>>,
}

impl Object {
    fn of(bytes: &[u8]) -> Self {
        let head = b"stream\n";
        let Some(at) = bytes.windows(head.len()).position(|part| part == head) else {
            return Self {
                words: tokens(bytes),
                stream: None,
            };
        };
        let mut stream = Vec::new();
        flate2::read::ZlibDecoder::new(&bytes[at + head.len()..])
            .read_to_end(&mut stream)
            .expect("it is packed");
        Self {
            words: tokens(&bytes[..at]),
            stream: Some(stream),
        }
    }

    /// Whether that name is the value of that key.
    fn has(&self, key: &str, value: &str) -> bool {
        let pair = [Name(key.into()), Name(value.into())];
        self.words.windows(2).any(|words| words == pair)
    }

    /// The number of the object that a key refers to; the first one of an array.
    fn refers(&self, key: &str) -> usize {
        let after = |at: usize| match &self.words[at + 1..] {
            [Word(number), ..] | [Mark("["), Word(number), ..] => number.parse().ok(),
            _ => None,
        };
        (0..self.words.len() - 1)
            .filter(|&at| self.words[at] == Name(key.into()))
            .find_map(after)
            .unwrap_or_else(|| panic!("{key}: {:?}", self.words))
    }

    /// The numbers of the objects in an array: that of a key, or the object itself.
    fn all(&self, key: Option<&str>) -> Vec<Child> {
        let from = key.map_or(0, |key| {
            let at = self.words.iter().position(|word| *word == Name(key.into()));
            at.expect(key) + 1
        });
        let list = self.words[from..].split(|word| *word == Mark("]")).next();
        let mut children = Vec::new();
        for word in &list.expect("an array")[1..] {
            match word {
                Word(word) if word == "R" => {
                    children.pop();
                    let Some(Child::Piece(number)) = children.pop() else {
                        panic!("{children:?}")
                    };
                    children.push(Child::Object(number));
                }
                Word(number) => children.push(Child::Piece(number.parse().expect("a number"))),
                other => panic!("{other:?}"),
            }
        }
        children
    }
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Child {
    Object(usize),
    Piece(usize),
}

/// Objects of a file by their numbers, found through its table of places.
fn objects(pdf: &[u8]) -> HashMap<usize, Object> {
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
    let places = text.lines().skip(3).map(str::trim_end);
    places
        .take_while(|line| line.ends_with(" n"))
        .enumerate()
        .map(|(index, line)| {
            let number = index + 1;
            let at: usize = line[..10].parse().expect("a place");
            let begin = format!("{number} 0 obj\n");
            assert!(pdf[at..].starts_with(begin.as_bytes()), "{number}");
            let from = at + begin.len();
            (number, Object::of(&pdf[from..find(from, b"\nendobj\n")]))
        })
        .collect()
}

/// The only object with that type.
fn only<'o>(objects: &'o HashMap<usize, Object>, kind: &str) -> &'o Object {
    let mut found = objects.values().filter(|object| object.has("Type", kind));
    let one = found.next().expect(kind);
    assert!(found.next().is_none(), "{kind}");
    one
}

fn utf16(bytes: &[u8]) -> String {
    let units = bytes.chunks(2).map(|pair| u16::from_be_bytes([pair[0], pair[1]]));
    String::from_utf16(&units.collect::<Vec<u16>>()).expect("text")
}

/// The text of glyphs, from a font's map.
fn meanings(map: &[u8]) -> HashMap<u16, String> {
    let mut pairs = HashMap::new();
    let mut words = &tokens(map)[..];
    while let [first, more @ ..] = words {
        words = more;
        if *first == Word("beginbfchar".into()) {
            while let [Text(glyph), Text(text), more @ ..] = words {
                pairs.insert(u16::from_be_bytes([glyph[0], glyph[1]]), utf16(text));
                words = more;
            }
        }
    }
    pairs
}

/// What a reader of the file finds, in the order of the page's contents.
fn told(pdf: &[u8]) -> String {
    let objects = objects(pdf);
    let pages = &objects[&only(&objects, "Catalog").refers("Pages")];
    let page = &objects[&pages.refers("Kids")];
    assert!(pages.has("Type", "Pages") && page.has("Type", "Page"));
    let contents = objects[&page.refers("Contents")].stream.as_ref();
    let contents = tokens(contents.expect("a stream"));
    let mut text = String::new();
    let mut font = HashMap::new();
    // Whether the text of what is shown was given.
    let mut given = false;
    for words in
        contents.split_inclusive(|word| matches!(word, Word(word) if word.starts_with(char::is_alphabetic)))
    {
        let (operator, operands) = words.split_last().expect("a word");
        let Word(operator) = operator else { continue };
        match operator.as_str() {
            "BDC" => {
                let at = operands
                    .iter()
                    .position(|word| *word == Name("ActualText".into()));
                given = at.is_some();
                if let Some(Text(actual)) = at.and_then(|at| operands.get(at + 1)) {
                    text.push_str(&match actual.strip_prefix(&[0xfe, 0xff]) {
                        Some(units) => utf16(units),
                        None => String::from_utf8(actual.clone()).expect("text"),
                    });
                }
            }
            "Tf" => {
                let Name(name) = &operands[0] else {
                    panic!("{operands:?}")
                };
                let map = objects[&objects[&page.refers(name)].refers("ToUnicode")]
                    .stream
                    .as_ref();
                font = meanings(map.expect("a stream"));
            }
            "TJ" if !given => {
                for shown in operands {
                    if let Text(glyphs) = shown {
                        for glyph in glyphs.chunks(2) {
                            text.push_str(&font[&u16::from_be_bytes([glyph[0], glyph[1]])]);
                        }
                    }
                }
            }
            _ => {}
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
    let elements: HashMap<usize, &Object> = objects
        .iter()
        .filter(|(_, object)| object.has("Type", "StructElem"))
        .map(|(&number, object)| (number, object))
        .collect();
    let page = only(&objects, "Page");
    let contents = objects[&page.refers("Contents")].stream.as_ref();
    let contents = tokens(contents.expect("a stream"));
    let pieces = contents
        .iter()
        .filter(|word| **word == Name("MCID".into()))
        .count();
    let root = only(&objects, "StructTreeRoot");
    let nums = root.words.iter().position(|word| *word == Name("Nums".into()));
    let Word(parents) = &root.words[nums.expect("a tree") + 3] else {
        panic!("{:?}", root.words)
    };
    let parents = objects[&parents.parse().expect("a number")].all(None);
    let mut seen = vec![0; pieces];
    for (&number, element) in &elements {
        for child in element.all(Some("K")) {
            match child {
                Child::Object(child) => assert_eq!(elements[&child].refers("P"), number),
                Child::Piece(piece) => {
                    seen[piece] += 1;
                    assert_eq!(parents[piece], Child::Object(number));
                }
            }
        }
    }
    assert!(pieces > 60 && seen.iter().all(|&times| times == 1), "{seen:?}");
    assert_eq!(parents.len(), pieces);
    for child in root.all(Some("K")) {
        let Child::Object(child) = child else {
            panic!("{child:?}")
        };
        assert!(elements.contains_key(&child));
    }
    for kind in [
        "H1", "H2", "P", "Table", "TR", "TH", "TD", "L", "LI", "LBody", "Sect",
    ] {
        assert!(elements.values().any(|element| element.has("S", kind)), "{kind}");
    }
    for (key, value) in [("Scope", "Both"), ("ListNumbering", "Decimal")] {
        assert!(
            elements.values().any(|element| element.has(key, value)),
            "{value}"
        );
    }
}

#[test]
fn the_same_card_is_the_same_file() {
    let made = || {
        card(&rig(), &[], Paper::Letter, CardForm::Pdf)
            .expect("it fits")
            .bytes
    };
    assert!(made() == made());
}
