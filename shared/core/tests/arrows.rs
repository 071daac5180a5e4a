//! The crate's folders depend on each other in one direction, as `lib.rs` lists them.

use std::fs;
use std::path::{Path, PathBuf};

/// Every folder with those it may use besides itself.
const FOLDERS: [(&str, &[&str]); 10] = [
    ("dsp", &[]),
    ("spectrum", &["dsp"]),
    ("routing", &["dsp", "spectrum"]),
    ("alignment", &["dsp", "spectrum", "routing"]),
    ("split", &["dsp", "spectrum", "routing", "alignment"]),
    ("score", &["dsp", "spectrum", "routing", "split"]),
    (
        "explain",
        &["dsp", "spectrum", "routing", "alignment", "split", "score"],
    ),
    (
        "session",
        &[
            "dsp",
            "spectrum",
            "routing",
            "alignment",
            "split",
            "score",
            "explain",
        ],
    ),
    ("audition", &["dsp", "routing"]),
    ("line_check", &["dsp", "routing"]),
];

fn sources(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).expect("a folder of this crate");
    entries
        .flat_map(|entry| {
            let path = entry.expect("an entry of it").path();
            if path.is_dir() { sources(&path) } else { vec![path] }
        })
        .collect()
}

/// The folders that a file's code names; comments may name any.
fn named(text: &str) -> impl Iterator<Item = &str> {
    let code = text.lines().filter_map(|line| line.split("//").next());
    code.flat_map(|line| line.split("crate::").skip(1))
        .filter_map(|rest| rest.split(|c: char| !(c.is_alphanumeric() || c == '_')).next())
}

#[test]
fn folders_use_only_those_below_them() {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let (mut seen, mut wrong) = (0, Vec::new());
    for (folder, below) in FOLDERS {
        for path in sources(&source.join(folder)) {
            let text = fs::read_to_string(&path).expect("a source file");
            for other in named(&text) {
                let is_folder = FOLDERS.iter().any(|(name, _)| *name == other);
                seen += usize::from(is_folder && other != folder);
                if is_folder && other != folder && !below.contains(&other) {
                    wrong.push(format!("{} uses {other}", path.display()));
                }
            }
        }
    }
    assert!(seen > 100, "only {seen} uses found");
    assert!(wrong.is_empty(), "{wrong:#?}");
}
