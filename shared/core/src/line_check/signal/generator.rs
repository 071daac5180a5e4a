//! Playing the signal, block by block.

use crate::dsp::numbers::{to_frames, to_single};
use crate::line_check::signal::plan::{Plan, SignalSettings};

/// Plays a [`Plan`] at a sample rate. After [`Generator::new`] nothing allocates, waits or panics, so it may live on an
/// audio thread: the cost of a frame is bounded (a pass over at most 14 pieces of which at most two sound).
#[derive(Clone, Debug)]
pub struct Generator {
    plan: Plan,
    rate_hz: f64,
    frame: u64,
    frames: u64,
}

impl Generator {
    /// From the beginning of the signal.
    ///
    /// # Panics
    /// If the rate isn't a positive number.
    #[must_use]
    pub fn new(plan: Plan, rate_hz: f64) -> Self {
        assert!(rate_hz.is_finite() && rate_hz > 0.0, "a rate is positive");
        let frames = to_frames((plan.seconds() * rate_hz).ceil());
        Self {
            plan,
            rate_hz,
            frame: 0,
            frames,
        }
    }

    /// Fills both blocks (the shorter one's length) with the next frames, silence after the end, and returns whether there
    /// is more to come.
    pub fn fill(&mut self, left: &mut [f32], right: &mut [f32]) -> bool {
        for (l, r) in left.iter_mut().zip(right.iter_mut()) {
            let [left, right] = if self.frame < self.frames {
                self.plan.frame(self.frame as f64 / self.rate_hz, self.rate_hz)
            } else {
                [0.0; 2]
            };
            *l = to_single(left);
            *r = to_single(right);
            self.frame = self.frame.saturating_add(1);
        }
        self.frame < self.frames
    }

    /// Back to the beginning.
    pub fn restart(&mut self) {
        self.frame = 0;
    }

    /// How many frames there are in all.
    #[must_use]
    pub fn frames(&self) -> u64 {
        self.frames
    }

    /// How far it is, 0 to 1.
    #[must_use]
    pub fn progress(&self) -> f64 {
        (self.frame as f64 / self.frames.max(1) as f64).min(1.0)
    }

    /// What it plays.
    #[must_use]
    pub fn settings(&self) -> &SignalSettings {
        self.plan.settings()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blocks_of_any_size_give_the_same_and_stay_below_the_level() {
        let plan = Plan::new(SignalSettings::default()).unwrap();
        let mut whole = Generator::new(plan.clone(), 44_100.0);
        let frames = whole.frames() as usize;
        let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
        assert!(!whole.fill(&mut left, &mut right));
        let mut parts = Generator::new(plan, 44_100.0);
        let (mut at, mut size) = (0, 1);
        while at < frames {
            let end = (at + size).min(frames);
            let (mut l, mut r) = (vec![9.0; end - at], vec![9.0; end - at]);
            parts.fill(&mut l, &mut r);
            assert_eq!((&l[..], &r[..]), (&left[at..end], &right[at..end]));
            at = end;
            size = size * 2 % 8191 + 1;
        }
        let peak = |x: &[f32]| x.iter().fold(0.0f32, |p, s| p.max(s.abs()));
        // −20 dBFS.
        assert!((peak(&left) - 0.1).abs() < 1e-3 && (peak(&right) - 0.1).abs() < 1e-3);
        let sum: Vec<f32> = left.iter().zip(&right).map(|(l, r)| l + r).collect();
        assert!(peak(&sum) < 0.101, "no sum is louder than one line");
        let (mut l, mut r) = ([1.0; 3], [1.0; 3]);
        assert!(!parts.fill(&mut l, &mut r));
        assert_eq!((l, r), ([0.0; 3], [0.0; 3]));
    }
}
