//! The HTML report in a real browser: it loads without errors and without a network, sorts, filters, and fits a phone.
#![allow(clippy::unwrap_used, reason = "a test panics when something is missing")]

mod browser;
mod common;

use std::path::PathBuf;

use browser::Browser;
use common::{folder, preset, sumproof, text, write};
use serde_json::{Value, json};
use sumproof_signals::PresetKind;

/// As many presets as a large set has: more than there are kinds.
const PRESETS: usize = 200;

/// A report on presets of every kind; one has a name that looks like markup.
fn report(name: &str, presets: usize) -> PathBuf {
    let folder = folder(name);
    for (number, kind) in PresetKind::ALL.into_iter().cycle().take(presets).enumerate() {
        let name = match (number, number / PresetKind::ALL.len()) {
            (0, _) => "<b>Gravel & 'Foam'.wav".into(),
            (_, 0) => format!("{}.wav", kind.id()),
            (_, round) => format!("{} {}.wav", kind.id(), 1 + round),
        };
        let mut sound = preset(kind, 1.0, 1 + number as u64);
        sound.scale(1.0 / (1.0 + number as f64));
        write(&folder, &name, 48_000, &sound);
    }
    let page = folder.join("report.html");
    let output = sumproof(&[
        "check",
        "--format",
        "html",
        "--output",
        text(&page),
        text(&folder),
    ]);
    assert_eq!(output.status.code(), Some(0));
    page
}

fn column(browser: &Browser, number: usize) -> Vec<String> {
    let script = format!(
        "return [...document.querySelectorAll('#presets tbody tr')].filter(row => !row.hidden)\
         .map(row => row.cells[{number}].innerText)"
    );
    let Value::Array(cells) = browser.script(&script) else {
        panic!("no list");
    };
    cells.iter().map(|cell| cell.as_str().unwrap().into()).collect()
}

fn figures(browser: &Browser, number: usize) -> Vec<f64> {
    column(browser, number)
        .iter()
        .filter_map(|cell| cell.replace('−', "-").parse().ok())
        .collect()
}

#[test]
#[ignore = "needs Debian's chromium: `cargo xtask test` runs it"]
fn a_browser_shows_sorts_and_filters_two_hundred_presets_without_a_complaint() {
    let page = report("report-browser", PRESETS);
    let browser = Browser::open(1280, 1000);
    browser.go(&page);
    // Plain or likely.
    let is_worst = |word: &String| word.starts_with("drops out");
    assert!(is_worst(&column(&browser, 0)[0]), "the worst comes first");
    let all = column(&browser, 1);
    assert_eq!(all.len(), PRESETS);
    let pictures = browser.script("return document.querySelectorAll('#sheets article svg').length");
    assert!(pictures.as_u64() >= Some(PRESETS as u64), "{pictures} pictures");
    assert!(all.contains(&"<b>Gravel & 'Foam'".to_string()), "{all:?}");

    // By a figure, up and down.
    browser.click("#presets th:nth-child(8) button");
    let up = figures(&browser, 7);
    assert!(up.len() > PRESETS / 2 && up.is_sorted(), "{up:?}");
    // Not `innerText`: sheets outside the view aren't laid out.
    let first = browser.script("return document.querySelector('#sheets article h2').textContent");
    assert_eq!(
        first,
        json!(column(&browser, 1)[0]),
        "the sheets follow the table"
    );
    browser.click("#presets th:nth-child(8) button");
    let mut down = figures(&browser, 7);
    down.reverse();
    assert_eq!(down, up);
    // By name.
    browser.click("#presets th:nth-child(2) button");
    let names = column(&browser, 1);
    assert_ne!(names, all);
    assert!(names.last().unwrap().starts_with("wet-only"));

    // Only some.
    browser.type_into("#search", "REVERB");
    let found = column(&browser, 1);
    assert!(
        found.len() >= 2 && found.iter().all(|name| name.contains("reverb")),
        "{found:?}"
    );
    browser.script("document.getElementById('search').value = ''; document.getElementById('search').dispatchEvent(new Event('input'))");
    browser.click("input[value='drops-out']");
    assert!(!column(&browser, 0).iter().any(is_worst));
    let sheets = browser.script("return document.querySelectorAll('#sheets article:not([hidden])').length");
    assert_eq!(sheets, json!(column(&browser, 1).len()));

    assert_eq!(browser.console(), Vec::<String>::new());
    let fetched = browser.script(
        "return performance.getEntriesByType('resource').map(entry => entry.name)\
        .filter(name => !name.startsWith('data:'))",
    );
    assert_eq!(fetched, json!([]), "it needs nothing but itself");
}

#[test]
#[ignore = "needs Debian's chromium: `cargo xtask test` runs it"]
fn it_fits_a_phone_and_turns_dark() {
    let page = report("report-phone", 12);
    for browser in [
        Browser::phone(),
        Browser::open(768, 900),
        Browser::open(1280, 900),
    ] {
        browser.go(&page);
        // Sheets outside the view have no size of their own: all are laid out.
        browser.script("document.querySelectorAll('article').forEach(sheet => sheet.style.contentVisibility = 'visible')");
        let widths = browser.script(
            "return [document.documentElement.scrollWidth - window.innerWidth, \
             ...[...document.querySelectorAll('.scroll, .list')].map(part => part.scrollWidth - part.clientWidth)]",
        );
        let Value::Array(widths) = &widths else {
            panic!("no list");
        };
        assert!(widths.len() > 12, "{widths:?}");
        for over in widths {
            assert!(over.as_f64() <= Some(1.0), "it scrolls sideways: {widths:?}");
        }
        // No column is left out.
        let cells = browser.script(
            "return [...document.querySelectorAll('#presets tbody tr:first-child > *')].filter(cell => cell.offsetWidth === 0).length",
        );
        assert_eq!(cells, json!(0));
        assert_eq!(browser.console(), Vec::<String>::new());
    }
    let dark = Browser::dark(1280, 900);
    dark.go(&page);
    let ground = dark.script("return getComputedStyle(document.documentElement).backgroundColor");
    assert_eq!(ground, json!("rgb(19, 19, 17)"));
}
