//! Short-time covariances: frames of about 21 ms, four to a frame's length, summed into bands.

use std::sync::Arc;

use multiversion::multiversion;
use realfft::{RealFftPlanner, RealToComplex};

use super::bands::{BANDS, BandEdges};
use super::sums::Covariance;
use crate::Complex;
use crate::dsp::fft;
use crate::dsp::history::FrameHistory;
use crate::dsp::samples::{LONGEST_RUN, Run};

/// Length of a frame, seconds, before it is rounded to a power of two: 1024 samples at 44.1 and 48 kHz.
const FRAME_S: f64 = 0.0213;

/// A channel is held back by at most this, seconds.
pub(super) const LONGEST_LAG_S: f64 = 0.045;

/// Cuts a pair of channels into frames and sums each into bands.
pub(super) struct ShortFrames {
    len: usize,
    hop: usize,
    window: Vec<f64>,
    fft: Arc<dyn RealToComplex<f64>>,
    history: FrameHistory,
    longest_lag: usize,
    lag: isize,
    /// What turns the cross term of each bin to make up for the part of a sample that is left of the delay.
    turns: Vec<Complex<f64>>,
    turning: bool,
    delay_samples: f64,
    pending: usize,
    /// Frames that are still needed until no invalid or unheard one is left in the window.
    unclean: usize,
    windowed: Vec<f64>,
    spectra: [Vec<Complex<f64>>; 2],
    scratch: Vec<Complex<f64>>,
    /// Running sums over the bins: left, right, real and imaginary part of the cross term.
    running: [Vec<f64>; 4],
    edges: [f64; BANDS + 1],
    made: u64,
}

impl std::fmt::Debug for ShortFrames {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("ShortFrames")
            .field("len", &self.len)
            .finish_non_exhaustive()
    }
}

impl ShortFrames {
    pub fn new(rate_hz: f64, edges: BandEdges) -> Self {
        let len = 1usize << (FRAME_S * rate_hz).max(32.0).log2().round() as u32;
        let fft = RealFftPlanner::<f64>::new().plan_fft_forward(len);
        let scratch = fft.make_scratch_vec();
        let spectrum = fft.make_output_vec();
        let edges = edges.in_bins(rate_hz, len);
        // One more bin than the last edge reaches into, and one for the sum before the first.
        let bins = (edges[BANDS] as usize + 1).min(len / 2 + 1);
        let longest_lag = (LONGEST_LAG_S * rate_hz) as usize;
        let running = vec![0.0; bins + 1];
        Self {
            len,
            hop: len / 4,
            window: (0..len)
                .map(|n| 0.5 - 0.5 * (core::f64::consts::TAU * n as f64 / len as f64).cos())
                .collect(),
            fft,
            history: FrameHistory::new((len + longest_lag).max(LONGEST_RUN)),
            longest_lag,
            lag: 0,
            turns: vec![Complex::new(1.0, 0.0); bins],
            turning: false,
            delay_samples: 0.0,
            pending: 0,
            unclean: 0,
            windowed: vec![0.0; len],
            spectra: [spectrum.clone(), spectrum],
            scratch,
            running: [running.clone(), running.clone(), running.clone(), running],
            edges,
            made: 0,
        }
    }

    pub fn hop(&self) -> usize {
        self.hop
    }

    pub fn delay_samples(&self) -> f64 {
        self.delay_samples
    }

    pub fn transforms(&self) -> (u64, usize) {
        (self.made, self.len)
    }

    pub fn restart(&mut self, delay_samples: f64) {
        let most = self.longest_lag as f64;
        self.delay_samples = delay_samples.clamp(-most, most);
        self.lag = self.delay_samples.round() as isize;
        let rest = self.delay_samples - self.lag as f64;
        self.turning = rest != 0.0;
        for (bin, turn) in self.turns.iter_mut().enumerate() {
            let angle = -core::f64::consts::TAU * bin as f64 * rest / self.len as f64;
            *turn = Complex::from_polar(1.0, angle);
        }
        self.history.reset();
        self.pending = 0;
        self.unclean = 0;
    }

    /// Takes frames. Hands over the bands of each short frame, and whether all that lies in it is believed: nothing is in the
    /// bands where not.
    pub fn push(&mut self, run: &Run<'_>, mut on_frame: impl FnMut(&[Covariance; BANDS], bool)) {
        let (mut left, mut right) = (run.left, run.right);
        while !left.is_empty() {
            let count = left.len().min(self.hop - self.pending);
            let (now_left, now_right);
            (now_left, left) = left.split_at(count);
            (now_right, right) = right.split_at(count);
            self.history.push(now_left, now_right);
            self.unclean = if run.sound {
                self.unclean.saturating_sub(count)
            } else {
                self.len + self.lag.unsigned_abs()
            };
            self.pending += count;
            if self.pending == self.hop {
                self.pending = 0;
                let believed = self.unclean == 0;
                let bands = if believed {
                    self.transform()
                } else {
                    [Covariance::default(); BANDS]
                };
                on_frame(&bands, believed);
            }
        }
    }

    fn transform(&mut self) -> [Covariance; BANDS] {
        // Where the right channel is the later one, the left one is taken from so much earlier.
        let back = [self.lag.max(0) as usize, (-self.lag).max(0) as usize];
        for (channel, spectrum) in self.spectra.iter_mut().enumerate() {
            let frames = self.history.last(channel, self.len, back[channel]);
            fft::weigh(frames, &self.window, &mut self.windowed);
            fft::forward(&*self.fft, &mut self.windowed, spectrum, &mut self.scratch);
        }
        self.made += 2;
        let [left, right] = &self.spectra;
        let [ll, rr, re, im] = &mut self.running;
        products(
            left,
            right,
            [&mut ll[1..], &mut rr[1..], &mut re[1..], &mut im[1..]],
        );
        if self.turning {
            for ((re, im), turn) in re[1..].iter_mut().zip(&mut im[1..]).zip(&self.turns) {
                let turned = Complex::new(*re, *im) * turn;
                (*re, *im) = (turned.re, turned.im);
            }
        }
        for sums in &mut self.running {
            run_up(sums);
        }
        let last = self.running[0].len() - 1;
        let at = |sums: &[f64], edge: f64| {
            let bin = (edge as usize).min(last);
            let next = (bin + 1).min(last);
            sums[bin] + (edge - bin as f64).min(1.0) * (sums[next] - sums[bin])
        };
        core::array::from_fn(|band| {
            let of = |sums: &[f64]| at(sums, self.edges[band + 1]) - at(sums, self.edges[band]);
            let [ll, rr, re, im] = &self.running;
            // Differences of running sums may leave −1e-17.
            Covariance {
                ll: of(ll).max(0.0),
                rr: of(rr).max(0.0),
                re: of(re),
                im: of(im),
            }
        })
    }
}

/// Replaces values by the sums up to them.
fn run_up(values: &mut [f64]) {
    let mut sum = 0.0;
    for value in values {
        sum += *value;
        *value = sum;
    }
}

#[multiversion(targets("x86_64+avx"))]
fn products(left: &[Complex<f64>], right: &[Complex<f64>], [ll, rr, re, im]: [&mut [f64]; 4]) {
    let bins = ll.len();
    let (left, right) = (&left[..bins], &right[..bins]);
    let (rr, re, im) = (&mut rr[..bins], &mut re[..bins], &mut im[..bins]);
    for k in 0..bins {
        let (l, r) = (left[k], right[k]);
        ll[k] = l.re * l.re + l.im * l.im;
        rr[k] = r.re * r.re + r.im * r.im;
        re[k] = l.re * r.re + l.im * r.im;
        im[k] = l.im * r.re - l.re * r.im;
    }
}
