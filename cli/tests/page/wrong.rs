//! Damaged files: the page refuses them with the command's messages, and goes on.

use std::fs;
use std::path::Path;

use serde_json::json;

use crate::browser::Browser;
use crate::common::{complaints, printed, sumproof};
use crate::same::{asked, on_the_page};
use crate::site::Site;

#[test]
#[ignore = "needs the page and a browser: `cargo xtask test` runs it"]
fn damaged_files_are_refused_as_by_the_command() {
    let Some(site) = Site::new("page-wrong") else {
        return;
    };
    let inputs = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/fuzz");
    let mut names = Vec::new();
    for folder in ["seeds/files", "found/files"] {
        for entry in fs::read_dir(inputs.join(folder)).unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_name().unwrap().to_str().unwrap().to_owned();
            let bytes = fs::read(&path).unwrap();
            // Intact, truncated, and with a gap.
            let mut holed = bytes.clone();
            let middle = bytes.len() / 3;
            holed[middle..(middle + 40).min(bytes.len())].fill(0xff);
            for (how, bytes) in [
                ("", &bytes[..]),
                ("cut-", &bytes[..bytes.len() / 2]),
                ("holed-", &holed[..]),
            ] {
                fs::write(site.folder.join(format!("{how}{name}")), bytes).unwrap();
                names.push(format!("{how}{name}"));
            }
        }
    }
    names.sort();
    let browser = Browser::open(800, 600);
    site.open(&browser);
    let questions: Vec<_> = names
        .iter()
        .map(|name| json!({"ask": "read", "mono": false, "file": {"name": name}}))
        .collect();
    let answers = asked(&browser, &json!(questions));
    for (name, answer) in names.iter().zip(answers.as_array().unwrap()) {
        let answer = &answer["answer"];
        if answer["foreign"] == true {
            // Here the page tries the browser's decoder next; the command may have its own.
            continue;
        }
        let path = site.folder.join(name);
        let output = sumproof(&["linecheck", "read", path.to_str().unwrap()]);
        let folder = format!("{}/", site.folder.display());
        let said = complaints(&output).replace(&folder, "");
        let line = answer["refused"]
            .as_str()
            .unwrap_or_else(|| panic!("{name}: {}", printed(&output)));
        assert_eq!(line, on_the_page(said.trim_end()), "{name}");
    }
    assert_eq!(browser.console(), Vec::<String>::new());
}
