//! Bands that lend each other strength.

use super::Look;
use crate::Complex;
use crate::split::diffuse::diffuse_per_channel;

/// From this level difference on (half the logarithm of a power ratio; 1.7 dB) a dry is not in the middle.
const OFF_CENTRE: f64 = 0.2;

/// Draws every band's level difference and phase towards what all bands say, as far as chance explains the differences.
/// Whether at least two bands say anything.
pub(super) fn borrow(looks: &mut [Look]) -> bool {
    let common_phase: Complex<f64> = looks
        .iter()
        .filter_map(|look| {
            look.variance
                .map(|variance| Complex::from_polar(1.0 / (variance + 1e-6), look.phase))
        })
        .sum();
    let about = common_phase.arg();
    let values = |look: &Look| {
        look.variance
            .map(|variance| (variance.max(1e-9), [look.ratio, wrapped(look.phase - about)]))
    };
    let mut common = [0.0; 2];
    let mut between = [0.0; 2];
    for (which, (common, between)) in common.iter_mut().zip(&mut between).enumerate() {
        let sums = |extra: f64| {
            looks
                .iter()
                .filter_map(values)
                .fold((0.0, 0.0, 0.0, 0.0), |(n, w, w2, wx), (variance, value)| {
                    let weight = 1.0 / (variance + extra);
                    (
                        n + 1.0,
                        w + weight,
                        w2 + weight * weight,
                        wx + weight * value[which],
                    )
                })
        };
        let (count, weight, squared, weighted) = sums(0.0);
        if count < 2.0 {
            return false;
        }
        let mean = weighted / weight;
        let scatter: f64 = looks
            .iter()
            .filter_map(values)
            .map(|(variance, value)| (value[which] - mean).powi(2) / variance)
            .sum();
        *between = ((scatter - (count - 1.0)) / (weight - squared / weight)).max(0.0);
        let (_, weight, _, weighted) = sums(*between);
        *common = weighted / weight;
    }
    for look in looks {
        let Some((variance, [ratio, phase])) = values(look) else {
            continue;
        };
        let follow = between.map(|between| variance / (variance + between));
        look.ratio = ratio + follow[0] * (common[0] - ratio);
        look.phase = about + phase + follow[1] * (common[1] - phase);
        look.follow = follow;
    }
    true
}

/// An angle brought to −π…π.
pub(super) fn wrapped(angle: f64) -> f64 {
    let turn = core::f64::consts::TAU;
    (angle + turn / 2.0).rem_euclid(turn) - turn / 2.0
}

/// Takes the direct power anew, from bands whose phase has been lined up. Where phase and level difference are common to all
/// bands, the direct sound's power follows from the part of the cross term *in* the phase, `2·Re(c)·cosh(ratio)`: chance
/// makes that too small as often as too large, while a magnitude, or a level difference that is only chance, can err in one
/// direction only. What bands with too small or too large a part can't show is made up by the others, so that the sum stays
/// without bias.
pub(super) fn project(looks: &mut [Look]) {
    let (mut signed, mut shown) = (0.0, 0.0);
    for look in looks
        .iter_mut()
        .filter(|look| look.left > 0.0 && look.right > 0.0)
    {
        let root = (look.left * look.right).sqrt();
        let [follow_ratio, follow_phase] = look.follow;
        let shared =
            (follow_phase * look.cross.re / root + (1.0 - follow_phase) * look.shared).clamp(-1.0, 1.0);
        let both = look.left + look.right;
        look.diffuse = diffuse_per_channel(look.left, look.right, shared * shared * look.left * look.right);
        let by_power = (both - 2.0 * look.diffuse) * shared.signum();
        let by_ratio = 2.0 * shared * root * look.ratio.cosh();
        // In a dry that's clearly off the middle, the common level difference's own small error would weigh more.
        let centred = follow_ratio * (1.0 - (look.ratio / OFF_CENTRE).powi(2)).max(0.0);
        let direct = centred * by_ratio + (1.0 - centred) * by_power;
        signed += direct;
        let possible = direct.clamp(0.0, both);
        shown += possible;
        look.diffuse = 0.5 * (both - possible);
    }
    if shown <= 0.0 {
        return;
    }
    let scale = (signed / shown).max(0.0);
    for look in looks
        .iter_mut()
        .filter(|look| look.left > 0.0 && look.right > 0.0)
    {
        let both = look.left + look.right;
        look.diffuse = 0.5 * (both - ((both - 2.0 * look.diffuse) * scale).min(both));
    }
}
