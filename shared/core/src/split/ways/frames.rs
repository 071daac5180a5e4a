//! Short-time covariances: frames of about 21 ms, with hops of a quarter frame, summed into bands.

use std::sync::Arc;

use multiversion::multiversion;
use realfft::{RealFftPlanner, RealToComplex};

use super::bands::{BANDS, BandEdges};
use super::sums::Covariance;
use crate::Complex;
use crate::dsp::fft;
use crate::dsp::history::FrameHistory;
use crate::dsp::numbers::{to_count, to_index, to_lag};
use crate::dsp::samples::{LONGEST_RUN, Run};

/// Length of a frame, seconds, before it is rounded to a power of two: 1024 samples at 44.1 and 48 kHz.
const FRAME_S: f64 = 0.0213;

/// Longest delay of a channel for lining up, seconds.
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
    /// The rotation of each bin's cross term that makes up for the delay's fraction of a sample.
    turns: Vec<Complex<f64>>,
    turning: bool,
    delay_samples: f64,
    pending: usize,
    /// Frames still needed until the window holds no invalid or missing one.
    unclean: usize,
    windowed: Vec<f64>,
    spectra: [Vec<Complex<f64>>; 2],
    scratch: Vec<Complex<f64>>,
    /// Per bin: left, right, real and imaginary part of the cross term.
    products: [Vec<f64>; 4],
    bands: [Bins; BANDS],
    made: u64,
}

/// The bins of a band.
#[derive(Clone, Copy)]
struct Bins {
    from: usize,
    to: usize,
    /// Share of bin `from` that belongs to the band.
    first: f64,
    /// Share of bin `to` that belongs to the band.
    last: f64,
}

impl Bins {
    /// The bins between two edges, of `bins` in all.
    fn between(lower: f64, upper: f64, bins: usize) -> Self {
        let (lower, upper) = (lower.min(bins as f64), upper.min(bins as f64));
        let (from, to) = (to_index(lower), to_index(upper));
        let (before, last) = (lower - from as f64, upper - to as f64);
        if from == to {
            return Self {
                from,
                to,
                first: 0.0,
                last: (last - before).max(0.0),
            };
        }
        Self {
            from,
            to,
            first: 1.0 - before,
            last,
        }
    }

    fn sum(self, [ll, rr, re, im]: &[Vec<f64>; 4]) -> Covariance {
        let mut sums = [0.0; 4];
        let mut add = |bin: usize, weight: f64| {
            for (sum, values) in sums.iter_mut().zip([ll, rr, re, im]) {
                *sum += weight * values[bin];
            }
        };
        if self.from < self.to {
            add(self.from, self.first);
        }
        add(self.to, self.last);
        let inner = (self.from + 1).min(self.to)..self.to;
        let inner = [ll, rr, re, im].map(|values| &values[inner.clone()]);
        let count = inner[0].len();
        let [ll, rr, re, im] = inner.map(|values| &values[..count]);
        let [mut left, mut right, mut real, mut imaginary] = sums;
        for k in 0..count {
            left += ll[k];
            right += rr[k];
            real += re[k];
            imaginary += im[k];
        }
        Covariance {
            ll: left,
            rr: right,
            re: real,
            im: imaginary,
        }
    }
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
        let len = 1usize << to_count((FRAME_S * rate_hz).max(32.0).log2().round());
        let fft = RealFftPlanner::<f64>::new().plan_fft_forward(len);
        let scratch = fft.make_scratch_vec();
        let spectrum = fft.make_output_vec();
        let edges = edges.in_bins(rate_hz, len);
        // Up to the bin that the last edge reaches into.
        let bins = (to_index(edges[BANDS]) + 1).min(len / 2 + 1);
        let longest_lag = to_index(LONGEST_LAG_S * rate_hz);
        // One more, always zero: the last band may end exactly where the last bin does.
        let product = vec![0.0; bins + 1];
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
            products: [product.clone(), product.clone(), product.clone(), product],
            bands: core::array::from_fn(|band| Bins::between(edges[band], edges[band + 1], bins)),
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
        self.lag = to_lag(self.delay_samples.round());
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

    /// Takes frames. Calls `on_frame` with the bands of each short frame, and whether all of it is valid; the bands are
    /// zero otherwise.
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
        // If the right channel is late, the left one is taken from that much earlier.
        let back = [
            self.lag.max(0).cast_unsigned(),
            (-self.lag).max(0).cast_unsigned(),
        ];
        for (channel, spectrum) in self.spectra.iter_mut().enumerate() {
            let frames = self.history.last(channel, self.len, back[channel]);
            fft::weigh(frames, &self.window, &mut self.windowed);
            fft::forward(&*self.fft, &mut self.windowed, spectrum, &mut self.scratch);
        }
        self.made += 2;
        let [left, right] = &self.spectra;
        let bins = self.turns.len();
        let [ll, rr, re, im] = self.products.each_mut().map(|values| &mut values[..bins]);
        products(left, right, [ll, rr, &mut *re, &mut *im]);
        if self.turning {
            for ((re, im), turn) in re.iter_mut().zip(im).zip(&self.turns) {
                let turned = Complex::new(*re, *im) * turn;
                (*re, *im) = (turned.re, turned.im);
            }
        }
        self.bands.map(|bins| bins.sum(&self.products))
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
