//! Welch averages of a pair of channels: one stream of windowed blocks, a live and a take average fed from it.
//!
//! A block is `N` frames under a periodic Hann window, a new one every `N/4` frames. Blocks reach back over the start of
//! the stream into silence, and [`Blocks::flush`] lets them run out over its end; since the squared windows of four
//! overlapping blocks add up to a constant, every frame then counts alike and a take's power is exactly its mean square.

use std::sync::Arc;

use realfft::{RealFftPlanner, RealToComplex};

use crate::Complex;
use crate::grid::Grid;
use crate::sanitize;
use crate::spectrum::CrossSpectrum;

/// Blocks overlap by all but `1/HOPS` of their length.
pub const HOPS: usize = 4;

/// Sums below this are nothing, as powers.
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
/// (Welch 1967): how much a block repeats of what the ones before it said.
fn redundancy(decay: f64) -> f64 {
    let repeated: f64 = (1..HOPS)
        .map(|m| decay.powi(m as i32) * window_autocorrelation(m as f64 / HOPS as f64).powi(2))
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
    history: [Vec<f64>; 2],
    /// Frames in the history that are waiting to complete a hop.
    pending: usize,
    /// Frames since the start, up to `len`: how far the stream reaches back into the block.
    depth: usize,
    /// Frames since the last one that was garbage, up to `len`.
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
    /// For blocks of `len` frames, a multiple of four.
    ///
    /// # Panics
    /// If `len` is below 16 or no multiple of 4.
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
            history: [vec![0.0; len], vec![0.0; len]],
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

    /// Forgets the stream: what comes next begins after silence.
    pub fn restart(&mut self) {
        for channel in &mut self.history {
            channel.fill(0.0);
        }
        self.pending = 0;
        self.depth = 0;
        self.clean = self.len;
    }

    /// Takes frames (as many of both channels) and calls `on_block` for every block they complete. A block that holds a
    /// garbage frame is left out.
    pub fn push(&mut self, left: &[f32], right: &[f32], mut on_block: impl FnMut(&Block<'_>)) {
        let frames = left.len().min(right.len());
        let mut done = 0;
        while done < frames {
            let count = (frames - done).min(self.hop - self.pending);
            let at = self.len - self.hop + self.pending;
            let (left, right) = (&left[done..done + count], &right[done..done + count]);
            let [left_history, right_history] = &mut self.history;
            let places = left_history[at..at + count]
                .iter_mut()
                .zip(&mut right_history[at..at + count]);
            let mut all_sound = true;
            for ((left_place, right_place), (&l, &r)) in places.zip(left.iter().zip(right)) {
                let sound = sanitize::is_sound(l, r);
                all_sound &= sound;
                *left_place = f64::from(if sound { sanitize::measured(l) } else { 0.0 });
                *right_place = f64::from(if sound { sanitize::measured(r) } else { 0.0 });
            }
            if all_sound {
                self.clean = (self.clean + count).min(self.len);
            } else {
                let garbage = |&(l, r): &(&f32, &f32)| !sanitize::is_sound(*l, *r);
                let since = left.iter().zip(right).rev().position(|frame| garbage(&frame));
                self.clean = since.unwrap_or(count);
            }
            done += count;
            self.advance(count, &mut on_block);
        }
    }

    /// The same for double-precision frames.
    pub fn push_f64(&mut self, left: &[f64], right: &[f64], mut on_block: impl FnMut(&Block<'_>)) {
        for (&l, &r) in left.iter().zip(right) {
            let limit = f64::from(sanitize::GARBAGE_ABOVE);
            let sound = l.abs() <= limit && r.abs() <= limit;
            let (l, r) = if sound { (l, r) } else { (0.0, 0.0) };
            self.push_one(l, r, sound, &mut on_block);
        }
    }

    #[inline]
    fn push_one(&mut self, left: f64, right: f64, sound: bool, on_block: &mut impl FnMut(&Block<'_>)) {
        let at = self.len - self.hop + self.pending;
        self.history[0][at] = left;
        self.history[1][at] = right;
        self.clean = if sound { (self.clean + 1).min(self.len) } else { 0 };
        self.advance(1, on_block);
    }

    /// Counts frames that were put into the history, and transforms it when they complete a hop.
    #[inline]
    fn advance(&mut self, count: usize, on_block: &mut impl FnMut(&Block<'_>)) {
        self.depth = (self.depth + count).min(self.len);
        self.pending += count;
        if self.pending == self.hop {
            self.complete(self.len - self.depth, self.len, on_block);
        }
    }

    /// Lets the last frames run out over the end: silence is appended until no block reaches them any more, and the
    /// stream is restarted.
    pub fn flush(&mut self, mut on_block: impl FnMut(&Block<'_>)) {
        let mut unfinished = self.len - self.hop + self.pending;
        let mut begin =
            self.len - self.hop + self.pending - self.depth.min(self.len - self.hop + self.pending);
        while unfinished > 0 {
            for channel in &mut self.history {
                channel[self.len - self.hop + self.pending..].fill(0.0);
            }
            self.clean = (self.clean + self.hop - self.pending).min(self.len);
            let end = unfinished;
            self.pending = self.hop;
            self.complete(begin, end, &mut on_block);
            unfinished = unfinished.saturating_sub(self.hop);
            begin = begin.saturating_sub(self.hop);
        }
        self.restart();
    }

    /// Transforms the history, whose frames `begin..end` belong to the stream, and moves it on by a hop.
    fn complete(&mut self, begin: usize, end: usize, on_block: &mut impl FnMut(&Block<'_>)) {
        if self.clean >= self.len {
            for (channel, spectrum) in self.history.iter().zip(&mut self.spectra) {
                for ((out, sample), weight) in self.windowed.iter_mut().zip(channel).zip(&self.window) {
                    *out = sample * weight;
                }
                // The lengths were fixed when everything was built, so this can't fail; a block is lost if it does.
                if self
                    .fft
                    .process_with_scratch(&mut self.windowed, spectrum, &mut self.scratch)
                    .is_err()
                {
                    spectrum.fill(Complex::new(0.0, 0.0));
                }
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
        for channel in &mut self.history {
            channel.copy_within(self.hop.., 0);
        }
        self.pending = 0;
    }
}

/// A weighted sum of blocks, from which the averaged spectrum is read.
#[derive(Clone, Debug)]
pub struct Average {
    sums: CrossSpectrum,
    coverage: f64,
    full_coverage: f64,
    weight: f64,
    squared_weight: f64,
    decay: f64,
    scale: f64,
}

impl Average {
    /// Over all blocks since the start: every block counts alike.
    #[must_use]
    pub fn take(block_len: usize) -> Self {
        let full_coverage = WINDOW_POWER * block_len as f64;
        Self {
            sums: CrossSpectrum::silent(block_len / 2 + 1),
            coverage: 0.0,
            full_coverage,
            weight: 0.0,
            squared_weight: 0.0,
            decay: 1.0,
            scale: 1.0 / block_len as f64,
        }
    }

    /// Exponential: a block's weight falls to 1/e within `integration_s`.
    #[must_use]
    pub fn live(rate_hz: f64, block_len: usize, integration_s: f64) -> Self {
        let mut average = Self::take(block_len);
        average.set_integration(rate_hz, integration_s);
        average
    }

    /// Changes the integration time of a live average; what it holds stays.
    pub fn set_integration(&mut self, rate_hz: f64, integration_s: f64) {
        let hop_s = (2 * (self.sums.len() - 1) / HOPS) as f64 / rate_hz;
        self.decay = (-hop_s / integration_s.max(1e-3)).exp();
    }

    /// Forgets everything.
    pub fn reset(&mut self) {
        self.sums.silence();
        self.coverage = 0.0;
        self.weight = 0.0;
        self.squared_weight = 0.0;
    }

    /// Adds one block.
    pub fn add(&mut self, block: &Block<'_>) {
        let share = block.coverage / self.full_coverage;
        self.weight = self.weight * self.decay + share;
        self.squared_weight = self.squared_weight * self.decay * self.decay + share * share;
        self.coverage = self.coverage * self.decay + block.coverage;
        let cells = self.sums.len();
        let CrossSpectrum { ll, rr, lr, .. } = &mut self.sums;
        // Slices of one length, so that the loop below has nothing to check.
        let (ll, rr, lr) = (&mut ll[..cells], &mut rr[..cells], &mut lr[..cells]);
        let (left, right) = (&block.left[..cells], &block.right[..cells]);
        let decay = self.decay;
        let mut heard = false;
        let mut add = |range: core::ops::Range<usize>, scale: f64| {
            for k in range {
                ll[k] = ll[k] * decay + left[k].norm_sqr() * scale;
                rr[k] = rr[k] * decay + right[k].norm_sqr() * scale;
                lr[k] = lr[k] * decay + left[k] * right[k].conj() * scale;
                heard |= ll[k] >= INAUDIBLE || rr[k] >= INAUDIBLE;
            }
        };
        // One-sided: an inner bin stands for its mirror image too.
        add(0..1, self.scale);
        add(1..cells - 1, 2.0 * self.scale);
        add(cells - 1..cells, self.scale);
        // Long silence would let the sums decay into subnormals, which are slow; far below any reading they are nothing.
        if !heard {
            ll.fill(0.0);
            rr.fill(0.0);
            lr.fill(Complex::new(0.0, 0.0));
        }
    }

    /// How many independent averages the blocks so far amount to, their overlap taken into account. CHECK: 125 blocks of
    /// a take amount to 65.
    #[must_use]
    pub fn averages(&self) -> f64 {
        if self.squared_weight > 0.0 {
            self.weight * self.weight / (self.squared_weight * redundancy(self.decay))
        } else {
            0.0
        }
    }

    /// Writes the averaged spectrum into `out`, which has `block_len / 2 + 1` cells. Silence without blocks.
    ///
    /// # Panics
    /// If the lengths differ.
    pub fn read(&self, out: &mut CrossSpectrum) {
        out.copy_from(&self.sums);
        out.delay_s = 0.0;
        out.averages = self.averages();
        if self.coverage > 0.0 {
            let scale = 1.0 / self.coverage;
            // sums are Σ|X|²/N and coverage is Σw², so the quotient is the mean square.
            out.ll
                .iter_mut()
                .chain(&mut out.rr)
                .for_each(|power| *power *= scale);
            out.lr.iter_mut().for_each(|cross| *cross *= scale);
        }
    }
}

/// The averaged spectrum of a whole signal, with its grid: the convenient way for files and tests.
#[must_use]
pub fn spectrum_of(left: &[f64], right: &[f64], rate_hz: f64, block_len: usize) -> (Grid, CrossSpectrum) {
    let mut blocks = Blocks::new(block_len);
    let mut average = Average::take(block_len);
    blocks.push_f64(left, right, |block| average.add(block));
    blocks.flush(|block| average.add(block));
    let mut spectrum = CrossSpectrum::silent(block_len / 2 + 1);
    average.read(&mut spectrum);
    (Grid::fft(rate_hz, block_len), spectrum)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn noise(seed: u64, len: usize) -> Vec<f64> {
        let mut state = seed;
        (0..len)
            .map(|_| {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1_442_695_040_888_963_407);
                (state >> 11) as f64 / (1u64 << 53) as f64 - 0.5
            })
            .collect()
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
    fn a_garbage_frame_spoils_only_the_blocks_that_hold_it() {
        let mut left: Vec<f32> = noise(3, 20_000).iter().map(|&x| x as f32).collect();
        let right = left.clone();
        left[9_000] = f32::NAN;
        let mut blocks = Blocks::new(1024);
        let mut average = Average::take(1024);
        let mut count = 0;
        blocks.push(&left, &right, |block| {
            count += 1;
            average.add(block);
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
                blocks.push_f64(l, r, |block| average.add(block));
            }
            blocks.flush(|block| average.add(block));
            let mut spectrum = CrossSpectrum::silent(513);
            average.read(&mut spectrum);
            assert_eq!(spectrum, whole, "blocks of {size}");
        }
    }

    #[test]
    fn a_live_average_forgets() {
        let rate = 48_000.0;
        let mut blocks = Blocks::new(1024);
        let mut average = Average::live(rate, 1024, 0.3);
        let loud = noise(6, 48_000);
        let silence = vec![0.0; 48_000];
        blocks.push_f64(&loud, &loud, |block| average.add(block));
        let mut before = CrossSpectrum::silent(513);
        average.read(&mut before);
        blocks.push_f64(&silence, &silence, |block| average.add(block));
        let mut after = CrossSpectrum::silent(513);
        average.read(&mut after);
        let fall_db = 10.0 * (after.mean_power() / before.mean_power()).log10();
        // One second at 0.3 s: e^(−1/0.3), −14.5 dB.
        assert!((fall_db + 14.48).abs() < 0.5, "{fall_db}");
    }
}
