//! A phrase that is over becomes a take: its sound is gone over again as a file's is, in a thread of its own.

use std::thread::JoinHandle;

use sumproof_core::session::monitor::Monitor;
use sumproof_core::session::take::{Pass, Take};
use sumproof_core::split::kind::PresetKind;

/// Frames handed over at once.
const CHUNK: usize = 4096;

/// What a take of a phrase is made of.
#[derive(Debug)]
pub struct Phrase {
    /// Both channels.
    pub sound: [Vec<f32>; 2],
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// What the take will be called.
    pub name: String,
    /// What the player says the preset is.
    pub kind: PresetKind,
}

impl Phrase {
    /// Its take; `None` without frames.
    #[must_use]
    pub fn take(self) -> Option<Take> {
        let mut monitor = Monitor::for_takes(self.rate_hz);
        monitor.set_kind(self.kind);
        monitor.start_take();
        let [left, right] = &self.sound;
        for (left, right) in left.chunks(CHUNK).zip(right.chunks(CHUNK)) {
            monitor.push(left, right);
        }
        monitor.finish_take(self.name, Pass::Full)
    }
}

/// The work on one phrase: about a fiftieth of the time it lasted.
#[derive(Debug)]
pub struct PhraseJob(Option<JoinHandle<Option<Take>>>);

impl PhraseJob {
    /// Begins it.
    #[must_use]
    pub fn start(phrase: Phrase) -> Self {
        let thread = std::thread::Builder::new()
            .name(String::from("sumproof phrase"))
            .spawn(|| phrase.take());
        Self(thread.ok())
    }

    /// Whether [`Self::finish`] would not wait.
    #[must_use]
    pub fn is_done(&self) -> bool {
        self.0.as_ref().is_none_or(JoinHandle::is_finished)
    }

    /// Waits for the take.
    #[must_use]
    pub fn finish(mut self) -> Option<Take> {
        self.0.take()?.join().ok().flatten()
    }
}

impl Drop for PhraseJob {
    /// The library may be unloaded next: nothing of it may still run.
    fn drop(&mut self) {
        if let Some(thread) = self.0.take() {
            let _ = thread.join();
        }
    }
}
