//! The modes of the onset increments' directions.

use super::bands::BANDS;
use super::increments::{OnsetIncrements, PLACES};
use super::sums::Covariance;
use crate::dsp::numbers::to_index;

/// Steps of the circle of directions (half a turn), a quarter of a degree each.
const STEPS: usize = 720;
/// Degrees a step.
const STEP_DEG: f64 = 180.0 / STEPS as f64;
/// Standard deviation of the kernel, degrees.
const KERNEL_DEG: f64 = 2.0;
/// The kernel's reach, steps.
const KERNEL_REACH: usize = to_index(3.0 * KERNEL_DEG / STEP_DEG);
/// Increments this close to a mode belong to it, degrees.
const OWN_DEG: f64 = 6.0;
/// Least distance of two modes, degrees.
const APART_DEG: f64 = 12.0;
/// Worths this close are equal: presets whose increments all have one direction are worth 1 at either place.
const ROUNDING: f64 = 1e-9;
/// Most modes found.
pub const MOST_MODES: usize = 4;

/// One direction of the onset increments.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Mode {
    /// The left channel has the cosine of the angle, the right one the sine: 45° is the middle, −45° the middle with
    /// one channel flipped, 0 the left channel alone, ±90° the right one alone. Radians, above −π/2 up to π/2.
    pub angle_rad: f64,
    /// Share of the weight of all increments within 6° of it, 0 to 1.
    pub share: f64,
}

/// The directions of the onset increments.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Modes {
    /// The modes, the greatest share first; the first [`Self::count`] count.
    pub modes: [Mode; MOST_MODES],
    /// Number of modes.
    pub count: usize,
    /// Share of the increments that have one direction each (whichever), rather than being spread or out of phase, 0 to
    /// 1.
    pub purity: f64,
    /// Power across the first mode over all new power.
    pub leak: f64,
    /// Number of onsets.
    pub onsets: usize,
    /// The better of the two places of an onset.
    pub place: usize,
}

impl Modes {
    /// No onsets.
    pub const NONE: Self = Self {
        modes: [Mode {
            angle_rad: 0.0,
            share: 0.0,
        }; MOST_MODES],
        count: 0,
        purity: 0.0,
        leak: 0.0,
        onsets: 0,
        place: 0,
    };
}

/// An increment's direction in degrees (0 to 180, wrapped), and its weight with the purity factors and without.
fn direction(new: &Covariance, mean: f64) -> Option<(f64, f64, f64)> {
    let trace = new.trace();
    if trace <= 0.0 || mean <= 0.0 {
        return None;
    }
    let [s1, s2, s3] = new.stokes();
    let degrees = 0.5 * s2.atan2(s1).to_degrees();
    let r = s1.hypot(s2);
    let plain = (trace / mean).sqrt();
    let over = (r - 1.0).max(0.0) / 0.1;
    let pure = ((r - 0.8) / 0.2).clamp(0.0, 1.0).powi(2) * (-(s3 / 0.2).powi(2) - over * over).exp();
    Some((degrees.rem_euclid(180.0), plain * pure, plain))
}

/// The angle between two directions, degrees.
fn apart(a: f64, b: f64) -> f64 {
    let turn = (a - b).rem_euclid(180.0);
    turn.min(180.0 - turn)
}

impl Modes {
    /// The modes at the better of the two places.
    pub(super) fn find(increments: &OnsetIncrements, means: &[Covariance; BANDS]) -> Self {
        let mut best = Self::default();
        let mut best_worth = -1.0;
        for place in 0..PLACES {
            let found = Self::at(increments, means, place);
            let worth = found.modes[0].share * found.purity.sqrt();
            // Of equal ones the first, whatever the rounding of this machine.
            if worth > best_worth + ROUNDING {
                (best, best_worth) = (found, worth);
            }
        }
        best
    }

    fn at(increments: &OnsetIncrements, means: &[Covariance; BANDS], place: usize) -> Self {
        let mut density = [0.0; STEPS];
        let (mut weight, mut plain_weight) = (0.0, 0.0);
        let mut onsets = 0;
        for onset in increments.onsets() {
            onsets += 1;
            for (new, mean) in onset.new[place].iter().zip(means) {
                let Some((degrees, pure, plain)) = direction(new, mean.trace()) else {
                    continue;
                };
                let at = degrees / STEP_DEG;
                let (step, part) = (to_index(at), at.fract());
                density[step % STEPS] += pure * (1.0 - part);
                density[(step + 1) % STEPS] += pure * part;
                weight += pure;
                plain_weight += plain;
            }
        }
        let mut found = Self {
            onsets,
            place,
            ..Self::default()
        };
        if weight <= 0.0 {
            return found;
        }
        found.purity = weight / plain_weight;
        found.pick(&density, weight);
        found.leak = leak(increments, means, place, found.modes[0].angle_rad);
        found
    }

    /// Picks the peaks of the smoothed density; what belongs to a peak is removed before the next is picked.
    fn pick(&mut self, density: &[f64; STEPS], weight: f64) {
        let mut left = *density;
        while self.count < MOST_MODES {
            let smooth = smoothed(&left);
            let top = (0..STEPS)
                .max_by(|&a, &b| smooth[a].total_cmp(&smooth[b]))
                .unwrap_or(0);
            if smooth[top] <= 1e-3 * weight {
                break;
            }
            let degrees = settled(&left, top as f64 * STEP_DEG);
            let near = |step: usize, reach: f64| apart(step as f64 * STEP_DEG, degrees) <= reach;
            let own: f64 = (0..STEPS)
                .filter(|&step| near(step, OWN_DEG))
                .map(|step| density[step])
                .sum();
            for (step, value) in left.iter_mut().enumerate() {
                if near(step, APART_DEG) {
                    *value = 0.0;
                }
            }
            let signed = if degrees > 90.0 { degrees - 180.0 } else { degrees };
            self.modes[self.count] = Mode {
                angle_rad: signed.to_radians(),
                share: (own / weight).min(1.0),
            };
            self.count += 1;
        }
    }
}

/// The density under a Gaussian kernel.
fn smoothed(density: &[f64; STEPS]) -> [f64; STEPS] {
    let mut kernel = [0.0; KERNEL_REACH + 1];
    for (n, value) in kernel.iter_mut().enumerate() {
        *value = (-0.5 * (n as f64 * STEP_DEG / KERNEL_DEG).powi(2)).exp();
    }
    let mut smooth = [0.0; STEPS];
    for (step, &value) in density.iter().enumerate().filter(|(_, value)| **value > 0.0) {
        smooth[step] += value * kernel[0];
        for (n, k) in kernel.iter().enumerate().skip(1) {
            smooth[(step + n) % STEPS] += value * k;
            smooth[(step + STEPS - n) % STEPS] += value * k;
        }
    }
    smooth
}

/// The mean-shift fixed point from a step, degrees.
fn settled(density: &[f64; STEPS], from: f64) -> f64 {
    let mut degrees = from;
    for _ in 0..20 {
        let (mut sum, mut weights) = (0.0, 0.0);
        for (step, &value) in density.iter().enumerate().filter(|(_, value)| **value > 0.0) {
            let mut off = step as f64 * STEP_DEG - degrees;
            off -= 180.0 * (off / 180.0).round();
            if off.abs() <= OWN_DEG {
                let weight = value * (-0.5 * (off / KERNEL_DEG).powi(2)).exp();
                sum += weight * off;
                weights += weight;
            }
        }
        if weights <= 0.0 {
            break;
        }
        let step = sum / weights;
        degrees = (degrees + step).rem_euclid(180.0);
        if step.abs() < 1e-3 {
            break;
        }
    }
    degrees
}

/// Share of the increments' power across a direction.
fn leak(increments: &OnsetIncrements, means: &[Covariance; BANDS], place: usize, angle_rad: f64) -> f64 {
    let (mut across, mut all) = (0.0, 0.0);
    for onset in increments.onsets() {
        for (new, mean) in onset.new[place].iter().zip(means) {
            let mean = mean.trace();
            if mean > 0.0 {
                across += new.along(angle_rad).across / mean;
                all += new.trace() / mean;
            }
        }
    }
    if all > 0.0 { across / all } else { 0.0 }
}
