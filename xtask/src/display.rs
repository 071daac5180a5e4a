//! A virtual display, for tests that open windows.

use crate::run::Failure;
use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};

/// A running Xvfb, which ends when this is dropped.
pub struct Display {
    server: Child,
    /// The value for `DISPLAY`.
    pub name: String,
}

impl Display {
    /// Starts a server under the first free number.
    ///
    /// # Errors
    /// [`Failure::Failed`] if it does not start.
    pub fn start() -> Result<Self, Failure> {
        let failed =
            |reason: &dyn std::fmt::Display| Failure::Failed(format!("Xvfb cannot be started: {reason}"));
        let mut server = Command::new("Xvfb")
            // -noreset: otherwise it drops its atoms when the last client disconnects.
            .args([
                "-displayfd",
                "1",
                "-noreset",
                "-nolisten",
                "tcp",
                "+extension",
                "GLX",
            ])
            .args(["-screen", "0", "1920x1200x24"])
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .map_err(|e| failed(&e))?;
        let mut number = String::new();
        let read = match server.stdout.take() {
            Some(stdout) => BufReader::new(stdout).read_line(&mut number),
            None => Ok(0),
        };
        let display = Self {
            server,
            name: format!(":{}", number.trim()),
        };
        match read {
            Ok(0) => Err(failed(&"it ended without saying its number")),
            Ok(_) => Ok(display),
            Err(error) => Err(failed(&error)),
        }
    }
}

impl Drop for Display {
    fn drop(&mut self) {
        // It may have ended already.
        let _ = self.server.kill();
        let _ = self.server.wait();
    }
}
