//! Progress of long work, on a terminal.

use indicatif::{ProgressBar, ProgressStyle};
use sumproof_cli::measure::jobs::Job;

/// A bar on the terminal; hidden in a pipe.
pub struct Progress(ProgressBar);

impl Progress {
    /// A bar for jobs that are about to begin.
    pub fn new(jobs: &[Job]) -> Self {
        let bar = ProgressBar::new(jobs.iter().map(Job::bytes).sum());
        if let Ok(style) =
            ProgressStyle::with_template("{bar:30} {percent:>3} %  {msg}  {binary_bytes_per_sec}  {eta} left")
        {
            bar.set_style(style);
        }
        Self(bar)
    }

    /// Shows that `count` of `of` jobs are done.
    pub fn done(&self, count: usize, of: usize) {
        self.0.set_message(format!("{count} of {of}"));
    }

    /// Adds processed bytes.
    pub fn further(&self, bytes: u64) {
        self.0.inc(bytes);
    }

    /// Prints a line on the error output, above the bar.
    pub fn say(&self, line: &str) {
        self.0.suspend(|| eprintln!("{line}"));
    }

    /// Removes the bar.
    pub fn end(self) {
        self.0.finish_and_clear();
    }
}
