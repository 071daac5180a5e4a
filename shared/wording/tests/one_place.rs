//! All wording is in this crate: no other crate contains a sentence about a verdict, a cause or advice.
//!
//! The test looks for texts of four words or more outside of comments, tests and messages for programmers. A file may
//! contain some only if it (or its folder) is listed below with the reason, and none may equal a text of this crate.

use std::collections::HashSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Least number of words of a sentence.
const WORDS: usize = 4;

/// The crates searched, relative to the root.
const CRATES: [&str; 7] = [
    "shared/core/src",
    "shared/report/src",
    "shared/views/src",
    "plugin/src",
    "cli/src",
    "shared/recordings/src",
    "page/src",
];

/// Folders and files that may contain texts, and what these are.
const ALLOWED: &[(&str, &str)] = &[
    ("shared/core/src/session/take.rs", "errors of what is stored"),
    (
        "shared/core/src/line_check/read/failure.rs",
        "errors of a recording",
    ),
    (
        "shared/core/src/line_check/signal/plan.rs",
        "names of the signal's parts and settings",
    ),
    ("shared/report/src/formats/", "markup, headings and legends"),
    (
        "shared/report/src/line_check/",
        "what was found, label by label, and the page around it",
    ),
    (
        "shared/report/src/rig/card/",
        "the card's own headings, rows and cautions",
    ),
    ("shared/report/src/rig/file/", "errors of a rig file"),
    (
        "shared/report/src/rig/lines/",
        "headings and rows of the table of boxes",
    ),
    ("shared/report/src/tables/", "headings, legends and counts"),
    ("shared/views/src/board/", "labels, tips and what is being heard"),
    ("shared/views/src/panels/", "labels, tips and what a control does"),
    ("shared/views/src/plots/", "labels and tips"),
    ("shared/views/src/widgets/", "labels and tips"),
    ("shared/views/src/text.rs", "what is being heard"),
    ("shared/views/src/window.rs", "labels"),
    (
        "plugin/src/analysis/engine/",
        "why a signal or a take was refused or ended",
    ),
    ("plugin/src/bridge/", "notices about the state"),
    ("plugin/src/files/", "what became of files"),
    ("plugin/src/lib.rs", "what hosts list"),
    ("plugin/src/main.rs", "errors of the stand-alone program"),
    ("plugin/src/parameters/", "names for hosts"),
    ("plugin/src/state/", "notices about the state"),
    ("plugin/src/testing/", "tests"),
    ("plugin/src/window/", "errors of the window"),
    ("shared/recordings/src/", "errors of files, and what is in them"),
    ("page/src/", "errors of what the page asks"),
    ("cli/src/", "help, exit codes and errors of files and options"),
];

/// Every string literal of a source file, without comments and without everything after `#[cfg(test)]`.
fn texts(source: &str) -> Vec<String> {
    let source = source.split("#[cfg(test)]\nmod tests").next().unwrap_or_default();
    let mut texts = Vec::new();
    let mut rest = source;
    while let Some(c) = rest.chars().next() {
        let skip = if rest.starts_with("//") {
            rest.find('\n').unwrap_or(rest.len())
        } else if rest.starts_with("/*") {
            rest.find("*/").map_or(rest.len(), |end| end + 2)
        } else if c == '"' {
            let end = closing(&rest[1..]) + 1;
            if !is_for_programmers(&source[..source.len() - rest.len()]) {
                texts.push(rest[1..end].to_owned());
            }
            end + 1
        } else if let Some(hashes) = raw(rest) {
            let quote = format!("\"{}", "#".repeat(hashes));
            let begin = hashes + 2;
            let end = rest[begin..].find(&quote).map_or(rest.len(), |end| begin + end);
            texts.push(rest[begin..end].to_owned());
            (end + quote.len()).min(rest.len())
        } else if c == '\'' {
            // A character, or a lifetime: one letter or more without a closing quote.
            let mut letters = rest[1..].char_indices();
            match (letters.next(), letters.next()) {
                (Some((_, '\\')), Some((_, escaped))) => {
                    let from = 2 + escaped.len_utf8();
                    rest[from..].find('\'').map_or(rest.len(), |end| from + end + 1)
                }
                (Some((_, letter)), Some((_, '\''))) => 2 + letter.len_utf8(),
                _ => 1,
            }
        } else if c.is_alphanumeric() || c == '_' {
            // Skips a whole word, or the `r` of `for` would be taken for the start of a raw string.
            rest.find(|c: char| !(c.is_alphanumeric() || c == '_'))
                .unwrap_or(rest.len())
        } else {
            c.len_utf8()
        };
        rest = &rest[skip..];
    }
    texts
}

/// Whether the code before a text makes it one for programmers: an assertion's message, or an attribute's reason.
fn is_for_programmers(before: &str) -> bool {
    let statement = before.rsplit([';', '{', '}']).next().unwrap_or_default();
    before.ends_with("reason = ")
        || [
            "assert!(",
            "assert_eq!(",
            "assert_ne!(",
            ".expect(",
            "panic!(",
            "unreachable!(",
        ]
        .iter()
        .any(|call| statement.contains(call))
}

/// The end of a text that has begun.
fn closing(text: &str) -> usize {
    let mut escaped = false;
    for (at, c) in text.char_indices() {
        match c {
            _ if escaped => escaped = false,
            '\\' => escaped = true,
            '"' => return at,
            _ => {}
        }
    }
    text.len()
}

/// The number of hashes of a raw string that begins here; `None` if none does.
fn raw(text: &str) -> Option<usize> {
    let after = text.strip_prefix('r')?;
    let hashes = after.len() - after.trim_start_matches('#').len();
    after[hashes..].starts_with('"').then_some(hashes)
}

/// The number of words of a text: runs of at least two letters outside of braces.
fn words(text: &str) -> usize {
    let mut depth = 0_i32;
    let plain: String = text
        .replace("\\n", " ")
        .chars()
        .map(|c| {
            depth += i32::from(c == '{') - i32::from(c == '}');
            if depth > 0 || c == '}' { ' ' } else { c }
        })
        .collect();
    plain
        .split(|c: char| !(c.is_alphabetic() || c == '\'' || c == '’'))
        .filter(|word| word.chars().count() > 1)
        .count()
}

/// Whether a text is for people: an SVG path, a style or an id of several words isn't.
fn is_said(text: &str) -> bool {
    text.contains(' ') && words(text) >= WORDS
}

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    let entries = fs::read_dir(folder).unwrap_or_else(|error| panic!("{}: {error}", folder.display()));
    for path in entries.flatten().map(|entry| entry.path()) {
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            found.push(path);
        }
    }
}

/// All texts of the sources in a folder.
fn said_in(folder: &Path) -> HashSet<String> {
    let mut files = Vec::new();
    sources(folder, &mut files);
    files
        .iter()
        .filter_map(|file| fs::read_to_string(file).ok())
        .flat_map(|source| texts(&source))
        .filter(|text| is_said(text))
        .collect()
}

#[test]
fn no_other_crate_holds_a_sentence() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let (mut said, mut used) = (Vec::new(), vec![false; ALLOWED.len()]);
    let own = said_in(&root.join("shared/wording/src"));
    assert!(own.len() > 100, "{} texts in the crate for them", own.len());
    for folder in CRATES {
        let mut files = Vec::new();
        sources(&root.join(folder), &mut files);
        assert!(!files.is_empty(), "{folder} holds no source");
        for file in files {
            let source =
                fs::read_to_string(&file).unwrap_or_else(|error| panic!("{}: {error}", file.display()));
            let name = file
                .strip_prefix(&root)
                .unwrap_or(&file)
                .to_string_lossy()
                .replace('\\', "/");
            let sentences: Vec<String> = texts(&source).into_iter().filter(|text| is_said(text)).collect();
            if sentences.is_empty() {
                continue;
            }
            let twice = sentences.iter().filter(|text| own.contains(*text));
            said.extend(twice.map(|text| format!("{name}, though it stands in wording: {text}")));
            match ALLOWED.iter().position(|(place, _)| name.starts_with(place)) {
                Some(index) => used[index] = true,
                None => said.extend(sentences.iter().map(|text| format!("{name}: {text}"))),
            }
        }
    }
    assert!(
        said.is_empty(),
        "say it in shared/wording (or name the file in this test, with its reason):\n{}",
        said.join("\n")
    );
    let idle: Vec<&str> = ALLOWED
        .iter()
        .zip(used)
        .filter(|(_, used)| !used)
        .map(|((place, _), _)| *place)
        .collect();
    assert!(
        idle.is_empty(),
        "no text stands there any more: {}",
        idle.join(", ")
    );
}

#[test]
fn texts_are_found_where_they_stand() {
    let source = "fn f<'a>(x: &'a str) { // \"not this one\"\n let c = '\"'; say(\"one two three four\"); r#\"a \"raw\" one\"# }";
    assert_eq!(texts(source), ["one two three four", "a \"raw\" one"]);
    let programmers =
        "assert!(x > 0, \"one two three four\"); y.expect(\"one two three four\"); say(\"a b\")";
    assert_eq!(texts(programmers), ["a b"]);
    assert!(is_said("one two three four") && !is_said("one two three"));
    assert!(is_said("it is {a b c d} and here") && !is_said("{a} {b} or {c d e} more"));
    assert!(!is_said("mono-subs-line-flipped"));
}
