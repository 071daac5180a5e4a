//! The sound of the last phrases, for making a take of a finished one.

use crate::dsp::numbers::{ring_place, to_index};
use crate::dsp::samples::{self, Run};
use crate::session::phrase::QUIET_S;
use crate::session::span::{PIECE_S, SHOWN_AFTER_S};

/// Length kept, seconds: the part of a long phrase that counts, the quiet after it, and the part of the next phrase
/// during which it is still shown.
const KEPT_S: f64 = 3.0 * PIECE_S + QUIET_S + SHOWN_AFTER_S + 0.5;

/// A position in the stream.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Place(u64);

/// The last phrases' sound, one after the other; invalid frames are NaN. Only [`Self::new`] and [`Self::between`]
/// allocate.
#[derive(Debug)]
pub struct PhraseSound {
    channels: [Vec<f32>; 2],
    written: u64,
}

impl PhraseSound {
    /// Creates one for a sample rate, Hz.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        let kept = to_index(KEPT_S * rate_hz).max(1);
        Self {
            channels: [vec![0.0; kept], vec![0.0; kept]],
            written: 0,
        }
    }

    /// The position of the next frame.
    #[must_use]
    pub fn place(&self) -> Place {
        Place(self.written)
    }

    /// Takes frames.
    pub fn push(&mut self, run: &Run<'_>) {
        let at = ring_place(self.written, self.channels[0].len());
        for (channel, samples) in self.channels.iter_mut().zip([run.left, run.right]) {
            samples::keep(channel, at, samples, run.sound);
        }
        self.written += run.len() as u64;
    }

    /// Both channels between two positions, as far as still kept. `None` if nothing is. Allocates.
    #[must_use]
    pub fn between(&self, from: Place, to: Place) -> Option<[Vec<f32>; 2]> {
        let len = self.channels[0].len() as u64;
        let from = from.0.max(self.written.saturating_sub(len));
        let to = to.0.min(self.written);
        (from < to).then(|| {
            self.channels.each_ref().map(|channel| {
                let (begin, end) = (
                    ring_place(from, channel.len()),
                    ring_place(to - 1, channel.len()) + 1,
                );
                if begin < end {
                    channel[begin..end].to_vec()
                } else {
                    [&channel[begin..], &channel[..end]].concat()
                }
            })
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dsp::samples::Cleaner;

    #[test]
    fn what_is_kept_comes_back_around_the_end_too() {
        let mut sound = PhraseSound::new(100.0);
        let ramp: Vec<f32> = (1..10_000).map(|n| n as f32 / 100.0).collect();
        let down: Vec<f32> = ramp.iter().map(|x| -x).collect();
        Cleaner::default().runs(&ramp, &down, |run| sound.push(run));
        for (from, to) in [(9000, 9999), (9997, 9998), (8000, 9500)] {
            let [left, right] = sound.between(Place(from), Place(to)).expect("kept");
            assert_eq!(left, ramp[from as usize..to as usize]);
            assert_eq!(right, down[from as usize..to as usize]);
        }
        let kept = sound.channels[0].len();
        let [left, _] = sound.between(Place(0), Place(20_000)).expect("the rest");
        assert_eq!(left, ramp[ramp.len() - kept..]);
        assert_eq!(sound.between(Place(0), Place(10)), None);
        assert_eq!(sound.between(sound.place(), sound.place()), None);
    }

    #[test]
    fn what_is_not_believed_is_no_number() {
        let mut sound = PhraseSound::new(1000.0);
        let samples = [0.5, f32::INFINITY, 0.25];
        Cleaner::default().runs(&samples, &samples, |run| sound.push(run));
        let [left, right] = sound.between(Place(0), sound.place()).expect("kept");
        assert_eq!((left[0], left[2], right[2]), (0.5, 0.25, 0.25));
        assert!(left[1].is_nan() && right[1].is_nan());
    }
}
