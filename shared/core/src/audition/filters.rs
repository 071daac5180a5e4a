//! The filters on the way, both lines side by side: what the compiler puts into one instruction.

use core::f64::consts::{PI, SQRT_2};

use crate::sanitize;

/// The same for both lines.
#[inline(always)]
fn lanes(of: impl FnMut(usize) -> f64) -> [f64; 2] {
    core::array::from_fn(of)
}

/// The first-order high-passes of [`crate::response::high_pass`], one in each line.
#[derive(Clone, Copy, Debug)]
pub(super) struct HighPasses {
    gain: [f64; 2],
    pole: [f64; 2],
    state: [f64; 2],
}

impl HighPasses {
    /// For corners of which 0 stands for none. `None` if there is none in either line.
    pub(super) fn new(corners_hz: [f64; 2], rate_hz: f64) -> Option<Self> {
        let k = corners_hz.map(|hz| if hz > 0.0 { (PI * hz / rate_hz).tan() } else { 0.0 });
        // With k = 0 a line passes bit for bit: its gain and pole are 1, and its state stays 0.
        corners_hz.iter().any(|&hz| hz > 0.0).then(|| Self {
            gain: k.map(|k| 1.0 / (1.0 + k)),
            pole: k.map(|k| (1.0 - k) / (1.0 + k)),
            state: [0.0; 2],
        })
    }

    pub(super) fn settle(&mut self) {
        self.state = self.state.map(sanitize::settled);
    }
}

/// The fourth-order low-pass of [`crate::response::low_pass_power`], in front of either loudspeaker.
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
            *state = sanitize::settled(*state);
        }
    }
}

/// What runs over both channels, frame by frame.
pub(super) trait Filter: Copy {
    /// One frame.
    fn frame(&mut self, input: [f64; 2]) -> [f64; 2];
}

impl Filter for HighPasses {
    /// `y[n] = g·(x[n] − x[n−1]) + p·y[n−1]`, transposed: one state.
    #[inline(always)]
    fn frame(&mut self, input: [f64; 2]) -> [f64; 2] {
        let scaled = lanes(|line| self.gain[line] * input[line]);
        let output = lanes(|line| scaled[line] + self.state[line]);
        self.state = lanes(|line| self.pole[line] * output[line] - scaled[line]);
        output
    }
}

impl Filter for LowPasses {
    /// Two second-order ones in a row, transposed direct form II.
    #[inline(always)]
    fn frame(&mut self, input: [f64; 2]) -> [f64; 2] {
        let mut signal = input;
        for [s0, s1] in &mut self.states {
            let scaled = signal.map(|sample| self.b * sample);
            let output = lanes(|side| scaled[side] + s0[side]);
            *s0 = lanes(|side| 2.0 * scaled[side] - self.a[0] * output[side] + s1[side]);
            *s1 = lanes(|side| scaled[side] - self.a[1] * output[side]);
            signal = output;
        }
        signal
    }
}

/// One after the other.
impl<A: Filter, B: Filter> Filter for (A, B) {
    #[inline(always)]
    fn frame(&mut self, input: [f64; 2]) -> [f64; 2] {
        let between = self.0.frame(input);
        self.1.frame(between)
    }
}

/// Runs a filter over both channels, as many frames as the shorter has.
pub(super) fn run(filter: &mut impl Filter, left: &mut [f32], right: &mut [f32]) {
    // A copy, because the compiler keeps that in registers.
    let mut running = *filter;
    for (left, right) in left.iter_mut().zip(right) {
        let out = running.frame([f64::from(*left), f64::from(*right)]);
        (*left, *right) = (out[0] as f32, out[1] as f32);
    }
    *filter = running;
}
