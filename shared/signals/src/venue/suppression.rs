//! A phone's noise suppression: what doesn't rise above the noise of its band is turned down.

use crate::fft::{samples, spectrum};

const BLOCK: usize = 1024;
const HOP: usize = 256;
/// How fast the floor of a band that is always sounded above rises, per hop.
const RISE: f64 = 1.002;

/// A spectral gate with the noise followed by its minima.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Suppression {
    /// The most it takes off, dB.
    pub most_db: f64,
    /// How many times the noise's power is taken off.
    pub over: f64,
}

impl Suppression {
    pub(super) fn run(&self, x: &mut [f64]) {
        let window: Vec<f64> = (0..BLOCK)
            .map(|n| (std::f64::consts::PI * (n as f64 + 0.5) / BLOCK as f64).sin())
            .collect();
        let floor = 10f64.powf(-self.most_db / 20.0);
        let len = x.len();
        let mut padded = vec![0.0; BLOCK];
        padded.extend_from_slice(x);
        padded.resize(len + 2 * BLOCK, 0.0);
        let mut out = vec![0.0; padded.len()];
        let bins = BLOCK / 2 + 1;
        let (mut smooth, mut least, mut gains) =
            (vec![0.0; bins], vec![f64::INFINITY; bins], vec![1.0; bins]);
        let mut at = 0;
        while at + BLOCK <= padded.len() {
            let block: Vec<f64> = window.iter().zip(&padded[at..]).map(|(w, x)| w * x).collect();
            let mut heard = spectrum(&block, BLOCK);
            for (k, bin) in heard.iter_mut().enumerate() {
                let power = bin.norm_sqr();
                smooth[k] += 0.2 * (power - smooth[k]);
                // The first blocks are padding.
                if at >= 2 * BLOCK {
                    least[k] = (least[k] * RISE).min(smooth[k]);
                }
                let noise = if least[k].is_finite() { 1.5 * least[k] } else { 0.0 };
                let wanted = (1.0 - self.over * noise / power.max(1e-30)).max(floor);
                gains[k] += 0.5 * (wanted - gains[k]);
                *bin *= gains[k];
            }
            // Sine windows on both ways add up to BLOCK/(2·HOP).
            for (n, y) in samples(heard, BLOCK).into_iter().enumerate() {
                out[at + n] += y * window[n] * 2.0 * HOP as f64 / BLOCK as f64;
            }
            at += HOP;
        }
        x.copy_from_slice(&out[BLOCK..BLOCK + len]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tones;

    #[test]
    fn noise_goes_down_and_a_loud_tone_stays() {
        let mut x = tones::white_noise(144_000, 0.001, 4);
        let tone = tones::sine(48_000, 48_000.0, 1000.0, 0.3, 0.0);
        x[72_000..120_000]
            .iter_mut()
            .zip(&tone)
            .for_each(|(x, t)| *x += t);
        let power = |x: &[f64]| x.iter().map(|x| x * x).sum::<f64>() / x.len() as f64;
        let before = (power(&x[40_000..70_000]), power(&x[80_000..110_000]));
        Suppression {
            most_db: 15.0,
            over: 3.0,
        }
        .run(&mut x);
        let after = (power(&x[40_000..70_000]), power(&x[80_000..110_000]));
        assert!(after.0 < 0.2 * before.0, "{after:?} {before:?}");
        assert!((after.1 / before.1 - 1.0).abs() < 0.02, "{after:?} {before:?}");
    }
}
