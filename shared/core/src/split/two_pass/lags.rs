//! Correlations of two passes at whole lags near each other, each computed once.
//!
//! By direct sums: transforms of a minute of sound would need hundreds of megabytes.

use std::collections::BTreeMap;
use std::ops::RangeInclusive;

use multiversion::multiversion;

use super::sound::{PIECE, Recorded, Sound};

/// Lags that are summed side by side.
const BESIDE: usize = 4;
/// Frames that are summed side by side.
const LANES: usize = 8;

/// `Σ a[n]·b[n−lag]` over both channels, for the lags computed so far.
pub(super) struct Lags<'a> {
    a: Recorded<'a>,
    b: Recorded<'a>,
    known: BTreeMap<isize, f64>,
}

impl<'a> Lags<'a> {
    pub(super) fn new(a: Recorded<'a>, b: Recorded<'a>) -> Self {
        Self {
            a,
            b,
            known: BTreeMap::new(),
        }
    }

    /// Computes the lags that are not yet known.
    pub(super) fn learn(&mut self, lags: RangeInclusive<isize>) {
        let mut runs: Vec<(isize, usize)> = Vec::new();
        for lag in lags.filter(|lag| !self.known.contains_key(lag)) {
            match runs.last_mut() {
                Some((first, count)) if *first + (*count).cast_signed() == lag => *count += 1,
                _ => runs.push((lag, 1)),
            }
        }
        for (first, count) in runs {
            for (lag, sum) in (first..).zip(self.sums(first, count)) {
                self.known.insert(lag, sum);
            }
        }
    }

    /// The correlation at a lag; 0 at one that was not computed.
    pub(super) fn at(&self, lag: isize) -> f64 {
        self.known.get(&lag).copied().unwrap_or(0.0)
    }

    /// The correlations at `count` lags from `first` on.
    fn sums(&self, first: isize, count: usize) -> Vec<f64> {
        let count = count.next_multiple_of(BESIDE);
        let last = first + count.cast_signed() - 1;
        let mut sums = vec![0.0; count];
        let mut other = vec![0.0; PIECE + count - 1];
        for channel in 0..2 {
            self.a.pieces(channel, |start, piece| {
                // From the last lag's first partner on: the first lag's is `count − 1` further.
                let other = &mut other[..piece.len() + count - 1];
                self.b.fill(channel, start - last, other);
                for (group, sums) in sums.chunks_exact_mut(BESIDE).rev().enumerate() {
                    let products = products(piece, &other[group * BESIDE..]);
                    for (sum, product) in sums.iter_mut().rev().zip(products) {
                        *sum += product;
                    }
                }
            });
        }
        sums
    }
}

/// `Σ a[n]·b[n+k]` for `k` from 0 to 3. `b` is at least three longer than `a`.
#[multiversion(targets("x86_64+avx"))]
fn products(a: &[f64], b: &[f64]) -> [f64; BESIDE] {
    let mut sums = [[0.0; LANES]; BESIDE];
    let whole = a.len() / LANES * LANES;
    let b = &b[..a.len() + BESIDE - 1];
    for at in (0..whole).step_by(LANES) {
        let a = &a[at..at + LANES];
        let b = &b[at..at + LANES + BESIDE - 1];
        for (k, sums) in sums.iter_mut().enumerate() {
            for lane in 0..LANES {
                sums[lane] += a[lane] * b[k + lane];
            }
        }
    }
    for (at, a) in a.iter().enumerate().skip(whole) {
        for (k, sums) in sums.iter_mut().enumerate() {
            sums[0] += a * b[at + k];
        }
    }
    sums.map(|lanes| lanes.iter().sum())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_lag_is_the_plain_sum() {
        let sound = |seed: u32, len: usize| -> Vec<f32> {
            (0..len as u32)
                .map(|n| ((n.wrapping_mul(2_654_435_761).wrapping_add(seed)) >> 8) as f32 / 8_388_608.0 - 1.0)
                .collect()
        };
        // Longer and shorter than a piece, and no multiples of the group sizes.
        for (len_a, len_b) in [(1300, 1111), (77, 1301), (1201, 3)] {
            let (a, b) = (
                [sound(1, len_a), sound(2, len_a)],
                [sound(3, len_b), sound(4, len_b)],
            );
            let mut lags = Lags::new(Recorded([&a[0], &a[1]]), Recorded([&b[0], &b[1]]));
            lags.learn(-7..=3);
            lags.learn(-20..=10);
            lags.learn(-1400..=-1395);
            for lag in (-20..=10).chain(-1400..=-1395) {
                let plain: f64 = (0..2)
                    .flat_map(|channel| (0..len_a as isize).map(move |n| (channel, n)))
                    .filter_map(|(channel, n)| {
                        let other = b[channel].get(usize::try_from(n - lag).ok()?)?;
                        Some(f64::from(a[channel][n as usize]) * f64::from(*other))
                    })
                    .sum();
                assert!(
                    (lags.at(lag) - plain).abs() < 1e-9,
                    "{lag}: {} {plain}",
                    lags.at(lag)
                );
            }
        }
    }
}
