//! Debian's Firefox reads a file on the page. It is controlled through its Marionette protocol (length, colon, JSON, on
//! a socket), because no driver is packaged.

use std::fs;
use std::io::{BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::site::{Site, recorded, wav16};
use crate::way::{ERROR, READY, TONE_IS_ON};

/// Longer than any step takes on a busy machine.
const PATIENCE: Duration = Duration::from_secs(240);

struct Firefox {
    program: Child,
    profile: PathBuf,
    stream: BufReader<TcpStream>,
    number: u64,
}

impl Firefox {
    /// Opens it; with a sound server's socket it plays there, and its microphone is a tone of its own.
    fn open(sound: Option<&Path>) -> Self {
        let port = TcpListener::bind("127.0.0.1:0")
            .unwrap()
            .local_addr()
            .unwrap()
            .port();
        let profile = std::env::temp_dir().join(format!("sumproof-firefox-{}-{port}", std::process::id()));
        let _ = fs::remove_dir_all(&profile);
        fs::create_dir_all(&profile).unwrap();
        let settings = format!(
            "user_pref(\"marionette.port\", {port});\nuser_pref(\"app.update.enabled\", false);\n\
             user_pref(\"browser.shell.checkDefaultBrowser\", false);\n\
             user_pref(\"media.navigator.streams.fake\", true);\n\
             user_pref(\"media.navigator.permission.disabled\", true);\n"
        );
        fs::write(profile.join("user.js"), settings).unwrap();
        let mut command = Command::new("firefox-esr");
        if let Some(sound) = sound {
            command.env("PULSE_SERVER", format!("unix:{}", sound.display()));
        }
        let program = command
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

    /// The element that a CSS selector finds.
    fn element(&mut self, selector: &str) -> String {
        let found = self.command(
            "WebDriver:FindElement",
            &json!({"using": "css selector", "value": selector}),
        );
        let found = found["value"].as_object().unwrap().values().next();
        found.and_then(Value::as_str).unwrap().to_owned()
    }

    fn click(&mut self, selector: &str) {
        let id = self.element(selector);
        self.command("WebDriver:ElementClick", &json!({ "id": id }));
    }

    /// Waits until a script returns true, or a text.
    fn until(&mut self, script: &str) -> Value {
        let end = Instant::now() + PATIENCE;
        loop {
            let value = self.script(script);
            if value == true || value.as_str().is_some_and(|text| !text.is_empty()) {
                return value;
            }
            if Instant::now() > end {
                panic!(
                    "in vain: {script}\n{}",
                    self.script("return document.body.innerText")
                );
            }
            std::thread::sleep(Duration::from_millis(200));
        }
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

/// A sound server of its own, with an output that nobody hears.
struct Silent {
    program: Child,
    folder: PathBuf,
}

impl Silent {
    /// `None`, with a message, where there is no such server.
    fn start() -> Option<Self> {
        let folder = std::env::temp_dir().join(format!("sumproof-silent-{}", std::process::id()));
        let _ = fs::remove_dir_all(&folder);
        fs::create_dir_all(&folder).unwrap();
        let socket = folder.join("socket");
        let started = Command::new("pulseaudio")
            .args(["-n", "--daemonize=no", "--use-pid-file=no", "--exit-idle-time=-1"])
            .args(["-L", "module-null-sink"])
            .args([
                "-L",
                &format!(
                    "module-native-protocol-unix auth-anonymous=1 socket={}",
                    socket.display()
                ),
            ])
            .env("HOME", &folder)
            .env("XDG_RUNTIME_DIR", &folder)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn();
        let Ok(program) = started else {
            println!(
                "not run: Firefox plays only to a sound device, and pulseaudio isn't installed to make one"
            );
            return None;
        };
        let silent = Self { program, folder };
        let end = Instant::now() + PATIENCE;
        while !socket.exists() {
            assert!(Instant::now() < end, "pulseaudio doesn't start");
            std::thread::sleep(Duration::from_millis(100));
        }
        Some(silent)
    }
}

impl Drop for Silent {
    fn drop(&mut self) {
        let _ = self.program.kill();
        let _ = self.program.wait();
        let _ = fs::remove_dir_all(&self.folder);
    }
}

#[test]
#[ignore = "needs the page, Firefox and pulseaudio: `cargo xtask test` runs it"]
fn firefox_plays_the_signal() {
    let Some(site) = Site::new("page-firefox-plays") else {
        return;
    };
    let Some(silent) = Silent::start() else { return };
    let mut firefox = Firefox::open(Some(&silent.folder.join("socket")));
    firefox.command(
        "WebDriver:Navigate",
        &json!({"url": format!("{}#lines", site.url())}),
    );
    firefox.until(READY);
    firefox.click("#start");
    firefox.until(TONE_IS_ON);
    firefox.click("#send");
    // The signal's own clock runs: some of it has been played.
    firefox.until("return document.querySelector('progress').value > 0.05");
    firefox.click("h1");
    let line = firefox.until(ERROR);
    assert!(line.as_str().unwrap().starts_with("Stopped."), "{line}");
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
    let mut firefox = Firefox::open(None);
    firefox.command(
        "WebDriver:Navigate",
        &json!({"url": format!("{}#recording", site.url())}),
    );
    let id = firefox.element("#recording");
    firefox.command("WebDriver:ElementSendKeys", &json!({"id": id, "text": recording}));
    let sentence =
        firefox.until("return document.querySelector('.sentence, .line.error:not(:empty)')?.textContent");
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
