//! Runs other programs, and describes their failures.

use std::fmt;
use std::process::{Command, Stdio};

/// Why a command stops. Its text is one line, longer only where a line to copy follows.
#[derive(Debug)]
pub enum Failure {
    /// The command line is wrong.
    Usage(String),
    /// Something has to be installed by hand first.
    Missing(String),
    /// A step failed, and has printed the reason.
    Failed(String),
    /// One of our programs ended with its own exit code, which is passed on.
    Code(String, u8),
}

impl Failure {
    /// The exit code stated in the usage text.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Failed(_) => 1,
            Self::Usage(_) => 2,
            Self::Missing(_) => 3,
            Self::Code(_, code) => *code,
        }
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Usage(text) | Self::Missing(text) | Self::Failed(text) | Self::Code(text, _) => {
                f.write_str(text)
            }
        }
    }
}

/// Runs a program with its output visible, and expects success.
///
/// # Errors
/// [`Failure::Failed`] if it can't be started or its exit code isn't 0.
pub fn run(command: &mut Command) -> Result<(), Failure> {
    let name = command.get_program().to_string_lossy().into_owned();
    let status = command
        .status()
        .map_err(|e| Failure::Failed(format!("{name} cannot be started: {e}")))?;
    if status.success() {
        Ok(())
    } else {
        Err(Failure::Failed(format!("{name} failed ({status})")))
    }
}

/// Runs a program and returns its output; `None` if it doesn't exist or fails.
pub fn output_of(command: &mut Command) -> Option<String> {
    let output = command.stdin(Stdio::null()).stderr(Stdio::null()).output().ok()?;
    output
        .status
        .success()
        .then(|| String::from_utf8_lossy(&output.stdout).into_owned())
}

/// The cargo that started us, or the one on the path.
pub fn cargo() -> Command {
    let mut command = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
    command.current_dir(crate::place::root());
    command
}
