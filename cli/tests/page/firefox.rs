//! Debian's Firefox reads a file on the page. It is controlled through its Marionette protocol (length, colon, JSON, on
//! a socket), because no driver is packaged.

use std::fs;
use std::io::{BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::site::{Site, recorded, wav16};

/// Longer than any step takes on a busy machine.
const PATIENCE: Duration = Duration::from_secs(240);

struct Firefox {
    program: Child,
    profile: PathBuf,
    stream: BufReader<TcpStream>,
    number: u64,
}

impl Firefox {
    fn open() -> Self {
        let port = TcpListener::bind("127.0.0.1:0")
            .unwrap()
            .local_addr()
            .unwrap()
            .port();
        let profile = std::env::temp_dir().join(format!("sumproof-firefox-{}", std::process::id()));
        let _ = fs::remove_dir_all(&profile);
        fs::create_dir_all(&profile).unwrap();
        let settings = format!(
            "user_pref(\"marionette.port\", {port});\nuser_pref(\"app.update.enabled\", false);\n\
             user_pref(\"browser.shell.checkDefaultBrowser\", false);\n"
        );
        fs::write(profile.join("user.js"), settings).unwrap();
        let program = Command::new("firefox-esr")
            .args(["--headless", "--marionette", "-profile"])
            .arg(&profile)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap_or_else(|error| {
                panic!("firefox-esr could not be started ({error}): apt-get install firefox-esr")
            });
        let end = Instant::now() + PATIENCE;
        let stream = loop {
            match TcpStream::connect(("127.0.0.1", port)) {
                Ok(stream) => break stream,
                Err(error) => assert!(Instant::now() < end, "Firefox doesn't answer: {error}"),
            }
            std::thread::sleep(Duration::from_millis(200));
        };
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        let mut firefox = Self {
            program,
            profile,
            stream: BufReader::new(stream),
            number: 0,
        };
        firefox.heard();
        firefox.command("WebDriver:NewSession", &json!({}));
        firefox
    }

    fn heard(&mut self) -> Value {
        let mut length = 0;
        loop {
            let mut byte = [0];
            self.stream.read_exact(&mut byte).unwrap();
            match byte[0] {
                b':' => break,
                digit => length = 10 * length + usize::from(digit - b'0'),
            }
        }
        let mut message = vec![0; length];
        self.stream.read_exact(&mut message).unwrap();
        serde_json::from_slice(&message).unwrap()
    }

    fn command(&mut self, name: &str, parameters: &Value) -> Value {
        self.number += 1;
        let message = json!([0, self.number, name, parameters]).to_string();
        write!(self.stream.get_mut(), "{}:{message}", message.len()).unwrap();
        let answer = self.heard();
        assert_eq!(answer[2], Value::Null, "{name}");
        answer[3].clone()
    }

    fn script(&mut self, script: &str) -> Value {
        self.command("WebDriver:ExecuteScript", &json!({"script": script, "args": []}))["value"].clone()
    }
}

impl Drop for Firefox {
    fn drop(&mut self) {
        let _ = self.program.kill();
        let _ = self.program.wait();
        let _ = fs::remove_dir_all(&self.profile);
    }
}

#[test]
#[ignore = "needs the page and Firefox: `cargo xtask test` runs it"]
fn firefox_reads_a_file() {
    let Some(site) = Site::new("page-firefox") else {
        return;
    };
    let (samples, rate) = recorded(1);
    let recording = site.folder.join("venue.wav");
    wav16(&recording, &samples, rate);
    let mut firefox = Firefox::open();
    firefox.command(
        "WebDriver:Navigate",
        &json!({"url": format!("{}#recording", site.url())}),
    );
    let found = firefox.command(
        "WebDriver:FindElement",
        &json!({"using": "css selector", "value": "#recording"}),
    );
    let element = found["value"]
        .as_object()
        .unwrap()
        .values()
        .next()
        .unwrap()
        .clone();
    firefox.command(
        "WebDriver:ElementSendKeys",
        &json!({"id": element, "text": recording}),
    );
    let end = Instant::now() + PATIENCE;
    let sentence = loop {
        let said = firefox
            .script("return document.querySelector('.sentence, .line.error:not(:empty)')?.textContent");
        if let Some(said) = said.as_str() {
            break said.to_owned();
        }
        assert!(Instant::now() < end, "nothing was read");
        std::thread::sleep(Duration::from_millis(200));
    };
    let output = crate::common::sumproof(&[
        "linecheck",
        "read",
        "--format",
        "json",
        recording.to_str().unwrap(),
    ]);
    let said: Value = serde_json::from_str(&crate::common::printed(&output)).unwrap();
    assert_eq!(said["sentence"], sentence);
}
