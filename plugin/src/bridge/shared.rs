//! What the audio thread, the analysis and the window share in single atomics.

use std::sync::atomic::{AtomicBool, AtomicU8, AtomicU64, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::Thread;
use std::time::{Duration, Instant};

use atomic_float::AtomicF32;

use sumproof_core::routing::feed::FeedId;

use crate::bridge::clock::Pulse;
use crate::bridge::line_check::Switch;
use crate::bridge::pedals::Pedals;
use crate::parameters::arming::Arming;

/// What is heard, for the window.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum AuditionState {
    /// The stereo input.
    #[default]
    Stereo,
    /// The chosen feed.
    Feed,
    /// Stereo, although audition is on, because the host bounces offline or records.
    HeldBack,
    /// Stereo, although audition is on, because only a loaded state switched it on.
    Loaded,
    /// Silence: the line check holds the input back.
    Held,
    /// The line check's signal.
    Test,
}

/// One per instance.
#[derive(Debug)]
pub struct Shared {
    /// Frames that found the ring full since the plugin was created. Audio thread writes.
    pub lost_frames: AtomicU64,
    /// Something panicked in the audio callback; sound passes, nothing else runs. Audio thread writes, once.
    pub panicked: AtomicBool,
    /// Something panicked in the analysis; what was stored is still saved. Analysis writes, once.
    pub analysis_failed: AtomicBool,
    /// The board's worse side for the auditioned feed: the fault goes in the right line if set. Analysis writes.
    pub fault_in_right: AtomicBool,
    /// Gain that brings each feed to the loudness of stereo, dB, in the order of [`FeedId::ALL`]. Analysis writes.
    match_db: [AtomicF32; FeedId::ALL.len()],
    /// Broadband correlation computed by the audio thread, NaN without a reading. Audio thread writes, once a block.
    pub correlation: AtomicF32,
    /// Whether the host plays in real time.
    pub pulse: Pulse,
    /// What the line check is asked to do.
    pub switch: Switch,
    /// Which switches among the parameters take effect.
    pub arming: Arming,
    /// What foot pedals do in the stand-alone program.
    pub pedals: Pedals,
    /// A thread waits until everything played so far is processed. The waiting thread sets it, the analysis clears it.
    pub wanted_settled: AtomicBool,
    /// The sample rate, Hz, if it is one that is not measured, as the bits of an `f64`; else 0.
    unmeasured_hz: AtomicU64,
    /// The analysis thread, while there is one.
    worker: Mutex<Option<Thread>>,
    worker_runs: AtomicBool,
    /// Number of open windows. A count, because a window's thread may end after the next window has opened.
    windows: AtomicUsize,
    heard: AtomicU8,
    /// When this was created: the origin of `emptied_ns`.
    born: Instant,
    /// Nanoseconds after `born` at which the ring was last seen empty. The thread that drains it writes.
    emptied_ns: AtomicU64,
}

impl Default for Shared {
    fn default() -> Self {
        Self {
            lost_frames: AtomicU64::new(0),
            panicked: AtomicBool::new(false),
            analysis_failed: AtomicBool::new(false),
            fault_in_right: AtomicBool::new(false),
            match_db: std::array::from_fn(|_| AtomicF32::new(0.0)),
            correlation: AtomicF32::new(f32::NAN),
            pulse: Pulse::default(),
            switch: Switch::default(),
            arming: Arming::default(),
            pedals: Pedals::default(),
            wanted_settled: AtomicBool::new(false),
            unmeasured_hz: AtomicU64::new(0),
            worker: Mutex::new(None),
            worker_runs: AtomicBool::new(false),
            windows: AtomicUsize::new(0),
            heard: AtomicU8::new(0),
            born: Instant::now(),
            emptied_ns: AtomicU64::new(0),
        }
    }
}

impl Shared {
    /// As if created so long ago, for tests in which the clock must have advanced.
    #[cfg(test)]
    pub(crate) fn aged(age: Duration) -> Self {
        let born = Instant::now()
            .checked_sub(age)
            .expect("the clock has run so long");
        Self {
            born,
            ..Self::default()
        }
    }

    /// As if the ring had never been seen empty.
    #[cfg(test)]
    pub(crate) fn forget_emptied(&self) {
        self.emptied_ns.store(0, Ordering::Relaxed);
    }

    /// Sets the analysis thread, or removes it.
    pub fn set_worker(&self, thread: Option<Thread>) {
        self.worker_runs.store(thread.is_some(), Ordering::Release);
        *self.worker.lock().unwrap_or_else(PoisonError::into_inner) = thread;
    }

    /// Whether there is an analysis thread.
    pub fn has_worker(&self) -> bool {
        self.worker_runs.load(Ordering::Acquire)
    }

    /// Wakes the analysis thread. A system call: not for the audio thread in real time.
    pub fn wake_worker(&self) {
        if let Some(thread) = &*self.worker.lock().unwrap_or_else(PoisonError::into_inner) {
            thread.unpark();
        }
    }

    /// Gain that brings a feed to the loudness of stereo, dB; 0 until one is known.
    pub fn match_db(&self, feed: FeedId) -> f64 {
        let place = FeedId::ALL.iter().position(|id| *id == feed);
        place.map_or(0.0, |place| {
            f64::from(self.match_db[place].load(Ordering::Relaxed))
        })
    }

    /// Sets that gain, dB. Analysis only.
    pub fn set_match_db(&self, feed: FeedId, match_db: f32) {
        if let Some(place) = FeedId::ALL.iter().position(|id| *id == feed) {
            self.match_db[place].store(match_db, Ordering::Relaxed);
        }
    }

    /// Sets the rate, Hz, of sound that passes but is not measured; `None` when it is measured.
    pub fn set_unmeasured(&self, rate_hz: Option<f64>) {
        self.unmeasured_hz
            .store(rate_hz.map_or(0, f64::to_bits), Ordering::Relaxed);
    }

    /// The sample rate, Hz, if sound at this rate is not measured.
    pub fn unmeasured_hz(&self) -> Option<f64> {
        let bits = self.unmeasured_hz.load(Ordering::Relaxed);
        (bits != 0).then(|| f64::from_bits(bits))
    }

    /// Registers an open window until the returned value is dropped.
    pub fn open_window(self: &Arc<Self>) -> OpenWindow {
        self.windows.fetch_add(1, Ordering::Relaxed);
        OpenWindow(Arc::clone(self))
    }

    /// Whether a window is open.
    pub fn has_window(&self) -> bool {
        self.windows.load(Ordering::Relaxed) > 0
    }

    /// What is heard now.
    pub fn heard(&self) -> AuditionState {
        match self.heard.load(Ordering::Relaxed) {
            1 => AuditionState::Feed,
            2 => AuditionState::HeldBack,
            3 => AuditionState::Held,
            4 => AuditionState::Test,
            5 => AuditionState::Loaded,
            _ => AuditionState::Stereo,
        }
    }

    /// Sets what is heard. Audio thread only.
    pub fn set_heard(&self, heard: AuditionState) {
        self.heard.store(
            match heard {
                AuditionState::Stereo => 0,
                AuditionState::Feed => 1,
                AuditionState::HeldBack => 2,
                AuditionState::Held => 3,
                AuditionState::Test => 4,
                AuditionState::Loaded => 5,
            },
            Ordering::Relaxed,
        );
    }

    /// Called when the ring has been drained to its end.
    pub fn emptied(&self) {
        let now = u64::try_from(self.born.elapsed().as_nanos()).unwrap_or(u64::MAX);
        self.emptied_ns.store(now, Ordering::Relaxed);
    }

    /// Whether `sound` has arrived since the ring was last empty faster than it could be played. Some hosts bounce
    /// without saying so, and no real-time host is four times ahead of the clock by two seconds of sound.
    ///
    /// # Real-time
    /// Reads the clock, so the audio thread asks only once the ring is full.
    pub fn outruns_the_clock(&self, sound: Duration) -> bool {
        let emptied = Duration::from_nanos(self.emptied_ns.load(Ordering::Relaxed));
        self.born.elapsed().saturating_sub(emptied) < sound / 4
    }
}

/// One open window.
#[derive(Debug)]
pub struct OpenWindow(Arc<Shared>);

impl Drop for OpenWindow {
    fn drop(&mut self) {
        self.0.windows.fetch_sub(1, Ordering::Relaxed);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_window_that_ends_late_does_not_close_the_next() {
        let shared = Arc::new(Shared::default());
        assert!(!shared.has_window());
        let old = shared.open_window();
        let new = shared.open_window();
        drop(old);
        assert!(shared.has_window());
        drop(new);
        assert!(!shared.has_window());
    }

    #[test]
    fn only_what_outruns_the_clock_is_taken_for_a_bounce() {
        let shared = Shared::default();
        shared.emptied();
        // An hour of sound cannot have been played since; no time at all is always enough for no sound.
        assert!(shared.outruns_the_clock(Duration::from_secs(3600)));
        assert!(!shared.outruns_the_clock(Duration::ZERO));
    }

    #[test]
    fn what_is_heard_crosses_unchanged() {
        let shared = Shared::default();
        for heard in [
            AuditionState::Feed,
            AuditionState::HeldBack,
            AuditionState::Held,
            AuditionState::Test,
            AuditionState::Loaded,
            AuditionState::Stereo,
        ] {
            shared.set_heard(heard);
            assert_eq!(shared.heard(), heard);
        }
    }
}
