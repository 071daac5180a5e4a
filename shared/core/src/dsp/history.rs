//! The last frames of a pair of channels, each channel contiguous.

/// Length of the buffers over the length kept, so the frames have to be moved back to their beginning only now and
/// then.
const ROOM: usize = 4;

/// Frames moved at once.
const PIECE: usize = 128;

/// Keeps the last frames of two channels. Only [`Self::new`] allocates.
#[derive(Debug)]
pub(crate) struct FrameHistory {
    channels: [Vec<f64>; 2],
    kept: usize,
    /// Where the newest frame ends; never less than `kept`.
    end: usize,
}

impl FrameHistory {
    /// Creates a history of the last `kept` frames, filled with silence.
    pub fn new(kept: usize) -> Self {
        Self {
            channels: [vec![0.0; ROOM * kept], vec![0.0; ROOM * kept]],
            kept,
            end: kept,
        }
    }

    /// Clears it to silence.
    pub fn reset(&mut self) {
        for channel in &mut self.channels {
            channel.fill(0.0);
        }
        self.end = self.kept;
    }

    /// Takes frames.
    ///
    /// # Panics
    /// If there are more frames than are kept, or the channels' lengths differ.
    pub fn push(&mut self, left: &[f64], right: &[f64]) {
        let range = self.make_room(left.len());
        for (channel, new) in self.channels.iter_mut().zip([left, right]) {
            channel[range.clone()].copy_from_slice(new);
        }
    }

    /// Takes silent frames.
    ///
    /// # Panics
    /// If there are more frames than are kept.
    pub fn push_silence(&mut self, frames: usize) {
        let range = self.make_room(frames);
        for channel in &mut self.channels {
            channel[range.clone()].fill(0.0);
        }
    }

    /// `len` frames of a channel (left is 0), of which the newest is `back` frames old.
    ///
    /// # Panics
    /// If they reach back further than is kept.
    pub fn last(&self, channel: usize, len: usize, back: usize) -> &[f64] {
        &self.channels[channel][self.end - back - len..self.end - back]
    }

    /// The range for `frames` new frames; moves the older ones back if there is no room.
    fn make_room(&mut self, frames: usize) -> core::ops::Range<usize> {
        if self.end + frames > self.channels[0].len() {
            for channel in &mut self.channels {
                // Source and target don't overlap. Copied in pieces, because callgrind counts one long move byte by
                // byte.
                let (to, from) = channel.split_at_mut(self.end - self.kept);
                for (to, from) in to[..self.kept].chunks_mut(PIECE).zip(from.chunks(PIECE)) {
                    to.copy_from_slice(&from[..to.len()]);
                }
            }
            self.end = self.kept;
        }
        let begin = self.end;
        self.end += frames;
        begin..self.end
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_frames_are_there_however_they_came() {
        let mut history = FrameHistory::new(10);
        let mut all = vec![0.0; 10];
        for step in 0..50 {
            let new: Vec<f64> = (0..step % 11).map(|n| f64::from(100 * step + n)).collect();
            if step % 7 == 3 {
                history.push_silence(new.len());
                all.extend(new.iter().map(|_| 0.0));
            } else {
                let negative: Vec<f64> = new.iter().map(|x| -x).collect();
                history.push(&new, &negative);
                all.extend(new);
            }
            let end = all.len();
            assert_eq!(history.last(0, 10, 0), &all[end - 10..]);
            assert!(
                history
                    .last(1, 4, 6)
                    .iter()
                    .zip(&all[end - 10..])
                    .all(|(a, b)| *a == -b)
            );
        }
        history.reset();
        assert_eq!(history.last(0, 10, 0), [0.0; 10]);
    }
}
