//! Follows a pair as it is, and lined up by a delay if one seems to lie between the channels.

use crate::dsp::samples::{LONGEST_RUN, Run};
use crate::split::ways::{Evidence, Memory, Ways};

/// So much of the last sound is kept, to go over it once more when a delay is found, seconds.
const KEPT_S: f64 = 3.0;
/// Delays nearer together than this are the same, samples.
const SAME: f64 = 0.3;

/// The last seconds of a pair.
#[derive(Debug)]
struct Recent {
    channels: [Vec<f32>; 2],
    written: usize,
}

impl Recent {
    fn push(&mut self, run: &Run<'_>) {
        let len = self.channels[0].len();
        for (&l, &r) in run.left.iter().zip(run.right) {
            let at = self.written % len;
            (self.channels[0][at], self.channels[1][at]) = (l as f32, r as f32);
            self.written += 1;
        }
    }

    /// Hands over what is kept, oldest first.
    fn replay(&self, mut on_run: impl FnMut(&Run<'_>)) {
        let len = self.channels[0].len();
        let mut from = self.written.saturating_sub(len);
        let (mut left, mut right) = ([0.0; LONGEST_RUN], [0.0; LONGEST_RUN]);
        while from < self.written {
            let count = (self.written - from).min(LONGEST_RUN);
            for n in 0..count {
                let at = (from + n) % len;
                (left[n], right[n]) = (f64::from(self.channels[0][at]), f64::from(self.channels[1][at]));
            }
            on_run(&Run {
                left: &left[..count],
                right: &right[..count],
                sound: true,
            });
            from += count;
        }
    }
}

/// Follows a pair of channels. Pushing allocates nothing.
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
    /// For a sample rate, Hz.
    #[must_use]
    pub fn new(rate_hz: f64, memory: Memory) -> Self {
        let kept = ((KEPT_S * rate_hz) as usize).max(1);
        Self {
            rate_hz,
            plain: Ways::new(rate_hz, memory),
            lined_up: Ways::new(rate_hz, memory),
            tries: false,
            recent: Recent {
                channels: [vec![0.0; kept], vec![0.0; kept]],
                written: 0,
            },
        }
    }

    /// Forgets everything.
    pub fn restart(&mut self) {
        self.plain.restart(0.0);
        self.lined_up.restart(0.0);
        self.tries = false;
        self.recent.written = 0;
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

    /// Tries a delay of the right channel, samples (from [`crate::alignment::delay::DelayFinder::candidate`]); the last seconds
    /// are gone over again with it. Does not allocate.
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

    /// What the sound shows, lined up if that explains it better, and the ways it was read from. Does not allocate.
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

    /// Transforms made so far and their length, for a bench to set the cost against.
    #[must_use]
    pub fn transforms(&self) -> (u64, usize) {
        let (plain, len) = self.plain.transforms();
        (plain + self.lined_up.transforms().0, len)
    }
}
