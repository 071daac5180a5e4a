//! An accessibility checker reports nothing: axe-core, which npm installs for this test only.

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

use serde_json::json;

use crate::browser::Browser;
use crate::common::{preset, write};
use crate::site::{Site, recorded, wav16};
use crate::way::{READY, TONE_IS_ON, until};

/// The checker's npm package.
const PACKAGE: &str = "axe-core@4.14.1";

/// The checker's script; `None`, with a message, where npm isn't installed or can't get it.
fn checker() -> Option<String> {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("axe");
    let script = folder.join("node_modules/axe-core/axe.min.js");
    if !script.exists() {
        fs::create_dir_all(&folder).unwrap();
        let installed = Command::new("npm")
            .args(["install", "--no-audit", "--no-fund", "--prefix"])
            .arg(&folder)
            .arg(PACKAGE)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status();
        if !installed.is_ok_and(|status| status.success()) {
            println!("not run: npm is not here or could not get {PACKAGE}");
            return None;
        }
    }
    fs::read_to_string(script).ok()
}

#[test]
#[ignore = "needs the page, a browser and npm: `cargo xtask test` runs it"]
fn a_checker_of_accessibility_finds_nothing() {
    let Some(site) = Site::new("page-accessible") else {
        return;
    };
    let Some(checker) = checker() else { return };
    let (samples, rate) = recorded(1);
    let recording = site.folder.join("venue.wav");
    wav16(&recording, &samples, rate);
    let bounce = write(
        &site.folder,
        "wide.wav",
        48_000,
        &preset(sumproof_signals::PresetKind::ALL[0], 3.0, 5),
    );
    let rig = site.folder.join("rig.toml");
    fs::write(
        &rig,
        "[left]\nbox = \"passive-direct-box\"\n[right]\npolarity = \"flipped\"\n[card]\nplayer = \"Ж\"\n",
    )
    .unwrap();
    for dark in [false, true] {
        let browser = Browser::with(
            390,
            844,
            &[
                "--use-fake-ui-for-media-stream",
                "--use-fake-device-for-media-stream",
            ],
            json!({"mobileEmulation": {"deviceMetrics": {"width": 390, "height": 844, "pixelRatio": 1.0}}}),
        );
        let scheme = if dark { "dark" } else { "light" };
        let features = json!([{"name": "prefers-color-scheme", "value": scheme}]);
        browser.devtools("Emulation.setEmulatedMedia", &json!({ "features": features }));
        let clean = |state: &str| {
            let found = browser.script(&format!(
                "{checker};\nreturn axe.run(document, {{ resultTypes: ['violations'] }}).then(result =>
                   result.violations.map(one => one.id + ': ' + one.nodes.map(node => node.html.slice(0, 120)).join(' ')))"
            ));
            assert_eq!(found, json!([]), "{state}, {scheme}");
        };
        let at = |view: &str, there: &str| {
            browser.visit(&format!("{}#{view}", site.url()));
            until(
                &browser,
                &format!("return document.querySelector('{there}') !== null"),
            );
        };
        at("", ".tasks");
        clean("start");
        at("lines", ".caution li");
        until(&browser, READY);
        clean("lines");
        browser.click("#start");
        until(&browser, TONE_IS_ON);
        clean("tone");
        browser.click("h1");
        until(
            &browser,
            "return document.querySelector('#again') && !document.querySelector('#again').closest('[hidden]')",
        );
        clean("stopped");
        at("recording", "#recording");
        browser.type_into("#recording", bounce.to_str().unwrap());
        until(
            &browser,
            "return document.querySelector('.line.error').textContent",
        );
        clean("refused");
        browser.type_into("#recording", recording.to_str().unwrap());
        until(&browser, "return document.querySelector('.sentence') !== null");
        browser.click("#keep");
        until(
            &browser,
            "return document.querySelector('.actions .line').textContent",
        );
        clean("read");
        at("kept", ".kept li");
        clean("kept");
        at("presets", "#bounces");
        browser.script("document.querySelector('details').open = true");
        browser.type_into("#bounces", bounce.to_str().unwrap());
        until(
            &browser,
            "return document.querySelector('#presets tbody tr') !== null",
        );
        clean("presets");
        at("card", "#card-rig");
        clean("no card");
        browser.type_into("#card-rig", rig.to_str().unwrap());
        until(&browser, "return document.querySelector('.card h2') !== null");
        clean("card");
    }
}
