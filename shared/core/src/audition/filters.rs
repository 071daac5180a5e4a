//! The lines' and loudspeakers' filters, both channels side by side, which the compiler puts into one instruction.

use core::f64::consts::{PI, SQRT_2};

use multiversion::multiversion;

use super::Frames;
use crate::dsp::numbers::to_single;
use crate::dsp::samples;

/// An array with `of` called for each lane.
#[inline(always)]
fn lanes<const N: usize>(of: impl FnMut(usize) -> f64) -> [f64; N] {
    core::array::from_fn(of)
}

/// First-order high-passes like [`crate::routing::response::high_pass`], two in series in each of `N` lines.
#[derive(Clone, Copy, Debug)]
pub(super) struct HighPasses<const N: usize> {
    stages: [Stage<N>; 2],
}

/// One high-pass in each line.
#[derive(Clone, Copy, Debug)]
struct Stage<const N: usize> {
    gain: [f64; N],
    pole: [f64; N],
    state: [f64; N],
}

impl HighPasses<2> {
    /// Creates them for the corners of each line, Hz; 0 stands for none.
    pub(super) fn new(corners_hz: [[f64; 2]; 2], rate_hz: f64) -> Self {
        let stage = |number: usize| {
            let k = corners_hz.map(|line| match line[number] {
                hz if hz > 0.0 => (PI * hz / rate_hz).tan(),
                _ => 0.0,
            });
            // With k = 0 a line passes bit for bit: its gain and pole are 1, and its state stays 0.
            Stage {
                gain: k.map(|k| 1.0 / (1.0 + k)),
                pole: k.map(|k| (1.0 - k) / (1.0 + k)),
                state: [0.0; 2],
            }
        };
        Self {
            stages: [stage(0), stage(1)],
        }
    }

    /// Whether any line has a high-pass.
    pub(super) fn are_there(&self) -> bool {
        self.stages
            .iter()
            .any(|stage| stage.pole.iter().any(|&pole| pole != 1.0))
    }

    pub(super) fn settle(&mut self) {
        for stage in &mut self.stages {
            stage.state = stage.state.map(samples::settled);
        }
    }

    /// The high-passes of two feeds at once, which cost no more than those of one.
    pub(super) fn joined(&self, other: &Self) -> HighPasses<4> {
        let join = |one: [f64; 2], two: [f64; 2]| [one[0], one[1], two[0], two[1]];
        HighPasses {
            stages: core::array::from_fn(|number| {
                let (one, two) = (&self.stages[number], &other.stages[number]);
                Stage {
                    gain: join(one.gain, two.gain),
                    pole: join(one.pole, two.pole),
                    state: join(one.state, two.state),
                }
            }),
        }
    }

    /// Takes over the state of its half of two feeds' high-passes; `second` says which half.
    pub(super) fn resume(&mut self, both: &HighPasses<4>, second: bool) {
        let first = if second { 2 } else { 0 };
        for (stage, both) in self.stages.iter_mut().zip(&both.stages) {
            stage.state = [both.state[first], both.state[first + 1]];
        }
    }
}

impl<const N: usize> Filter<N> for HighPasses<N> {
    /// `y[n] = g·(x[n] − x[n−1]) + p·y[n−1]`, transposed: one state.
    #[inline(always)]
    fn frame(&mut self, input: [f64; N]) -> [f64; N] {
        let mut signal = input;
        for stage in &mut self.stages {
            let scaled: [f64; N] = lanes(|line| stage.gain[line] * signal[line]);
            signal = lanes(|line| scaled[line] + stage.state[line]);
            stage.state = lanes(|line| stage.pole[line] * signal[line] - scaled[line]);
        }
        signal
    }
}

/// The fourth-order low-pass of [`crate::routing::response::low_pass_power`], in front of either loudspeaker.
#[derive(Clone, Copy, Debug)]
pub(super) struct LowPasses {
    b: f64,
    a: [f64; 2],
    states: [[[f64; 2]; 2]; 2],
}

impl LowPasses {
    pub(super) fn new(corner_hz: f64, rate_hz: f64) -> Self {
        let k = (PI * corner_hz / rate_hz).tan();
        let norm = 1.0 + SQRT_2 * k + k * k;
        Self {
            b: k * k / norm,
            a: [2.0 * (k * k - 1.0) / norm, (1.0 - SQRT_2 * k + k * k) / norm],
            states: [[[0.0; 2]; 2]; 2],
        }
    }

    pub(super) fn settle(&mut self) {
        for state in self.states.as_flattened_mut().as_flattened_mut() {
            *state = samples::settled(*state);
        }
    }
}

/// A filter that runs over `N` channels frame by frame.
pub(super) trait Filter<const N: usize>: Copy {
    /// Filters one frame.
    fn frame(&mut self, input: [f64; N]) -> [f64; N];
}

impl Filter<2> for LowPasses {
    /// Two second-order sections in series, transposed direct form II.
    #[inline(always)]
    fn frame(&mut self, input: [f64; 2]) -> [f64; 2] {
        let mut signal = input;
        for [s0, s1] in &mut self.states {
            let scaled = signal.map(|sample| self.b * sample);
            let output: [f64; 2] = lanes(|side| scaled[side] + s0[side]);
            *s0 = lanes(|side| 2.0 * scaled[side] - self.a[0] * output[side] + s1[side]);
            *s1 = lanes(|side| scaled[side] - self.a[1] * output[side]);
            signal = output;
        }
        signal
    }
}

/// Runs a filter over both channels, for as many frames as the shorter has.
#[multiversion(targets("x86_64+avx"))]
pub(super) fn run<F: Filter<2>>(filter: &mut F, left: &mut [f32], right: &mut [f32]) {
    // A copy, because the compiler keeps that in registers.
    let mut running = *filter;
    for (left, right) in left.iter_mut().zip(right) {
        let out = running.frame([f64::from(*left), f64::from(*right)]);
        (*left, *right) = (to_single(out[0]), to_single(out[1]));
    }
    *filter = running;
}

/// Runs two feeds' high-passes over both channels of each, the first `count` frames.
#[multiversion(targets("x86_64+avx"))]
pub(super) fn run_both(filter: &mut HighPasses<4>, first: &mut Frames, second: &mut Frames, count: usize) {
    let mut running = *filter;
    let ([a, b], [c, d]) = (first, second);
    let (a, b) = (&mut a[..count], &mut b[..count]);
    let (c, d) = (&mut c[..count], &mut d[..count]);
    for (((a, b), c), d) in a.iter_mut().zip(b).zip(c).zip(d) {
        let out = running.frame([*a, *b, *c, *d].map(f64::from));
        [*a, *b, *c, *d] = out.map(to_single);
    }
    *filter = running;
}
