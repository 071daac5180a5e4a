//! What a check and a reading show while they run, and what browser and user can do to them.

use serde_json::{Value, json};

use crate::browser::Browser;
use crate::common::{preset, text, write};
use crate::site::{Site, hum, recorded, wav16};
use crate::way::{ERROR, READY, SENTENCE, TONE_IS_ON, phone, press, until};

/// Runs a script before the page's own, at every visit.
fn first(browser: &Browser, script: &str) {
    browser.devtools(
        "Page.addScriptToEvaluateOnNewDocument",
        &json!({ "source": script }),
    );
}

const NOTE: &str = "return document.querySelector('.during .note:not(.level .note)').textContent";

#[test]
#[ignore = "needs the page and a browser: `cargo xtask test` runs it"]
fn clipping_and_processing_that_stayed_on_are_said_while_recording() {
    let Some(site) = Site::new("page-clipping") else {
        return;
    };
    let heard = site.folder.join("loud.wav");
    // Two seconds of a quiet place, then what is far too loud.
    let loud: Vec<f64> = (0..48_000 * 40)
        .map(|n| match n {
            0..96_000 => 0.01 * (f64::from(n) * 0.01).sin(),
            _ if n / 40 % 2 == 0 => 1.0,
            _ => -1.0,
        })
        .collect();
    wav16(&heard, &loud, 48_000);
    let browser = phone(&heard, &site);
    first(
        &browser,
        "const open = MediaDevices.prototype.getUserMedia;
         MediaDevices.prototype.getUserMedia = function (wanted) { window.wanted = wanted; return open.call(this, wanted); };
         const settings = MediaStreamTrack.prototype.getSettings;
         MediaStreamTrack.prototype.getSettings = function () { return { ...settings.call(this), ...window.kept }; };",
    );
    browser.visit(&format!("{}#lines", site.url()));
    until(&browser, READY);
    browser.click("#start");
    until(&browser, TONE_IS_ON);
    // Asked off, and this browser did so.
    assert_eq!(
        browser.script("return window.wanted.audio"),
        json!({"echoCancellation": false, "noiseSuppression": false, "autoGainControl": false, "channelCount": 1})
    );
    assert_eq!(browser.script(NOTE), "");
    let clipped = until(
        &browser,
        "return document.querySelector('[data-figure=clipping]').textContent.match(/^\\d+ samples: lower the level/)?.[0]",
    );
    assert!(
        clipped.as_str().unwrap().ends_with("lower the level"),
        "{clipped}"
    );
    // A browser that kept two of them on.
    browser.script("window.kept = { echoCancellation: true, autoGainControl: true }");
    let note = until(&browser, NOTE);
    assert!(
        note.as_str()
            .unwrap()
            .starts_with("This browser kept echo cancelling, automatic gain on."),
        "{note}"
    );
    // One that says nothing about it.
    browser.script("window.kept = { echoCancellation: undefined, noiseSuppression: undefined, autoGainControl: undefined }");
    until(
        &browser,
        &format!("{NOTE}.startsWith('This browser doesn’t say')"),
    );
    // A second start in the same window: one line, and the first check goes on.
    press(&browser, "start");
    let line = until(&browser, ERROR);
    assert!(line.as_str().unwrap().contains("running already"), "{line}");
    assert_eq!(browser.script(TONE_IS_ON), true);
    assert_eq!(browser.console(), Vec::<String>::new());
}

#[test]
#[ignore = "needs the page and a browser: `cargo xtask test` runs it"]
fn the_screen_is_kept_on_and_it_is_said_when_it_is_not() {
    let Some(site) = Site::new("page-awake") else {
        return;
    };
    let heard = site.folder.join("hum.wav");
    hum(&heard, 20);
    let browser = phone(&heard, &site);
    first(
        &browser,
        "window.locks = [];
         const request = WakeLock.prototype.request;
         WakeLock.prototype.request = async function (kind) {
           if (window.refuses) throw new DOMException('', 'NotAllowedError');
           const lock = await request.call(this, kind);
           window.locks.push(lock);
           return lock;
         };",
    );
    browser.visit(&format!("{}#lines", site.url()));
    let start = || {
        until(&browser, READY);
        browser.click("#start");
        until(&browser, TONE_IS_ON);
    };
    let stop = || {
        browser.click("h1");
        until(&browser, ERROR);
        press(&browser, "again");
    };
    start();
    assert_eq!(
        browser.script("return window.locks.map(lock => [lock.type, lock.released])"),
        json!([["screen", false]])
    );
    assert_eq!(browser.script(NOTE), "");
    // Given back with the check.
    stop();
    until(&browser, "return window.locks[0].released");
    // Taken away by the system, as by a battery that runs low.
    start();
    browser.script("return window.locks[1].release()");
    until(&browser, &format!("{NOTE}.includes('screen may go dark')"));
    assert_eq!(browser.script(TONE_IS_ON), true);
    stop();
    // Refused from the beginning.
    browser.script("window.refuses = true");
    start();
    until(&browser, &format!("{NOTE}.includes('screen may go dark')"));
    assert_eq!(browser.console(), Vec::<String>::new());
}

#[test]
#[ignore = "needs the page and a browser: `cargo xtask test` runs it"]
fn a_reading_shows_how_far_it_is_and_can_be_shared() {
    let Some(site) = Site::new("page-share") else {
        return;
    };
    let (samples, rate) = recorded(1);
    let recording = site.folder.join("venue.wav");
    wav16(&recording, &samples, rate);
    let browser = Browser::phone();
    first(
        &browser,
        "const define = (name, value) => Object.defineProperty(Navigator.prototype, name, { value, configurable: true });
         define('share', async data => {
           window.shared = data;
           if (window.refusal) throw new DOMException('', window.refusal);
         });
         define('canShare', data => !window.noFiles && data.files.length > 0);
         window.shares = [];
         const { set, get } = Object.getOwnPropertyDescriptor(HTMLProgressElement.prototype, 'value');
         Object.defineProperty(HTMLProgressElement.prototype, 'value', { get, set(share) { window.shares.push(share); set.call(this, share); } });",
    );
    browser.visit(&format!("{}#recording", site.url()));
    until(&browser, "return document.querySelector('#recording') !== null");
    browser.type_into("#recording", text(&recording));
    let sentence = until(&browser, SENTENCE);
    assert_ne!(sentence, "error", "{}", browser.script(ERROR));
    let shares = numbers(&browser.script("return window.shares"));
    assert!(shares.len() > 5, "{shares:?}");
    assert!(
        shares.is_sorted() && shares.iter().all(|share| (0.0..1.0).contains(share)),
        "{shares:?}"
    );

    browser.type_into("#venue", "The Cellar");
    let press_share = || {
        browser.script("window.shared = null; document.querySelector('.actions .line').textContent = ''");
        press(&browser, "share");
        until(
            &browser,
            "return window.shared && new Promise(done => setTimeout(() => done(true), 50))",
        );
        browser.script("return document.querySelector('.actions .line').textContent")
    };
    assert_eq!(press_share(), "");
    let files = browser.script("return Promise.all(window.shared.files.map(async file => [file.type, file.name.startsWith('The Cellar'), (await file.text()).length > 100]))");
    assert_eq!(files[0], json!(["text/html", true, true]));
    let rig = browser.script("return document.querySelector('#save-rig') !== null");
    assert_eq!(files.as_array().unwrap().len(), if rig == true { 2 } else { 1 });
    // The user changes their mind.
    browser.script("window.refusal = 'AbortError'");
    assert_eq!(press_share(), "");
    // The system refuses.
    browser.script("window.refusal = 'NotAllowedError'");
    let line = press_share();
    assert!(line.as_str().unwrap().starts_with("Nothing was shared"), "{line}");
    // A browser that shares no files gets the sentence.
    browser.script("window.refusal = null; window.noFiles = true");
    assert_eq!(press_share(), "");
    assert_eq!(browser.script("return window.shared.text"), sentence);
    assert_eq!(browser.console(), Vec::<String>::new());
}

#[test]
#[ignore = "needs the page and a browser: `cargo xtask test` runs it"]
fn judging_shows_how_far_it_is_within_a_preset() {
    let Some(site) = Site::new("page-far") else {
        return;
    };
    let kind = sumproof_signals::PresetKind::ALL[0];
    let bounce = write(&site.folder, "wide.wav", 48_000, &preset(kind, 10.0, 5));
    let browser = Browser::phone();
    first(
        &browser,
        "window.shares = [];
         const { set, get } = Object.getOwnPropertyDescriptor(HTMLProgressElement.prototype, 'value');
         Object.defineProperty(HTMLProgressElement.prototype, 'value', { get, set(share) { window.shares.push(share); set.call(this, share); } });",
    );
    browser.visit(&format!("{}#presets", site.url()));
    until(&browser, "return document.querySelector('#bounces') !== null");
    browser.type_into("#bounces", text(&bounce));
    until(
        &browser,
        "return document.querySelector('#presets tbody tr') !== null",
    );
    let shares = numbers(&browser.script("return window.shares"));
    assert!(shares.len() > 5 && shares.is_sorted(), "{shares:?}");
    assert!(
        shares.iter().any(|share| (0.1..0.9).contains(share)),
        "{shares:?}"
    );
}

fn numbers(list: &Value) -> Vec<f64> {
    list.as_array()
        .unwrap()
        .iter()
        .filter_map(Value::as_f64)
        .collect()
}
