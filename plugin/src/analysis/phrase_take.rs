//! A phrase becomes a take at its end, from its live reading; then its sound is analysed again like a file's, in a
//! thread of its own.

use sumproof_core::session::monitor::Monitor;
use sumproof_core::session::take::{Pass, Take};
use sumproof_core::split::kind::PresetKind;

use crate::analysis::job::{GivenUp, Job};

/// Frames handed over at once.
const CHUNK: usize = 4096;

/// The input for a take of a phrase.
#[derive(Debug)]
pub struct Phrase {
    /// Both channels.
    pub sound: [Vec<f32>; 2],
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// The kind of preset the player has set.
    pub kind: PresetKind,
}

/// The work on one phrase: about a fiftieth of the phrase's length.
pub type PhraseJob = Job<Option<Take>>;

impl Phrase {
    /// Starts the work.
    #[must_use]
    pub fn start(self) -> PhraseJob {
        Job::start("sumproof phrase", |given_up| self.take(given_up))
    }

    /// The take; `None` without frames, or once the work was given up.
    fn take(self, given_up: &GivenUp) -> Option<Take> {
        let mut monitor = Monitor::for_takes(self.rate_hz);
        monitor.set_kind(self.kind);
        monitor.start_take();
        let [left, right] = &self.sound;
        for (left, right) in left.chunks(CHUNK).zip(right.chunks(CHUNK)) {
            if given_up.is_so() {
                return None;
            }
            monitor.push(left, right);
        }
        monitor.finish_take(String::new(), Pass::Full)
    }
}
