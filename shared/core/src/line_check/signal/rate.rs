//! Sample rates brought down.

use core::f64::consts::PI;

use crate::dsp::numbers::to_index;

/// Up to here a rate is used as it is, Hz: nothing above 20 kHz is looked at.
pub(crate) const HIGH_HZ: f64 = 56_000.0;
/// Zeros of the sinc on either side of its middle.
const ZEROS: usize = 24;

/// The samples at a rate of at most `most_hz`, and that rate: every second, third, … one of what a windowed sinc leaves.
pub(crate) fn brought_down<T: Copy + Into<f64>>(
    samples: &[T],
    rate_hz: f64,
    most_hz: f64,
) -> (Vec<f64>, f64) {
    let step = to_index((rate_hz / most_hz).ceil().max(1.0));
    if step == 1 {
        return (samples.iter().map(|&x| x.into()).collect(), rate_hz);
    }
    let half = ZEROS * step;
    let taps: Vec<f64> = (0..=2 * half)
        .map(|k| {
            let x = (k as f64 - half as f64) / step as f64;
            let sinc = if x == 0.0 { 1.0 } else { (PI * x).sin() / (PI * x) };
            let place = k as f64 / half as f64 - 1.0;
            // Blackman's window.
            sinc * (0.42 + 0.5 * (PI * place).cos() + 0.08 * (2.0 * PI * place).cos()) / step as f64
        })
        .collect();
    let out = (0..samples.len().div_ceil(step))
        .map(|n| {
            let first = (n * step).cast_signed() - half.cast_signed();
            let from = usize::try_from(-first).unwrap_or(0);
            let start = usize::try_from(first).unwrap_or(0);
            let heard = samples.get(start..).unwrap_or(&[]);
            taps[from.min(taps.len())..]
                .iter()
                .zip(heard)
                .map(|(tap, &x)| tap * x.into())
                .sum()
        })
        .collect();
    (out, rate_hz / step as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tone_keeps_its_level_and_time() {
        let tone = |rate: f64, n: usize| (2.0 * PI * 1000.0 * n as f64 / rate).sin();
        for (rate, step) in [(48_000.0, 1), (96_000.0, 2), (192_000.0, 4)] {
            let x: Vec<f32> = (0..rate as usize / 10).map(|n| tone(rate, n) as f32).collect();
            let (y, low) = brought_down(&x, rate, HIGH_HZ);
            assert_eq!(low, rate / f64::from(step));
            for (n, value) in y.iter().enumerate().take(y.len() - 100).skip(100) {
                assert!((value - tone(low, n)).abs() < 1e-3);
            }
        }
    }
}
