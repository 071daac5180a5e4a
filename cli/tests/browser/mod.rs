//! A browser for tests: Chromium, controlled through WebDriver (W3C Recommendation 'WebDriver', plain HTTP and JSON).
#![allow(dead_code, reason = "every test file uses a part of it")]

use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use serde_json::{Value, json};

use crate::common::QUIET_CHROMIUM;

/// A window with a fresh profile; both are removed when it is dropped.
pub struct Browser {
    driver: Child,
    port: u16,
    session: String,
    profile: PathBuf,
}

impl Browser {
    /// Opens a window of that size, pixels.
    pub fn open(width: u32, height: u32) -> Self {
        Self::with(width, height, &[], json!({}))
    }

    /// A window as narrow as a phone, 390 by 844 pixels: desktop windows can't be made that narrow.
    pub fn phone() -> Self {
        let phone =
            json!({"mobileEmulation": {"deviceMetrics": {"width": 390, "height": 844, "pixelRatio": 2.0}}});
        Self::with(390, 844, &[], phone)
    }

    /// A window whose user prefers dark pages.
    pub fn dark(width: u32, height: u32) -> Self {
        Self::with(width, height, &["--force-dark-mode"], json!({}))
    }

    /// A window with more arguments for Chromium, and more options for its driver.
    pub fn with(width: u32, height: u32, more: &[&str], options: Value) -> Self {
        use std::sync::atomic::{AtomicU32, Ordering};
        static NEXT: AtomicU32 = AtomicU32::new(0);
        let number = NEXT.fetch_add(1, Ordering::Relaxed);
        let profile = std::env::temp_dir().join(format!("sumproof-browser-{}-{number}", std::process::id()));
        let _ = fs::remove_dir_all(&profile);
        fs::create_dir_all(&profile).unwrap();
        let mut driver = Command::new("chromedriver")
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap_or_else(|error| {
                panic!(
                    "chromedriver could not be started ({error}): apt-get install chromium chromium-driver"
                )
            });
        // It prints the port it took; its further output is not read.
        let port = BufReader::new(driver.stdout.take().unwrap())
            .lines()
            .map_while(Result::ok)
            .find_map(|line| {
                let rest = line.split("on port ").nth(1)?;
                rest.trim_end_matches('.')
                    .trim()
                    .parse()
                    .ok()
                    .filter(|&port: &u16| port > 0)
            })
            .expect("chromedriver names its port");
        let mut browser = Self {
            driver,
            port,
            session: String::new(),
            profile,
        };
        let mut arguments: Vec<String> = QUIET_CHROMIUM
            .iter()
            .chain(more)
            .map(|&argument| argument.into())
            .collect();
        arguments.push(format!("--user-data-dir={}", browser.profile.display()));
        arguments.push(format!("--window-size={width},{height}"));
        let mut chrome = json!({ "args": arguments });
        if let (Some(chrome), Some(options)) = (chrome.as_object_mut(), options.as_object()) {
            chrome.extend(options.clone());
        }
        let answer = browser.request(
            "POST",
            "/session",
            &json!({"capabilities": {"alwaysMatch": {
                "goog:chromeOptions": chrome,
                "goog:loggingPrefs": {"browser": "ALL", "performance": "ALL"},
                // A script may wait for the page.
                "timeouts": {"script": 280_000},
            }}}),
        );
        browser.session = answer["sessionId"].as_str().unwrap().into();
        browser
    }

    /// Opens a file.
    pub fn go(&self, page: &Path) {
        let url = format!("file://{}", page.canonicalize().unwrap().display());
        self.command("POST", "url", &json!({ "url": url }));
    }

    /// Opens an address.
    pub fn visit(&self, url: &str) {
        self.command("POST", "url", &json!({ "url": url }));
    }

    /// Loads the page again.
    pub fn reload(&self) {
        self.command("POST", "refresh", &json!({}));
    }

    /// Handle of the window that receives commands.
    pub fn window(&self) -> String {
        self.command("GET", "window", &Value::Null)
            .as_str()
            .unwrap()
            .into()
    }

    /// Opens another window, which receives further commands.
    pub fn new_window(&self) {
        let opened = self.command("POST", "window/new", &json!({"type": "window"}));
        self.command("POST", "window", &json!({"handle": opened["handle"]}));
    }

    /// Closes the window; `other` receives further commands.
    pub fn close_window(&self, other: &str) {
        self.command("DELETE", "window", &Value::Null);
        self.command("POST", "window", &json!({ "handle": other }));
    }

    /// Minimises the window.
    pub fn minimize(&self) {
        self.command("POST", "window/minimize", &json!({}));
    }

    /// The addresses requested from the network since the last call.
    pub fn requests(&self) -> Vec<String> {
        let log = self.command("POST", "se/log", &json!({"type": "performance"}));
        let messages = log.as_array().unwrap().iter().filter_map(|entry| {
            let message: Value = serde_json::from_str(entry["message"].as_str()?).ok()?;
            let sent = message["message"]["method"] == "Network.requestWillBeSent";
            let url = message["message"]["params"]["request"]["url"].as_str()?;
            sent.then(|| url.to_owned())
        });
        messages.collect()
    }

    /// A command of the browser's own protocol.
    pub fn devtools(&self, method: &str, parameters: &Value) -> Value {
        self.command(
            "POST",
            "goog/cdp/execute",
            &json!({"cmd": method, "params": parameters}),
        )
    }

    /// Runs a script's body in the page; returns its result, or that of the promise it returns.
    pub fn script(&self, script: &str) -> Value {
        self.command("POST", "execute/sync", &json!({"script": script, "args": []}))
    }

    /// Clicks the element that a CSS selector finds.
    pub fn click(&self, selector: &str) {
        let element = self.element(selector);
        self.command("POST", &format!("element/{element}/click"), &json!({}));
    }

    /// Types into the element that a CSS selector finds.
    pub fn type_into(&self, selector: &str, text: &str) {
        let element = self.element(selector);
        self.command(
            "POST",
            &format!("element/{element}/value"),
            &json!({ "text": text }),
        );
    }

    /// The page's console messages so far, loading errors included.
    pub fn console(&self) -> Vec<String> {
        self.command("POST", "se/log", &json!({"type": "browser"}))
            .as_array()
            .unwrap()
            .iter()
            .map(|entry| entry["message"].as_str().unwrap().into())
            .collect()
    }

    /// The window's contents as the base64 text of a PNG.
    pub fn screenshot(&self) -> String {
        self.command("GET", "screenshot", &Value::Null)
            .as_str()
            .unwrap()
            .into()
    }

    fn element(&self, selector: &str) -> String {
        let found = self.command(
            "POST",
            "element",
            &json!({"using": "css selector", "value": selector}),
        );
        found
            .as_object()
            .and_then(|found| found.values().next())
            .and_then(Value::as_str)
            .unwrap_or_else(|| panic!("nothing is {selector}"))
            .into()
    }

    fn command(&self, method: &str, what: &str, body: &Value) -> Value {
        self.request(
            method,
            format!("/session/{}/{what}", self.session).trim_end_matches('/'),
            body,
        )
    }

    /// Sends one request on a separate connection; returns the `value` of the answer.
    fn request(&self, method: &str, path: &str, body: &Value) -> Value {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        // Longer than any step takes on a busy machine; a hung browser must not hang the tests.
        stream.set_read_timeout(Some(Duration::from_secs(300))).unwrap();
        let body = if body.is_null() {
            String::new()
        } else {
            body.to_string()
        };
        write!(
            stream,
            "{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nContent-Type: application/json\r\nContent-Length: {}\r\n\
             Connection: close\r\n\r\n{body}",
            self.port,
            body.len()
        )
        .unwrap();
        let mut reader = BufReader::new(stream);
        let mut length = 0;
        loop {
            let mut line = String::new();
            reader.read_line(&mut line).unwrap();
            if let Some((name, value)) = line.split_once(':')
                && name.eq_ignore_ascii_case("content-length")
            {
                length = value.trim().parse().unwrap();
            }
            if line.trim().is_empty() {
                break;
            }
        }
        let mut answer = vec![0; length];
        reader.read_exact(&mut answer).unwrap();
        let answer: Value = serde_json::from_slice(&answer).unwrap();
        let value = answer["value"].clone();
        assert!(value.get("error").is_none(), "{method} {path}: {value}");
        value
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        if !self.session.is_empty() && !std::thread::panicking() {
            self.command("DELETE", "", &Value::Null);
        }
        let _ = self.driver.kill();
        let _ = self.driver.wait();
        let _ = fs::remove_dir_all(&self.profile);
    }
}
