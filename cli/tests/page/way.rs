//! From the first touch to the saved rig file, at a venue and from a file; without a network; and what ends a check
//! early.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use sumproof_report::rig::file::parse;

use crate::browser::Browser;
use crate::card::card;
use crate::common::sumproof;
use crate::site::{Site, hum, is_plain, recorded, wav16};

/// Longer than any step takes on a busy machine.
const PATIENCE: Duration = Duration::from_secs(240);

/// Waits until a script returns a value, and returns it.
pub fn until(browser: &Browser, script: &str) -> Value {
    let end = Instant::now() + PATIENCE;
    loop {
        let value = browser.script(script);
        let there = !matches!(&value, Value::Null | Value::Bool(false)) && value != "";
        if there {
            return value;
        }
        assert!(
            Instant::now() < end,
            "in vain: {script}\n{}",
            browser.script("return document.body.innerText")
        );
        std::thread::sleep(Duration::from_millis(200));
    }
}

/// Whether a check can be started.
pub const READY: &str = "const start = document.querySelector('#start'); return start && !start.disabled && !start.closest('[hidden]')";

pub const TONE_IS_ON: &str =
    "return !document.querySelector('.during').hidden && !document.querySelector('#send').hidden";
pub const ERROR: &str = "return document.querySelector('.line.error').textContent";
pub const SENTENCE: &str = "return document.querySelector('.sentence')?.textContent ?? (document.querySelector('.line.error').textContent && 'error')";

/// Clicks by script, where the mouse is not under test.
pub fn press(browser: &Browser, id: &str) {
    browser.script(&format!("document.getElementById('{id}').click()"));
}

/// A venue's recording from which the command can make a rig file.
pub fn venue(folder: &Path) -> PathBuf {
    let path = folder.join("venue.wav");
    let fits = |number: &u64| {
        let (samples, rate) = recorded(*number);
        wav16(&path, &samples, rate);
        let rig = folder.join("venue.toml");
        let output = sumproof(&[
            "linecheck",
            "read",
            path.to_str().unwrap(),
            "--save",
            rig.to_str().unwrap(),
        ]);
        rate == 48_000 && output.status.code() == Some(0)
    };
    (1..).filter(|&number| is_plain(number)).find(fits).unwrap();
    path
}

/// A phone whose microphone plays a file, once.
pub fn phone(heard: &Path, site: &Site) -> Browser {
    let capture = format!("--use-file-for-fake-audio-capture={}%noloop", heard.display());
    let browser = Browser::with(
        390,
        844,
        &[
            "--use-fake-ui-for-media-stream",
            "--use-fake-device-for-media-stream",
            &capture,
        ],
        json!({"mobileEmulation": {"deviceMetrics": {"width": 390, "height": 844, "pixelRatio": 2.0}}}),
    );
    browser.devtools(
        "Browser.setDownloadBehavior",
        &json!({"behavior": "allow", "downloadPath": site.folder.join("saved")}),
    );
    browser
}

/// The one saved file with that extension.
pub fn saved(folder: &Path, ending: &str) -> PathBuf {
    let end = Instant::now() + PATIENCE;
    loop {
        let found = fs::read_dir(folder.join("saved"))
            .into_iter()
            .flatten()
            .map(|entry| entry.unwrap().path())
            .find(|path| path.extension().is_some_and(|found| found == ending))
            .filter(|path| fs::metadata(path).is_ok_and(|about| about.len() > 0));
        if let Some(path) = found {
            return path;
        }
        assert!(Instant::now() < end, "no .{ending} was saved");
        std::thread::sleep(Duration::from_millis(200));
    }
}

/// Saves the rig file of the finding shown, and checks that plugin and command can import it.
fn save_rig(browser: &Browser, folder: &Path) {
    let _ = fs::remove_dir_all(folder.join("saved"));
    browser.type_into("#venue", "The Cellar");
    press(browser, "keep");
    press(browser, "save-rig");
    press(browser, "save-json");
    let read = |ending| fs::read_to_string(saved(folder, ending)).unwrap();
    let rig = parse(&read("toml")).unwrap();
    assert_eq!(rig.own_name(), Some("The Cellar"));
    let json: Value = serde_json::from_str(&read("json")).unwrap();
    assert_eq!(json["kind"], "line-check");
}

/// Asserts that only the site's own files were requested.
fn only_its_own(browser: &Browser, site: &Site) {
    // The browser's own pages (the empty one of a new window) come from no network.
    let mut requests = browser.requests();
    requests.retain(|url| !url.starts_with("chrome:"));
    assert!(requests.iter().any(|url| url.ends_with("page.js")));
    for url in requests {
        assert!(
            url.starts_with(&site.url()) || url.starts_with("blob:") || url.starts_with("data:"),
            "{url}"
        );
    }
}

#[test]
#[ignore = "needs the page and a browser: `cargo xtask test` runs it"]
fn from_the_first_touch_to_the_saved_rig_file_then_without_a_network() {
    let Some(site) = Site::new("page-way") else { return };
    let heard = venue(&site.folder);
    let browser = phone(&heard, &site);
    browser.visit(&format!("{}#lines", site.url()));
    until(
        &browser,
        "return document.querySelector('.caution li')?.textContent",
    );
    browser.click("#start");
    until(&browser, TONE_IS_ON);
    // It begins at −50 dBFS, and shows the level it hears.
    let level = browser.script("return document.querySelector('#level').value");
    assert_eq!(level, "-50");
    // The recording's beginning is heard before the signal is sent.
    std::thread::sleep(Duration::from_secs(5));
    let noise = browser.script("return document.querySelector('[data-figure=noise]').textContent");
    assert!(noise.as_str().unwrap().ends_with("dBFS"), "{noise}");
    browser.click("#send");
    let sentence = until(&browser, SENTENCE);
    assert_ne!(sentence, "error", "{}", browser.script(ERROR));
    save_rig(&browser, &site.folder);
    only_its_own(&browser, &site);

    // The network goes down; the saved finding and everything else is still there.
    browser.script("return navigator.serviceWorker.ready.then(() => true)");
    until(&browser, "return caches.keys().then(names => names.length > 0)");
    let Site { folder, server } = site;
    let url = format!("http://localhost:{}/", server.port);
    drop(server);
    browser.visit(&format!("{url}#kept"));
    browser.reload();
    until(
        &browser,
        "return document.querySelector('.kept li')?.textContent.includes('The Cellar')",
    );
    browser.visit(&format!("{url}#recording"));
    until(&browser, "return document.querySelector('#recording') !== null");
    browser.type_into("#recording", folder.join("venue.wav").to_str().unwrap());
    assert_ne!(until(&browser, SENTENCE), "error", "{}", browser.script(ERROR));
    save_rig(&browser, &folder);

    // The rig card of the rig file that the page saved, without a network too: the same file as the command's.
    let rig = saved(&folder, "toml");
    browser.visit(&format!("{url}#card"));
    until(&browser, "return document.querySelector('#card-rig') !== null");
    browser.type_into("#card-rig", rig.to_str().unwrap());
    until(&browser, "return document.querySelector('.card h2') !== null");
    press(&browser, "save-pdf");
    let ours = fs::read(saved(&folder, "pdf")).unwrap();
    assert!(
        ours == card(&rig, &[], &folder, "a4"),
        "the PDF isn't the command's"
    );
    assert_eq!(browser.console(), Vec::<String>::new());
}

#[test]
#[ignore = "needs the page and a browser: `cargo xtask test` runs it"]
fn what_ends_a_check_is_one_line_and_nothing_is_lost() {
    let Some(site) = Site::new("page-ends") else {
        return;
    };
    let heard = site.folder.join("hum.wav");
    hum(&heard, 20);
    let browser = phone(&heard, &site);
    let lines = format!("{}#lines", site.url());
    browser.visit(&lines);
    let start = |browser: &Browser| {
        until(browser, READY);
        browser.click("#start");
        until(browser, TONE_IS_ON);
    };
    start(&browser);
    // A second check is started in another window.
    let first = browser.window();
    browser.new_window();
    browser.visit(&lines);
    until(&browser, READY);
    press(&browser, "start");
    let line = until(&browser, ERROR);
    assert!(line.as_str().unwrap().contains("running already"), "{line}");
    browser.close_window(&first);
    // The first one goes on until it is in the background.
    browser.click("#send");
    std::thread::sleep(Duration::from_secs(2));
    browser.minimize();
    let line = until(&browser, ERROR);
    assert!(line.as_str().unwrap().contains("background"), "{line}");
    // The recording so far is still there, and can be read: it contains no test signal.
    press(&browser, "read");
    until(
        &browser,
        "return document.querySelector('#save-sound, .found button') !== null && !document.querySelector('.found progress')",
    );
    let line = until(&browser, ERROR);
    assert!(line.as_str().unwrap().contains("line check "), "{line}");
    assert_eq!(browser.console(), Vec::<String>::new());
}

#[test]
#[ignore = "needs the page and a browser: `cargo xtask test` runs it"]
fn a_locked_phone_a_touch_and_a_refused_microphone_are_one_line_each() {
    let Some(site) = Site::new("page-locked") else {
        return;
    };
    let heard = site.folder.join("hum.wav");
    hum(&heard, 5);
    let browser = phone(&heard, &site);
    browser.visit(&format!("{}#lines", site.url()));
    until(&browser, READY);
    browser.click("#start");
    until(&browser, TONE_IS_ON);
    // Any touch except on the level control.
    browser.click("#level");
    assert_eq!(browser.script(ERROR), "");
    browser.click("h1");
    let line = until(&browser, ERROR);
    assert!(line.as_str().unwrap().starts_with("Stopped."), "{line}");
    press(&browser, "again");
    until(&browser, READY);
    press(&browser, "start");
    until(&browser, TONE_IS_ON);
    browser.devtools("Page.setWebLifecycleState", &json!({"state": "frozen"}));
    browser.devtools("Page.setWebLifecycleState", &json!({"state": "active"}));
    let line = until(&browser, ERROR);
    assert!(line.as_str().unwrap().contains("locked"), "{line}");

    let deaf = Browser::with(390, 844, &["--use-fake-device-for-media-stream"], json!({}));
    deaf.devtools(
        "Browser.setPermission",
        &json!({"permission": {"name": "microphone"}, "setting": "denied", "origin": site.url().trim_end_matches('/')}),
    );
    deaf.visit(&format!("{}#lines", site.url()));
    until(&deaf, READY);
    deaf.click("#start");
    let line = until(&deaf, ERROR);
    assert!(
        line.as_str().unwrap().contains("microphone was refused"),
        "{line}"
    );
    // It is above what was touched, and is brought into view.
    let seen = deaf.script(
        "const { top, bottom } = document.querySelector('.line.error').getBoundingClientRect();
         return top >= -1 && bottom <= innerHeight + 1",
    );
    assert_eq!(seen, true);
}

#[test]
#[ignore = "needs the page and a browser: `cargo xtask test` runs it"]
fn presets_are_judged_and_shown_and_nothing_scrolls_sideways() {
    let Some(site) = Site::new("page-judged") else {
        return;
    };
    let mut paths = Vec::new();
    for kind in sumproof_signals::PresetKind::ALL.into_iter().take(3) {
        let name = format!("{}.wav", kind.id());
        let path = crate::common::write(&site.folder, &name, 48_000, &crate::common::preset(kind, 4.0, 3));
        paths.push(path.to_str().unwrap().to_owned());
    }
    let silent = site.folder.join("picture.png");
    fs::copy(site.folder.join("icon.png"), &silent).unwrap();
    paths.push(silent.to_str().unwrap().to_owned());
    for (width, dark) in [(360, true), (390, false), (1280, true)] {
        let phone =
            json!({"mobileEmulation": {"deviceMetrics": {"width": width, "height": 844, "pixelRatio": 1.0}}});
        let browser = Browser::with(width, 844, &[], phone);
        if dark {
            let features = json!([{"name": "prefers-color-scheme", "value": "dark"}]);
            browser.devtools("Emulation.setEmulatedMedia", &json!({ "features": features }));
        }
        browser.visit(&format!("{}#presets", site.url()));
        until(&browser, "return document.querySelector('#bounces') !== null");
        browser.type_into("#bounces", &paths.join("\n"));
        until(
            &browser,
            "return document.querySelectorAll('#presets tbody tr').length === 3",
        );
        let refused = browser.script("return document.querySelector('.refusals').innerText");
        assert_eq!(refused, "picture.png: is a picture; give a recording");
        let wide = browser.script("return document.documentElement.scrollWidth");
        assert!(wide.as_u64().unwrap() <= u64::from(width), "{wide} at {width}");
        // The page's own filter works on the table.
        browser.type_into("#search", "no such preset");
        let shown = browser.script(
            "return [...document.querySelectorAll('#presets tbody tr')].filter(row => !row.hidden).length",
        );
        assert_eq!(shown, 0);
        assert_eq!(browser.console(), Vec::<String>::new());
    }
}
