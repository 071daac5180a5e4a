//! A phrase that is over becomes a take at once, from what was read of it; then its sound is gone over again as a file's is, in a
//! thread of its own.

use sumproof_core::session::monitor::Monitor;
use sumproof_core::session::take::{Pass, Take};
use sumproof_core::split::kind::PresetKind;

use crate::analysis::job::{GivenUp, Job};

/// Frames handed over at once.
const CHUNK: usize = 4096;

/// What a take of a phrase is made of.
#[derive(Debug)]
pub struct Phrase {
    /// Both channels.
    pub sound: [Vec<f32>; 2],
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// What the player says the preset is.
    pub kind: PresetKind,
}

/// The work on one phrase: about a fiftieth of the time it lasted.
pub type PhraseJob = Job<Option<Take>>;

impl Phrase {
    /// Begins the work on it.
    #[must_use]
    pub fn start(self) -> PhraseJob {
        Job::start("sumproof phrase", |given_up| self.take(given_up))
    }

    /// Its take; `None` without frames, or where nobody wants it any more.
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
