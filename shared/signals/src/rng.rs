//! Deterministic random numbers.

use crate::numbers::to_index;

/// A small generator: the counter-and-mix scheme of Steele, Lea and Flood, 'Fast splittable pseudorandom number
/// generators' (OOPSLA 2014). Good enough for noise and riffs; not cryptographic.
#[derive(Debug, Clone)]
pub struct Rng {
    state: u64,
    spare_gaussian: Option<f64>,
}

impl Rng {
    /// A generator for `seed`; equal seeds give equal sequences.
    pub fn new(seed: u64) -> Self {
        Self::stream(seed, 0)
    }

    /// An independent generator for part `part` under `seed`: drawing more numbers for one part never changes another.
    pub fn stream(seed: u64, part: u64) -> Self {
        let mut start = Self {
            state: seed,
            spare_gaussian: None,
        };
        let mixed_seed = start.next_u64();
        start.state = part ^ 0x5851_f42d_4c95_7f2d;
        let mixed_part = start.next_u64();
        Self {
            state: mixed_seed ^ mixed_part.rotate_left(31),
            spare_gaussian: None,
        }
    }

    /// 64 random bits.
    pub fn next_u64(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Uniform in `0.0..1.0`.
    pub fn uniform(&mut self) -> f64 {
        // An f64 holds 53 bits.
        (self.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Uniform in `low..high`.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    /// Uniform in `0..count`.
    ///
    /// # Panics
    /// If `count` is 0.
    pub fn below(&mut self, count: usize) -> usize {
        assert!(count > 0, "there is nothing to choose from");
        to_index(self.uniform() * count as f64).min(count - 1)
    }

    /// Normal, mean 0 and variance 1 (Box and Muller 1958).
    pub fn gaussian(&mut self) -> f64 {
        if let Some(spare) = self.spare_gaussian.take() {
            return spare;
        }
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        let (sin, cos) = (std::f64::consts::TAU * self.uniform()).sin_cos();
        self.spare_gaussian = Some(radius * sin);
        radius * cos
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moments_of_the_gaussian() {
        let mut rng = Rng::new(3);
        let draws: Vec<f64> = (0..200_000).map(|_| rng.gaussian()).collect();
        let moment = |p: i32| draws.iter().map(|x| x.powi(p)).sum::<f64>() / draws.len() as f64;
        assert!(moment(1).abs() < 0.01, "mean {}", moment(1));
        assert!((moment(2) - 1.0).abs() < 0.02, "variance {}", moment(2));
        assert!((moment(4) - 3.0).abs() < 0.15, "fourth moment {}", moment(4));
    }

    #[test]
    fn seeds_and_parts_are_unlike_each_other() {
        let first = |seed, part| Rng::stream(seed, part).next_u64();
        let mut seen: Vec<u64> = (0..40).flat_map(|s| (0..40).map(move |p| first(s, p))).collect();
        seen.sort_unstable();
        seen.dedup();
        assert_eq!(seen.len(), 1600);
    }
}
