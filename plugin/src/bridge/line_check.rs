//! What the line check is asked to do and what became of it: a switch of single atomics, a signal, its end.

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

use sumproof_core::line_check::Generator;

/// A signal to send.
#[derive(Debug, Clone)]
pub struct Signal {
    /// Its number, from 1.
    pub run: u64,
    /// Generates it.
    pub generator: Generator,
    /// Silence after it, during which its delayed part is still recorded, frames.
    pub behind_frames: u64,
}

/// Why a signal ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// All of it was sent.
    Whole,
    /// The user stopped it.
    Stopped,
    /// The plugin was bypassed.
    Bypassed,
    /// The host bounces.
    Bounces,
    /// The host records.
    Records,
    /// The window draws nothing any more.
    Unattended,
    /// The host stopped or reset.
    HostStopped,
    /// Frames of what arrives were lost.
    Lost,
}

/// One per instance. A new one has everything off.
#[derive(Debug, Default)]
pub struct Switch {
    held: AtomicBool,
    /// The run that may sound; 0 for none.
    allowed: AtomicU64,
    beats: AtomicU64,
}

impl Switch {
    /// The first step: holds the input back from the output.
    pub fn hold(&self) {
        self.held.store(true, Ordering::Release);
    }

    /// Whether the input is held back.
    pub fn is_held(&self) -> bool {
        self.held.load(Ordering::Acquire)
    }

    /// The second step: allows this run to sound. Returns `false` unless the first step was taken.
    pub fn allow(&self, run: u64) -> bool {
        let held = self.is_held();
        if held {
            self.allowed.store(run, Ordering::Release);
        }
        held
    }

    /// Whether this run may still sound.
    pub fn allows(&self, run: u64) -> bool {
        run != 0 && self.allowed.load(Ordering::Acquire) == run
    }

    /// Whether any run may sound.
    pub fn is_on(&self) -> bool {
        self.allowed.load(Ordering::Acquire) != 0
    }

    /// This run is over. Another one allowed in the meantime goes on.
    pub fn end(&self, run: u64) {
        let _ = self
            .allowed
            .compare_exchange(run, 0, Ordering::AcqRel, Ordering::Acquire);
    }

    /// No run may sound; the input stays held back.
    pub fn stop(&self) {
        self.allowed.store(0, Ordering::Release);
    }

    /// No run may sound, and the input passes again.
    pub fn release(&self) {
        self.stop();
        self.held.store(false, Ordering::Release);
    }

    /// The window is open and shows the line check: called with every frame drawn.
    pub fn beat(&self) {
        self.beats.fetch_add(1, Ordering::Relaxed);
    }

    /// Number of calls of [`Self::beat`].
    pub fn beats(&self) -> u64 {
        self.beats.load(Ordering::Relaxed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_sounds_without_the_first_step() {
        let switch = Switch::default();
        assert!(!switch.allow(1) && !switch.is_on());
        switch.hold();
        assert!(switch.allow(1) && switch.allows(1) && !switch.allows(0) && !switch.allows(2));
        switch.end(7);
        assert!(switch.allows(1));
        switch.release();
        assert!(!switch.is_held() && !switch.is_on() && !switch.allows(0));
    }
}
