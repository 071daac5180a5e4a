//! How far long work is, where somebody sees it.

use indicatif::{ProgressBar, ProgressStyle};
use sumproof_cli::measure::jobs::Job;

/// A bar on the terminal; nothing in a pipe.
pub struct Progress(ProgressBar);

impl Progress {
    /// For jobs that are about to begin.
    pub fn new(jobs: &[Job]) -> Self {
        let bar = ProgressBar::new(jobs.iter().map(Job::bytes).sum());
        if let Ok(style) =
            ProgressStyle::with_template("{bar:30} {percent:>3} %  {msg}  {binary_bytes_per_sec}  {eta} left")
        {
            bar.set_style(style);
        }
        Self(bar)
    }

    /// So many jobs of all are done.
    pub fn done(&self, count: usize, of: usize) {
        self.0.set_message(format!("{count} of {of}"));
    }

    /// So many more bytes have been worked off.
    pub fn further(&self, bytes: u64) {
        self.0.inc(bytes);
    }

    /// A line on the error output, beside the bar.
    pub fn say(&self, line: &str) {
        self.0.suspend(|| eprintln!("{line}"));
    }

    /// Takes the bar away.
    pub fn end(self) {
        self.0.finish_and_clear();
    }
}
