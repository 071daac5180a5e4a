//! Errors between host and plugin.

use std::path::PathBuf;

/// A refusal by the plugin, or a failure of the host. Each message is one line that names what failed.
#[derive(Debug, thiserror::Error)]
pub enum HostError {
    /// The file is no plugin library, or its entry point refused to start.
    #[error("{path}: cannot be loaded as a plugin: {reason}", path = .path.display())]
    Load {
        /// The file.
        path: PathBuf,
        /// The loader's message.
        reason: String,
    },
    /// The library holds no plugin with that id.
    #[error("{path}: holds no plugin {id}, only: {found}", path = .path.display())]
    NoSuchPlugin {
        /// The file.
        path: PathBuf,
        /// The id asked for.
        id: String,
        /// The ids in the library, separated by commas.
        found: String,
    },
    /// Instantiating, activating or starting failed.
    #[error("the plugin refused to {step}: {reason}")]
    Refused {
        /// The step that failed.
        step: &'static str,
        /// The message of the plugin or of the wrapper around it.
        reason: String,
    },
    /// The plugin lacks a required extension.
    #[error("the plugin does not offer the CLAP extension '{0}'")]
    MissingExtension(&'static str),
    /// The plugin has no parameter with that id.
    #[error("the plugin has no parameter '{0}'")]
    NoSuchParam(String),
    /// State bytes that are not in the framework's format.
    #[error("the plugin's state cannot be read: {0}")]
    State(String),
    /// The kernel doesn't support the watch on system calls.
    #[error("system calls can't be watched here (it takes Linux 5.11): {0}")]
    Watch(std::io::Error),
    /// No window could be opened.
    #[error("no window: {0}")]
    Window(String),
    /// The call does not fit the host's state, such as playing while a real-time thread is running.
    #[error("{0}")]
    Misuse(&'static str),
}

impl HostError {
    /// Shorthand for [`HostError::Refused`].
    pub(crate) fn refused(step: &'static str, reason: impl std::fmt::Display) -> Self {
        Self::Refused {
            step,
            reason: reason.to_string(),
        }
    }
}
