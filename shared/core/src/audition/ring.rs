//! The last samples of both channels.

use super::{CHUNK, LONGEST_S};
use crate::dsp::fractional::TAPS;
use crate::dsp::numbers::to_index;
use crate::dsp::samples;

/// A ring of both channels' samples, invalid ones as zero. Every sample is written twice, one ring length apart: any
/// stretch is contiguous, and no block has to move data.
#[derive(Clone, Debug)]
pub(super) struct DelayRing {
    len: usize,
    /// Where the next sample goes.
    at: usize,
    channels: [Vec<f32>; 2],
}

impl DelayRing {
    pub(super) fn new(rate_hz: f64) -> Self {
        let len = enough(rate_hz) + CHUNK;
        Self {
            len,
            at: 0,
            channels: [vec![0.0; 2 * len], vec![0.0; 2 * len]],
        }
    }

    /// Frames that the longest delay reaches back.
    pub(super) fn enough(&self) -> usize {
        self.len - CHUNK
    }

    /// Takes a chunk.
    pub(super) fn push(&mut self, left: &[f32], right: &[f32]) {
        let mut clean = [0.0; CHUNK];
        for (channel, samples) in self.channels.iter_mut().zip([left, right]) {
            let clean = &mut clean[..samples.len()];
            // An invalid sample is heard as silence in a feed.
            let _ = samples::measure_block(samples, clean);
            let (before, after) = clean.split_at(clean.len().min(self.len - self.at));
            for turn in [0, self.len] {
                channel[turn + self.at..][..before.len()].copy_from_slice(before);
                channel[turn..][..after.len()].copy_from_slice(after);
            }
        }
        self.at = (self.at + left.len()) % self.len;
    }

    /// The samples that the last `frames` frames of output are made of: those delayed by `ago` frames, with `before`
    /// older ones ahead of the first.
    pub(super) fn stretch(&self, channel: usize, frames: usize, ago: usize, before: usize) -> &[f32] {
        let back = (frames + ago + before).min(self.len);
        let begin = (self.at + self.len - back) % self.len;
        &self.channels[channel][begin..begin + frames + before]
    }

    pub(super) fn clear(&mut self) {
        self.channels.iter_mut().for_each(|channel| channel.fill(0.0));
    }
}

fn enough(rate_hz: f64) -> usize {
    to_index((LONGEST_S * rate_hz).ceil()) + TAPS + 2
}
