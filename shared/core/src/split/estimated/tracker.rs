//! Follows a pair as it is, and lined up by a candidate delay between the channels if there is one.

use crate::dsp::numbers::to_index;
use crate::dsp::samples::{self, Cleaner, Run};
use crate::split::ways::{Evidence, Memory, Ways};

/// How much of a live sound is kept for replaying it once a delay is found, seconds.
const KEPT_S: f64 = 3.0;
/// How much of a file is kept for that, seconds.
const KEPT_OF_FILE_S: f64 = 30.0;
/// Most frames kept.
const MOST_KEPT: usize = 3_000_000;
/// Delays closer together than this count as the same, samples.
const SAME: f64 = 0.3;

/// The last seconds of a pair; invalid frames are NaN.
#[derive(Debug)]
struct Recent {
    /// As long as the stretch kept; for a file, as long as the sound so far.
    channels: [Vec<f32>; 2],
    kept: usize,
    written: usize,
}

impl Recent {
    fn push(&mut self, run: &Run<'_>) {
        if run.is_empty() {
            return;
        }
        let wanted = (self.written + run.len()).min(self.kept);
        for (channel, samples) in self.channels.iter_mut().zip([run.left, run.right]) {
            if channel.len() < wanted {
                channel.resize(wanted, 0.0);
            }
            samples::keep(channel, self.written, samples, run.sound);
        }
        self.written += run.len();
    }

    /// Calls `on_run` with the frames kept, oldest first.
    fn replay(&self, mut on_run: impl FnMut(&Run<'_>)) {
        let len = self.kept;
        let from = self.written.saturating_sub(len);
        let mut cleaner = Cleaner::default();
        let first = from % len;
        let kept = self.written - from;
        // The ring wraps: first from the oldest frame to its end, then from its beginning.
        for range in [
            first..len.min(first + kept),
            0..(first + kept).saturating_sub(len),
        ] {
            let [left, right] = self.channels.each_ref().map(|channel| &channel[range.clone()]);
            cleaner.runs(left, right, &mut on_run);
        }
    }
}

/// Follows a pair of channels. Pushing doesn't allocate, except in a tracker of a file.
#[derive(Debug)]
pub struct Tracker {
    rate_hz: f64,
    plain: Ways,
    lined_up: Ways,
    /// A delay is being tried.
    tries: bool,
    recent: Recent,
}

impl Tracker {
    /// Creates one for live sound at a sample rate, Hz.
    #[must_use]
    pub fn new(rate_hz: f64, memory: Memory) -> Self {
        let mut tracker = Self::that_keeps(rate_hz, memory, KEPT_S);
        let recent = &mut tracker.recent;
        recent.channels = [vec![0.0; recent.kept], vec![0.0; recent.kept]];
        tracker
    }

    /// Creates one for a file: the delay is searched for after half a minute, or at the end, and all of that sound is
    /// replayed with it.
    #[must_use]
    pub fn of_file(rate_hz: f64, memory: Memory) -> Self {
        Self::that_keeps(rate_hz, memory, KEPT_OF_FILE_S)
    }

    fn that_keeps(rate_hz: f64, memory: Memory, kept_s: f64) -> Self {
        let kept = to_index(kept_s * rate_hz).clamp(1, MOST_KEPT);
        Self {
            rate_hz,
            plain: Ways::new(rate_hz, memory),
            lined_up: Ways::new(rate_hz, memory),
            tries: false,
            recent: Recent {
                channels: [Vec::new(), Vec::new()],
                kept,
                written: 0,
            },
        }
    }

    /// Clears everything.
    pub fn restart(&mut self) {
        self.plain.restart(0.0);
        self.lined_up.restart(0.0);
        self.tries = false;
        self.recent.written = 0;
    }

    /// Clears everything and sets how much is kept from now on, at most what was allocated.
    pub fn set_memory(&mut self, memory: &Memory) {
        self.restart();
        self.plain.set_memory(memory);
        self.lined_up.set_memory(memory);
    }

    /// Ends a piece of a long sound ([`Ways::next_piece`]).
    pub fn next_piece(&mut self) {
        self.plain.next_piece();
        self.lined_up.next_piece();
    }

    /// Number of frames that can be replayed.
    #[must_use]
    pub fn kept_frames(&self) -> usize {
        self.recent.kept
    }

    /// Takes frames.
    pub fn push(&mut self, run: &Run<'_>) {
        self.plain.push(run);
        if self.tries {
            self.lined_up.push(run);
        }
        self.recent.push(run);
    }

    /// Whether a delay is being tried.
    #[must_use]
    pub fn tries_delay(&self) -> bool {
        self.tries
    }

    /// Tries a delay of the right channel, samples (from [`crate::alignment::delay::DelayFinder::candidate`]); the
    /// frames kept are replayed with it. Does not allocate.
    pub fn try_delay(&mut self, candidate: Option<f64>) {
        let Some(delay) = candidate.filter(|delay| delay.abs() > 0.5) else {
            return;
        };
        if self.tries && (self.lined_up.delay_samples() - delay).abs() < SAME {
            return;
        }
        self.tries = true;
        self.lined_up.restart(delay);
        let lined_up = &mut self.lined_up;
        self.recent.replay(|run| lined_up.push(run));
    }

    /// The evidence, of the lined-up pair if that explains the sound better, and the ways it was read from. Does not
    /// allocate.
    #[must_use]
    pub fn evidence(&self) -> (Evidence, &Ways) {
        let plain = Evidence::of(&self.plain, self.rate_hz);
        if self.tries {
            let lined_up = Evidence::of(&self.lined_up, self.rate_hz);
            let worth = |evidence: &Evidence| evidence.modes.modes[0].share * evidence.modes.purity;
            if (lined_up.explains_delay() && worth(&lined_up) > worth(&plain))
                || lined_up.explains_more_than(&plain)
            {
                return (lined_up, &self.lined_up);
            }
        }
        (plain, &self.plain)
    }

    /// Number of transforms made so far and their length, for benchmarks.
    #[must_use]
    pub fn transforms(&self) -> (u64, usize) {
        let (plain, len) = self.plain.transforms();
        (plain + self.lined_up.transforms().0, len)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE_HZ: f64 = 48_000.0;

    /// Onsets found while pushing, and when replaying.
    fn onsets(sound: &[f32]) -> [usize; 2] {
        let mut tracker = Tracker::new(RATE_HZ, Memory::LIVE);
        Cleaner::default().runs(sound, sound, |run| tracker.push(run));
        tracker.try_delay(Some(12.0));
        [&tracker.plain, &tracker.lined_up].map(|ways| ways.increments().onsets().count())
    }

    #[test]
    fn sound_that_goes_on_after_what_is_not_believed_does_not_begin() {
        // Steady tones, which have no onsets.
        let tones = |n: usize| {
            let sine = |hz: f64| (core::f64::consts::TAU * hz * n as f64 / RATE_HZ).sin();
            [131.0, 277.0, 523.0, 1109.0, 2093.0, 4435.0]
                .into_iter()
                .map(sine)
                .sum::<f64>()
        };
        let steady: Vec<f32> = (0..120_000).map(|n| 0.1 * tones(n) as f32).collect();
        assert_eq!(onsets(&steady), [0, 0]);
        let with = |missing: usize, sample: f32| {
            let mut sound = steady.clone();
            sound[60_000..60_000 + missing].fill(sample);
            onsets(&sound)
        };
        for missing in [1, 64, 20_000] {
            assert_eq!(with(missing, f32::NAN), [0, 0], "{missing} frames");
        }
        // After silence they have one.
        assert_eq!(with(20_000, 0.0), [1, 1]);
    }
}
