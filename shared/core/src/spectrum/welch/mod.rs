//! Welch averages of a pair of channels: one stream of windowed blocks that feeds a live and a take average.
//!
//! A block is `N` frames under a periodic Hann window, a new one every `N/4` frames. The first blocks reach back into
//! silence before the start, and [`Blocks::flush`] lets the last ones run out past the end. The squared windows of four
//! overlapping blocks add up to a constant, so every frame counts alike and a take's power is exactly its mean square.

pub mod lags;
mod sums;

use std::sync::Arc;

use realfft::{RealFftPlanner, RealToComplex};

use crate::Complex;
use crate::dsp::fft;
use crate::dsp::history::FrameHistory;
use crate::dsp::numbers::to_signed;
use crate::dsp::samples::{Cleaner, Run};
use crate::spectrum::cross_spectrum::CrossSpectrum;
use crate::spectrum::grid::Grid;
use sums::Sums;

/// Hops per block: blocks overlap by all but `1/HOPS` of their length.
pub const HOPS: usize = 4;

/// Powers below this are set to zero.
const INAUDIBLE: f64 = 1e-60;

/// `Σ w²/N` of the Hann window.
const WINDOW_POWER: f64 = 3.0 / 8.0;

/// The autocorrelation of the periodic Hann window at a lag of `lag` block lengths, 1 at 0 and 0 from 1 on. A delay of
/// that lag between the channels shrinks the cross term of a windowed block by this factor.
///
/// Closed form of `∫w(t)w(t+τ)dt / ∫w²dt` for `w = ½(1 − cos 2πt)`.
#[must_use]
pub fn window_autocorrelation(lag: f64) -> f64 {
    let lag = lag.abs();
    if lag >= 1.0 {
        return 0.0;
    }
    let turn = core::f64::consts::TAU * lag;
    let overlap = 1.0 - lag;
    (overlap * (0.25 + turn.cos() / 8.0) + 3.0 * turn.sin() / (8.0 * core::f64::consts::TAU)) / WINDOW_POWER
}

/// Sum over the overlapping neighbours of the squared correlation between blocks, with `decay` per hop of distance
/// (Welch 1967): how much of a block's information its predecessors already gave.
fn redundancy(decay: f64) -> f64 {
    let repeated: f64 = (1..HOPS)
        .map(|m| decay.powi(to_signed(m)) * window_autocorrelation(m as f64 / HOPS as f64).powi(2))
        .sum();
    1.0 + 2.0 * repeated
}

/// One windowed block's spectra.
#[derive(Debug)]
pub struct Block<'a> {
    /// FFT of the left channel, `N/2 + 1` bins.
    pub left: &'a [Complex<f64>],
    /// FFT of the right channel.
    pub right: &'a [Complex<f64>],
    /// `Σw²` over the frames of the block that belong to the stream (not to the silence around it).
    pub coverage: f64,
}

/// Cuts a stream of frames into windowed blocks and transforms them.
pub struct Blocks {
    len: usize,
    hop: usize,
    window: Vec<f64>,
    fft: Arc<dyn RealToComplex<f64>>,
    history: FrameHistory,
    /// Frames of the incomplete hop.
    pending: usize,
    /// Frames since the start, up to `len`: how far the stream reaches back into the block.
    depth: usize,
    /// Frames since the last one that was invalid, up to `len`.
    clean: usize,
    windowed: Vec<f64>,
    spectra: [Vec<Complex<f64>>; 2],
    scratch: Vec<Complex<f64>>,
}

impl std::fmt::Debug for Blocks {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Blocks")
            .field("len", &self.len)
            .field("pending", &self.pending)
            .finish_non_exhaustive()
    }
}

impl Blocks {
    /// Creates one for blocks of `len` frames, a multiple of four.
    ///
    /// # Panics
    /// If `len` is below 16 or not a multiple of 4.
    #[must_use]
    pub fn new(len: usize) -> Self {
        assert!(
            len >= 16 && len.is_multiple_of(HOPS),
            "a block is a multiple of four frames"
        );
        let fft = RealFftPlanner::<f64>::new().plan_fft_forward(len);
        let scratch = fft.make_scratch_vec();
        let spectrum = fft.make_output_vec();
        let window = (0..len)
            .map(|n| 0.5 - 0.5 * (core::f64::consts::TAU * n as f64 / len as f64).cos())
            .collect::<Vec<_>>();
        Self {
            len,
            hop: len / HOPS,
            window,
            fft,
            history: FrameHistory::new(len),
            pending: 0,
            depth: 0,
            clean: len,
            windowed: vec![0.0; len],
            spectra: [spectrum.clone(), spectrum],
            scratch,
        }
    }

    /// Block length in frames.
    #[must_use]
    pub fn block_len(&self) -> usize {
        self.len
    }

    /// Hop in frames.
    #[must_use]
    pub fn hop(&self) -> usize {
        self.hop
    }

    /// Restarts the stream: the next frames follow silence.
    pub fn restart(&mut self) {
        self.history.reset();
        self.pending = 0;
        self.depth = 0;
        self.clean = self.len;
    }

    /// Takes frames and calls `on_block` for every block they complete. Blocks that contain an invalid frame are left
    /// out.
    pub fn push(&mut self, run: &Run<'_>, mut on_block: impl FnMut(&Block<'_>)) {
        let (mut left, mut right) = (run.left, run.right);
        while !left.is_empty() {
            let count = left.len().min(self.hop - self.pending);
            let (now_left, now_right);
            (now_left, left) = left.split_at(count);
            (now_right, right) = right.split_at(count);
            self.history.push(now_left, now_right);
            self.clean = if run.sound {
                (self.clean + count).min(self.len)
            } else {
                0
            };
            self.depth = (self.depth + count).min(self.len);
            self.pending += count;
            if self.pending == self.hop {
                self.complete(self.len - self.depth, self.len, &mut on_block);
            }
        }
    }

    /// Completes the stream: appends silence until no block reaches the last frame any more, then restarts.
    pub fn flush(&mut self, mut on_block: impl FnMut(&Block<'_>)) {
        let mut unfinished = self.len - self.hop + self.pending;
        let mut begin = unfinished - self.depth.min(unfinished);
        while unfinished > 0 {
            let silence = self.hop - self.pending;
            self.history.push_silence(silence);
            self.clean = (self.clean + silence).min(self.len);
            self.complete(begin, unfinished, &mut on_block);
            unfinished = unfinished.saturating_sub(self.hop);
            begin = begin.saturating_sub(self.hop);
        }
        self.restart();
    }

    /// Transforms the last block of frames, of which `begin..end` belong to the stream.
    fn complete(&mut self, begin: usize, end: usize, on_block: &mut impl FnMut(&Block<'_>)) {
        self.pending = 0;
        if self.clean < self.len {
            return;
        }
        for (channel, spectrum) in self.spectra.iter_mut().enumerate() {
            let frames = self.history.last(channel, self.len, 0);
            fft::weigh(frames, &self.window, &mut self.windowed);
            fft::forward(&*self.fft, &mut self.windowed, spectrum, &mut self.scratch);
        }
        let coverage = if begin == 0 && end == self.len {
            WINDOW_POWER * self.len as f64
        } else {
            self.window[begin..end].iter().map(|w| w * w).sum()
        };
        on_block(&Block {
            left: &self.spectra[0],
            right: &self.spectra[1],
            coverage,
        });
    }
}

/// A weighted sum of blocks' spectra.
#[derive(Clone, Debug)]
pub struct Average {
    /// Sums over the blocks, two-sided.
    sums: Sums,
    coverage: f64,
    full_coverage: f64,
    weight: f64,
    squared_weight: f64,
    decay: f64,
}

impl Average {
    /// Creates an average over all blocks since the start: every block counts alike.
    #[must_use]
    pub fn take(block_len: usize) -> Self {
        let full_coverage = WINDOW_POWER * block_len as f64;
        Self {
            sums: Sums::new(block_len / 2 + 1),
            coverage: 0.0,
            full_coverage,
            weight: 0.0,
            squared_weight: 0.0,
            decay: 1.0,
        }
    }

    /// Creates an exponential average: a block's weight falls to 1/e within `integration_s`.
    #[must_use]
    pub fn live(rate_hz: f64, block_len: usize, integration_s: f64) -> Self {
        let mut average = Self::take(block_len);
        average.set_integration(rate_hz, integration_s);
        average
    }

    /// Changes the integration time of a live average; its content stays.
    pub fn set_integration(&mut self, rate_hz: f64, integration_s: f64) {
        let hop_s = (2 * (self.sums.ll.len() - 1) / HOPS) as f64 / rate_hz;
        self.decay = (-hop_s / integration_s.max(1e-3)).exp();
    }

    /// Sets the factor of a block's weight from one hop to the next, 0 to 1.
    pub fn set_decay(&mut self, decay: f64) {
        self.decay = decay.clamp(0.0, 1.0);
    }

    /// Clears the average.
    pub fn reset(&mut self) {
        self.sums.silence();
        self.coverage = 0.0;
        self.weight = 0.0;
        self.squared_weight = 0.0;
    }

    /// Adds one block.
    pub fn add(&mut self, block: &Block<'_>) {
        self.count(block);
        self.sums.add(self.decay, block);
        self.settle();
    }

    /// Adds one block to two averages over blocks of the same length, for less than twice the cost.
    ///
    /// # Panics
    /// If the lengths differ.
    pub fn add_to_both(&mut self, other: &mut Self, block: &Block<'_>) {
        self.count(block);
        other.count(block);
        let decays = [self.decay, other.decay];
        Sums::add_to_both(&mut self.sums, &mut other.sums, decays, block);
        self.settle();
        other.settle();
    }

    fn count(&mut self, block: &Block<'_>) {
        let share = block.coverage / self.full_coverage;
        self.weight = self.weight * self.decay + share;
        self.squared_weight = self.squared_weight * self.decay * self.decay + share * share;
        self.coverage = self.coverage * self.decay + block.coverage;
    }

    /// Sets sums far below any reading to zero; a long silence would let them decay into subnormals, which are slow.
    fn settle(&mut self) {
        if self.decay < 1.0 && self.sums.power() < INAUDIBLE * self.full_coverage {
            self.sums.silence();
        }
    }

    /// Number of independent averages the blocks so far amount to, their overlap taken into account. Check: 125 blocks
    /// of a take amount to 65.
    #[must_use]
    pub fn averages(&self) -> f64 {
        Self::averages_of(core::slice::from_ref(self))
    }

    fn averages_of(pieces: &[Self]) -> f64 {
        let of = |value: fn(&Self) -> f64| pieces.iter().map(value).sum::<f64>();
        let (weight, squared) = (of(|piece| piece.weight), of(|piece| piece.squared_weight));
        if squared > 0.0 {
            let decay = pieces.iter().map(|piece| piece.decay).fold(0.0, f64::max);
            weight * weight / (squared * redundancy(decay))
        } else {
            0.0
        }
    }

    /// Writes the averaged spectrum to `out`, which has `block_len / 2 + 1` cells; silence without blocks.
    ///
    /// # Panics
    /// If the lengths differ.
    pub fn read(&self, out: &mut CrossSpectrum) {
        Self::read_together(core::slice::from_ref(self), out);
    }

    /// Writes the spectrum of several consecutive averages as one.
    ///
    /// # Panics
    /// If the lengths differ.
    pub fn read_together(pieces: &[Self], out: &mut CrossSpectrum) {
        // The sums are Σ|X|² and the coverage is Σw², so this makes one-sided mean squares of them: an inner bin
        // includes its mirror image.
        let last = out.len() - 1;
        let coverage: f64 = pieces.iter().map(|piece| piece.coverage).sum();
        let inner = if coverage > 0.0 {
            1.0 / (last as f64 * coverage)
        } else {
            0.0
        };
        let mut heard = pieces.iter().filter(|piece| piece.coverage > 0.0);
        match heard.next() {
            Some(first) => first.sums.write(inner, out),
            None => out.silence(),
        }
        out.delay_s = 0.0;
        out.near.clear();
        out.averages = Self::averages_of(pieces);
        for piece in heard {
            let Sums { ll, rr, re, im } = &piece.sums;
            for (out, sums) in [(&mut out.ll, ll), (&mut out.rr, rr)] {
                for (out, sum) in out.iter_mut().zip(sums) {
                    *out += sum * inner;
                }
            }
            for (lr, (re, im)) in out.lr.iter_mut().zip(re.iter().zip(im)) {
                *lr += Complex::new(re * inner, im * inner);
            }
        }
        for edge in [0, last] {
            out.ll[edge] *= 0.5;
            out.rr[edge] *= 0.5;
            out.lr[edge] *= 0.5;
        }
    }
}

/// The averaged spectrum of a whole signal, with its grid; a convenience for files and tests.
#[must_use]
pub fn spectrum_of(left: &[f64], right: &[f64], rate_hz: f64, block_len: usize) -> (Grid, CrossSpectrum) {
    let mut blocks = Blocks::new(block_len);
    let mut average = Average::take(block_len);
    Cleaner::default().runs(left, right, |run| blocks.push(run, |block| average.add(block)));
    blocks.flush(|block| average.add(block));
    let mut spectrum = CrossSpectrum::silent(block_len / 2 + 1);
    average.read(&mut spectrum);
    (Grid::fft(rate_hz, block_len), spectrum)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dsp::noise;

    fn push(blocks: &mut Blocks, average: &mut Average, left: &[f64], right: &[f64]) {
        Cleaner::default().runs(left, right, |run| blocks.push(run, |block| average.add(block)));
    }

    #[test]
    fn a_take_is_exactly_the_mean_square_whatever_its_length() {
        for len in [1, 100, 255, 256, 257, 1000, 1024, 5000, 12_345] {
            let (left, right) = (noise(1, len), noise(2, len));
            let (_, spectrum) = spectrum_of(&left, &right, 48_000.0, 1024);
            let mean = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>() / len as f64;
            let (ll, rr) = spectrum.powers();
            let lr: f64 = spectrum.lr.iter().map(|c| c.re).sum();
            assert!(
                (ll / mean(&left, &left) - 1.0).abs() < 1e-12,
                "{len}: {ll} {}",
                mean(&left, &left)
            );
            assert!((rr / mean(&right, &right) - 1.0).abs() < 1e-12);
            assert!((lr - mean(&left, &right)).abs() < 1e-12 * (ll * rr).sqrt());
        }
    }

    #[test]
    fn the_window_autocorrelation_is_the_windows_own() {
        let len = 4096usize;
        let window: Vec<f64> = (0..len)
            .map(|n| 0.5 - 0.5 * (core::f64::consts::TAU * n as f64 / len as f64).cos())
            .collect();
        let full: f64 = window.iter().map(|w| w * w).sum();
        // CHECKS COH-3 lists the squares for N = 4096: 64 .997, 256 .950, 512 .814, 1024 .437, 2048 .035.
        for (lag, squared) in [
            (64, 0.997),
            (256, 0.950),
            (512, 0.814),
            (1024, 0.437),
            (2048, 0.035),
        ] {
            let slow = window.iter().zip(&window[lag..]).map(|(a, b)| a * b).sum::<f64>() / full;
            let closed = window_autocorrelation(lag as f64 / len as f64);
            assert!((slow - closed).abs() < 1e-6, "{lag}: {slow} {closed}");
            // The table is printed to three digits.
            assert!(
                (closed * closed - squared).abs() < 0.01,
                "{lag}: {}",
                closed * closed
            );
        }
        assert_eq!(window_autocorrelation(1.0), 0.0);
    }

    #[test]
    fn overlapping_averages_count_as_in_the_table() {
        // CHECKS COH-1, 75 % overlap: 125 segments amount to 65.
        let mut average = Average::take(1024);
        let empty = vec![Complex::new(0.0, 0.0); 513];
        let block = Block {
            left: &empty,
            right: &empty,
            coverage: WINDOW_POWER * 1024.0,
        };
        for _ in 0..125 {
            average.add(&block);
        }
        assert!((average.averages() - 65.0).abs() < 0.5, "{}", average.averages());
    }

    #[test]
    fn a_invalid_frame_spoils_only_the_blocks_that_hold_it() {
        let mut left: Vec<f32> = noise(3, 20_000).iter().map(|&x| x as f32).collect();
        let right = left.clone();
        left[9_000] = f32::NAN;
        let mut blocks = Blocks::new(1024);
        let mut average = Average::take(1024);
        let mut count = 0;
        Cleaner::default().runs(&left, &right, |run| {
            blocks.push(run, |block| {
                count += 1;
                average.add(block);
            });
        });
        assert_eq!(count, 20_000 / 256 - HOPS);
        let mut spectrum = CrossSpectrum::silent(513);
        average.read(&mut spectrum);
        assert!(
            (spectrum.mean_power() - 1.0 / 12.0).abs() < 3e-3,
            "{}",
            spectrum.mean_power()
        );
    }

    #[test]
    fn blocks_do_not_depend_on_how_the_frames_come() {
        let (left, right) = (noise(4, 9_000), noise(5, 9_000));
        let (_, whole) = spectrum_of(&left, &right, 48_000.0, 1024);
        for size in [1, 17, 64, 511, 8192] {
            let mut blocks = Blocks::new(1024);
            let mut average = Average::take(1024);
            for (l, r) in left.chunks(size).zip(right.chunks(size)) {
                push(&mut blocks, &mut average, l, r);
            }
            blocks.flush(|block| average.add(block));
            let mut spectrum = CrossSpectrum::silent(513);
            average.read(&mut spectrum);
            assert_eq!(spectrum, whole, "blocks of {size}");
        }
    }

    #[test]
    fn two_averages_at_once_are_the_two_of_them() {
        let (left, right) = (noise(8, 20_000), noise(9, 20_000));
        let both = || [Average::live(48_000.0, 1024, 0.2), Average::take(1024)];
        let ([mut live, mut take], [mut one, mut other]) = (both(), both());
        let mut blocks = Blocks::new(1024);
        Cleaner::default().runs(&left, &right, |run| {
            blocks.push(run, |block| {
                live.add(block);
                take.add(block);
                one.add_to_both(&mut other, block);
            });
        });
        for (alone, together) in [(&live, &one), (&take, &other)] {
            let mut spectra = [CrossSpectrum::silent(513), CrossSpectrum::silent(513)];
            alone.read(&mut spectra[0]);
            together.read(&mut spectra[1]);
            assert!(spectra[0].mean_power() > 0.0);
            assert_eq!(spectra[0], spectra[1]);
        }
    }

    #[test]
    fn a_live_average_forgets() {
        let rate = 48_000.0;
        let mut blocks = Blocks::new(1024);
        let mut average = Average::live(rate, 1024, 0.3);
        let loud = noise(6, 48_000);
        let silence = vec![0.0; 48_000];
        push(&mut blocks, &mut average, &loud, &loud);
        let mut before = CrossSpectrum::silent(513);
        average.read(&mut before);
        push(&mut blocks, &mut average, &silence, &silence);
        let mut after = CrossSpectrum::silent(513);
        average.read(&mut after);
        let fall_db = 10.0 * (after.mean_power() / before.mean_power()).log10();
        // One second at 0.3 s: e^(−1/0.3), −14.5 dB.
        assert!((fall_db + 14.48).abs() < 0.5, "{fall_db}");
    }
}
