//! A signal read at times between its samples.

use crate::delay::{bessel_i0, sinc};
use crate::numbers::to_index;

const HALF_WIDTH: usize = 12;
const KAISER_BETA: f64 = 8.0;
const TABLE: usize = 256;

/// As many samples as there are, each read at the place that `at` gives for it (in samples; outside there is silence). Within
/// 0.1 % up to 0.4 of the rate.
pub(super) fn read_between(signal: &[f64], at: impl Fn(usize) -> f64) -> Vec<f64> {
    let points = HALF_WIDTH * TABLE + 2;
    let kernel: Vec<f64> = (0..points)
        .map(|n| {
            let t = n as f64 / TABLE as f64;
            let edge = (t / HALF_WIDTH as f64).min(1.0);
            let window = bessel_i0(KAISER_BETA * (1.0 - edge * edge).sqrt()) / bessel_i0(KAISER_BETA);
            sinc(t) * window
        })
        .collect();
    (0..signal.len())
        .map(|n| {
            let place = at(n);
            let from = to_index((place - HALF_WIDTH as f64).ceil().max(0.0));
            let to = to_index((place + HALF_WIDTH as f64).max(0.0));
            let mut sum = 0.0;
            for (k, x) in signal.iter().enumerate().take(to.saturating_add(1)).skip(from) {
                let point = (k as f64 - place).abs() * TABLE as f64;
                let index = to_index(point);
                if let (Some(low), Some(high)) = (kernel.get(index), kernel.get(index + 1)) {
                    sum += x * (low + (high - low) * (point - index as f64));
                }
            }
            sum
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tone_is_read_between_its_samples() {
        for hz in [0.01, 0.2, 0.4] {
            let tone = |n: f64| (std::f64::consts::TAU * hz * n).sin();
            let x: Vec<f64> = (0..2000).map(|n| tone(f64::from(n))).collect();
            let y = read_between(&x, |n| n as f64 * 0.9 + 3.3);
            for (n, y) in y.iter().enumerate().take(1900).skip(50) {
                assert!((y - tone(n as f64 * 0.9 + 3.3)).abs() < 2e-3);
            }
        }
    }
}
