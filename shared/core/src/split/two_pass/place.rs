//! A pass laid onto another one: moved by whole samples and by a share of one.

use core::f64::consts::PI;

use multiversion::multiversion;

use super::sound::{PIECE, Recorded, Sound};

/// Half the length of the interpolating sinc, samples.
const SINC_HALF: usize = 32;
/// Its length.
const TAPS: usize = 2 * SINC_HALF + 1;
/// Samples that are interpolated side by side.
const BESIDE: usize = 16;

/// A pass that is later than it was recorded.
pub(super) struct Placed<'a> {
    pass: Recorded<'a>,
    whole: isize,
    /// `None` where it lies on whole samples: nothing is interpolated for nothing.
    between: Option<[f64; TAPS]>,
    slope: [f64; TAPS],
}

impl<'a> Placed<'a> {
    /// Later by `whole + part` samples.
    pub(super) fn new(pass: Recorded<'a>, whole: isize, part: f64) -> Self {
        Self {
            pass,
            whole,
            between: (part != 0.0).then(|| kernel(part, false)),
            slope: kernel(part, true),
        }
    }

    /// Up to [`PIECE`] samples from frame `start` on.
    pub(super) fn fill(&self, channel: usize, start: isize, out: &mut [f64]) {
        match &self.between {
            None => self.pass.fill(channel, start - self.whole, out),
            Some(taps) => self.run(taps, channel, start, out),
        }
    }

    /// The slope there, per sample.
    pub(super) fn fill_slope(&self, channel: usize, start: isize, out: &mut [f64]) {
        self.run(&self.slope, channel, start, out);
    }

    fn run(&self, taps: &[f64; TAPS], channel: usize, start: isize, out: &mut [f64]) {
        // As many samples more as there are taps, and as make the last group of outputs a whole one.
        let mut around = [0.0; PIECE + TAPS + BESIDE];
        let needed = out.len().next_multiple_of(BESIDE) + TAPS - 1;
        let around = &mut around[..needed];
        self.pass
            .fill(channel, start - self.whole - SINC_HALF as isize, around);
        interpolate(taps, around, out);
    }
}

/// A pass as it sounds in the full one.
pub(super) struct Laid<'a> {
    pub placed: Placed<'a>,
    pub gain: f64,
}

/// What passes leave of a full one.
pub(super) struct Left<'a> {
    full: Recorded<'a>,
    laid: &'a [Laid<'a>],
}

impl<'a> Left<'a> {
    pub(super) fn new(full: Recorded<'a>, laid: &'a [Laid<'a>]) -> Self {
        Self { full, laid }
    }
}

impl Sound for Left<'_> {
    fn len(&self) -> usize {
        self.full.len()
    }

    fn fill(&self, channel: usize, start: isize, out: &mut [f64]) {
        let mut taken = [0.0; PIECE];
        self.full.fill(channel, start, out);
        for laid in self.laid {
            for (start, out) in (start..).step_by(PIECE).zip(out.chunks_mut(PIECE)) {
                let taken = &mut taken[..out.len()];
                laid.placed.fill(channel, start, taken);
                for ((n, out), taken) in (start..).zip(out).zip(taken) {
                    // The full pass begins and ends where it does.
                    if usize::try_from(n).is_ok_and(|n| n < self.full.len()) {
                        *out -= laid.gain * *taken;
                    }
                }
            }
        }
    }
}

/// A pass as it sounds in a full one of that many frames.
pub(super) struct InFull<'a> {
    pub laid: &'a Laid<'a>,
    pub len: usize,
}

impl Sound for InFull<'_> {
    fn len(&self) -> usize {
        self.len
    }

    fn fill(&self, channel: usize, start: isize, out: &mut [f64]) {
        for (start, out) in (start..).step_by(PIECE).zip(out.chunks_mut(PIECE)) {
            self.laid.placed.fill(channel, start, out);
            out.iter_mut().for_each(|out| *out *= self.laid.gain);
        }
    }
}

/// `out[n] = Σ taps[j]·around[n + last − j]`.
#[multiversion(targets("x86_64+avx"))]
fn interpolate(taps: &[f64; TAPS], around: &[f64], out: &mut [f64]) {
    for (group, out) in out.chunks_mut(BESIDE).enumerate() {
        let around = &around[group * BESIDE..group * BESIDE + TAPS - 1 + BESIDE];
        let mut sums = [0.0; BESIDE];
        for (j, tap) in taps.iter().enumerate() {
            let samples = &around[TAPS - 1 - j..TAPS - 1 - j + BESIDE];
            for lane in 0..BESIDE {
                sums[lane] += tap * samples[lane];
            }
        }
        out.copy_from_slice(&sums[..out.len()]);
    }
}

/// A windowed sinc that moves by `part` of a sample, or its slope.
fn kernel(part: f64, slope: bool) -> [f64; TAPS] {
    core::array::from_fn(|i| {
        let t = i as f64 - SINC_HALF as f64 - part;
        let window = if t.abs() >= SINC_HALF as f64 {
            0.0
        } else {
            0.5 + 0.5 * (PI * t / SINC_HALF as f64).cos()
        };
        let near = t.abs() < 1e-9;
        let value = match (slope, near) {
            (false, true) => 1.0,
            (false, false) => (PI * t).sin() / (PI * t),
            (true, true) => 0.0,
            (true, false) => (PI * t).cos() / t - (PI * t).sin() / (PI * t * t),
        };
        value * window
    })
}
