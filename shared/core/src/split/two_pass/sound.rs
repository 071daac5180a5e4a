//! Two channels of a pass, read piece by piece in double precision.

use multiversion::multiversion;

use crate::dsp::samples;
use crate::dsp::samples::{Cleaner, LONGEST_RUN};
use crate::spectrum::cross_spectrum::CrossSpectrum;
use crate::spectrum::welch::{Average, Blocks};

/// Frames processed at once: the data of three passes for them fits the first-level cache.
pub(super) const PIECE: usize = 512;

/// A source of two channels that can be read at any position; silence outside.
pub(super) trait Sound {
    /// Number of frames.
    fn len(&self) -> usize;

    /// Writes the samples of a channel (left is 0) from frame `start` on, which may lie before the first one.
    fn fill(&self, channel: usize, start: isize, out: &mut [f64]);

    /// Calls `on_piece` with the start and the samples of each [`PIECE`] of a channel, in order.
    fn pieces(&self, channel: usize, mut on_piece: impl FnMut(isize, &[f64])) {
        let mut piece = [0.0; PIECE];
        for start in (0..self.len()).step_by(PIECE) {
            let piece = &mut piece[..PIECE.min(self.len() - start)];
            self.fill(channel, start.cast_signed(), piece);
            on_piece(start.cast_signed(), piece);
        }
    }

    /// The averaged spectrum of the whole sound.
    fn spectrum(&self, block_len: usize) -> CrossSpectrum {
        let mut blocks = Blocks::new(block_len);
        let mut average = Average::take(block_len);
        let mut cleaner = Cleaner::default();
        let mut channels = [[0.0; LONGEST_RUN]; 2];
        for start in (0..self.len()).step_by(LONGEST_RUN) {
            let frames = LONGEST_RUN.min(self.len() - start);
            for (channel, piece) in channels.iter_mut().enumerate() {
                self.fill(channel, start.cast_signed(), &mut piece[..frames]);
            }
            let [left, right] = &channels;
            cleaner.runs(&left[..frames], &right[..frames], |run| {
                blocks.push(run, |block| average.add(block));
            });
        }
        blocks.flush(|block| average.add(block));
        let mut spectrum = CrossSpectrum::silent(block_len / 2 + 1);
        average.read(&mut spectrum);
        spectrum
    }
}

/// Samples as recorded; both channels have the same length.
#[derive(Clone, Copy)]
pub(super) struct Recorded<'a>(pub [&'a [f32]; 2]);

impl Sound for Recorded<'_> {
    fn len(&self) -> usize {
        self.0[0].len()
    }

    fn fill(&self, channel: usize, start: isize, out: &mut [f64]) {
        let recorded = self.0[channel];
        let before = (-start).clamp(0, out.len().cast_signed()).cast_unsigned();
        let (silence, out) = out.split_at_mut(before);
        silence.fill(0.0);
        let recorded = recorded.get(start.max(0).cast_unsigned()..).unwrap_or_default();
        let (there, silence) = out.split_at_mut(recorded.len().min(out.len()));
        measured(recorded, there);
        silence.fill(0.0);
    }
}

#[multiversion(targets("x86_64+avx"))]
fn measured(sound: &[f32], out: &mut [f64]) {
    for (out, &sample) in out.iter_mut().zip(sound) {
        *out = f64::from(samples::measured(sample));
    }
}
