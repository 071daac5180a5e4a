//! A pass placed in another one: delayed by whole samples and a fraction.

use core::f64::consts::PI;

use multiversion::multiversion;

use super::sound::{PIECE, Recorded, Sound};

/// Half the length of the interpolating sinc, samples.
const SINC_HALF: usize = 32;
/// Length of the interpolating sinc, samples.
const TAPS: usize = 2 * SINC_HALF + 1;
/// Samples interpolated side by side.
const BESIDE: usize = 16;

/// A delayed pass.
pub(super) struct Placed<'a> {
    pass: Recorded<'a>,
    whole: isize,
    /// The interpolation kernel; `None` where the pass lies on whole samples.
    between: Option<[f64; TAPS]>,
    slope: [f64; TAPS],
}

impl<'a> Placed<'a> {
    /// Delays a pass by `whole + part` samples.
    pub(super) fn new(pass: Recorded<'a>, whole: isize, part: f64) -> Self {
        Self {
            pass,
            whole,
            between: (part != 0.0).then(|| kernel(part, false)),
            slope: kernel(part, true),
        }
    }

    /// Writes up to [`PIECE`] samples from frame `start` on.
    pub(super) fn fill(&self, channel: usize, start: isize, out: &mut [f64]) {
        match &self.between {
            None => self.pass.fill(channel, start - self.whole, out),
            Some(taps) => self.run(taps, channel, start, out),
        }
    }

    /// Writes the slope there, per sample.
    pub(super) fn fill_slope(&self, channel: usize, start: isize, out: &mut [f64]) {
        self.run(&self.slope, channel, start, out);
    }

    fn run(&self, taps: &[f64; TAPS], channel: usize, start: isize, out: &mut [f64]) {
        // Longer by the taps, and by what completes the last group of outputs.
        let mut around = [0.0; PIECE + TAPS + BESIDE];
        let needed = out.len().next_multiple_of(BESIDE) + TAPS - 1;
        let around = &mut around[..needed];
        self.pass
            .fill(channel, start - self.whole - SINC_HALF.cast_signed(), around);
        interpolate(taps, around, out);
    }
}

/// A pass with its gain and place in the full one.
pub(super) struct Laid<'a> {
    pub placed: Placed<'a>,
    pub gain: f64,
}

/// The residual of a full pass after the placed passes are subtracted.
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
                    // Nothing outside the full pass.
                    if usize::try_from(n).is_ok_and(|n| n < self.full.len()) {
                        *out -= laid.gain * *taken;
                    }
                }
            }
        }
    }
}

/// A placed pass, cut to the length of the full one.
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

/// A windowed sinc that delays by `part` of a sample, or its slope.
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
