//! Bounds of the wet along the dry's direction.
//!
//! Across the dry's direction there is only wet, `N`; along it there are dry and wet, `A`. While the dry pauses or
//! fades, `A/N` falls towards the wet's own ratio, so its lowest tenth bounds that ratio from above. From below, the
//! wet along is at least the part that correlates with the wet across (Cauchy–Schwarz).

use super::Ways;
use super::bands::{BANDS, GROUPS, group_of};
use super::measured::{Beginning, WetAlong, grouped};
use super::sums::{Along, Covariance};
use crate::dsp::numbers::{to_count, to_index};

/// Moments in a stretch: 128 ms.
const STRETCH: usize = 3;
/// The same in the lowest octave, with its long periods.
const LOWEST_STRETCH: usize = 6;
/// Moments in a block for the error of the cross term: 0.4 s.
const BLOCK: usize = 9;
/// Stretches this far below the loudest don't count, as a power ratio.
const QUIET: f64 = 1e-5;
/// The quantile that counts as lowest.
const LOWEST: f64 = 0.1;
/// Margin on the lowest tenth, as a power ratio: 6 dB. Where wet always outweighs dry, the lowest tenth lies this far
/// below the mean by chance.
const MARGIN: f64 = 3.98;
/// Least stretches for an upper bound.
const ENOUGH: usize = 8;

/// A logarithmic histogram of ratios, for quantiles without storing the values.
struct Ratios {
    counts: [u32; Self::BINS],
    count: u32,
}

impl Ratios {
    /// Number of bins, a quarter of a decibel each.
    const BINS: usize = 480;
    const LOWEST_DB: f64 = -60.0;
    const STEP_DB: f64 = 0.25;

    fn new() -> Self {
        Self {
            counts: [0; Self::BINS],
            count: 0,
        }
    }

    fn add(&mut self, ratio: f64) {
        let db = crate::dsp::db::from_power(ratio);
        let bin = ((db - Self::LOWEST_DB) / Self::STEP_DB).clamp(0.0, (Self::BINS - 1) as f64);
        self.counts[to_index(bin)] += 1;
        self.count += 1;
    }

    fn quantile(&self, share: f64) -> f64 {
        let wanted = to_count((share * f64::from(self.count)).ceil().max(1.0));
        let mut seen = 0;
        for (bin, count) in self.counts.iter().enumerate() {
            seen += count;
            if seen >= wanted {
                return crate::dsp::db::to_power(Self::LOWEST_DB + (bin as f64 + 0.5) * Self::STEP_DB);
            }
        }
        1e6
    }
}

/// Calls `on_stretch` with an octave's covariance over every stretch of `len` moments.
fn stretches(ways: &Ways, group: usize, len: usize, mut on_stretch: impl FnMut(&Covariance)) {
    let mut sum = Covariance::default();
    for (n, moment) in ways.moments().enumerate() {
        sum = sum.plus(&moment.group(group));
        if (n + 1) % len == 0 {
            on_stretch(&sum.times(1.0 / len as f64));
            sum = Covariance::default();
        }
    }
}

fn stretch_len(group: usize) -> usize {
    if group == 0 { LOWEST_STRETCH } else { STRETCH }
}

/// The least power of a stretch that counts in an octave.
fn audible(ways: &Ways, group: usize) -> f64 {
    let mut loudest = 0.0f64;
    stretches(ways, group, stretch_len(group), |pair| {
        loudest = loudest.max(pair.trace())
    });
    loudest * QUIET
}

/// The bounds of the wet along a direction.
pub(super) fn along(ways: &Ways, means: &[Covariance; BANDS], angle_rad: f64) -> WetAlong {
    let mut most_ratio = [f64::INFINITY; GROUPS];
    let mut least_ratio = [0.0; GROUPS];
    for group in 0..GROUPS {
        let floor = audible(ways, group);
        if floor <= 0.0 {
            continue;
        }
        let mut ratios = Ratios::new();
        stretches(ways, group, stretch_len(group), |pair| {
            if pair.trace() > floor {
                let Along { along, across, .. } = pair.along(angle_rad);
                ratios.add(along.max(0.0) / across.max(1e-6 * along.max(1e-30)));
            }
        });
        if ratios.count as usize >= ENOUGH {
            most_ratio[group] = MARGIN * ratios.quantile(LOWEST);
        }
        least_ratio[group] = least(ways, group, angle_rad);
    }
    let mut bounds = WetAlong {
        angle_rad,
        ..WetAlong::UNKNOWN
    };
    for (band, mean) in means.iter().enumerate() {
        let trace = mean.trace();
        if trace <= 0.0 {
            continue;
        }
        let Along { along, across, .. } = mean.along(angle_rad);
        let group = group_of(band);
        bounds.most[band] = (most_ratio[group] * across.max(0.0)).min(along).max(0.0) / trace;
        bounds.least[band] = (least_ratio[group] * across.max(0.0) / trace).min(bounds.most[band]);
    }
    bounds
}

/// The least wet along over wet across: the square of their certain cross term over the square of the across.
fn least(ways: &Ways, group: usize, angle_rad: f64) -> f64 {
    let mut sums = [0.0; 2];
    let mut squares = 0.0;
    let mut across_sum = 0.0;
    let mut blocks = 0.0;
    stretches(ways, group, BLOCK, |pair| {
        let Along { across, cross, .. } = pair.along(angle_rad);
        across_sum += across.max(0.0);
        for (sum, x) in sums.iter_mut().zip(cross) {
            *sum += x;
            squares += x * x;
        }
        blocks += 1.0;
    });
    if blocks < 3.0 || across_sum <= 0.0 {
        return 0.0;
    }
    let both = sums[0].hypot(sums[1]);
    // The variance of the sum over the blocks, real and imaginary part together.
    let variance = (squares - both * both / blocks).max(0.0) * blocks / (blocks - 1.0);
    let sure = (both - 2.0 * variance.sqrt()).max(0.0);
    (sure / across_sum).powi(2)
}

/// The dry's share of each band if the onset increments have a normalised covariance `Γ` of any rank. At most: half way
/// between 1 and the largest `D` for which `S − D·Γ` is still a covariance. At least: from the lowest tenth of the
/// power along the axis of `Γ`.
pub(super) fn dry_share(
    ways: &Ways,
    means: &[Covariance; BANDS],
    begins: &[Beginning; BANDS],
) -> [[f64; 2]; BANDS] {
    let groups = grouped(means);
    let lowest: [[f64; 4]; GROUPS] = core::array::from_fn(|group| axis(ways, group, begins));
    core::array::from_fn(|band| {
        let mean = &means[band];
        let trace = mean.trace();
        let [q, u, v] = begins[band].stokes;
        if trace <= 0.0 || begins[band].weight <= 0.0 {
            return [0.0, 1.0];
        }
        // Γ with trace 1.
        let (g_ll, g_rr, g_re, g_im) = (0.5 + 0.5 * q, 0.5 - 0.5 * q, 0.5 * u, 0.5 * v);
        let (ll, rr, re, im) = (mean.ll / trace, mean.rr / trace, mean.re / trace, mean.im / trace);
        let det_s = ll * rr - re * re - im * im;
        let det_g = (g_ll * g_rr - g_re * g_re - g_im * g_im).max(0.0);
        let mixed = rr * g_ll + ll * g_rr - 2.0 * (re * g_re + im * g_im);
        // det(Γ − λS) = 0, the larger root.
        let most = if det_s > 1e-12 {
            let root = (mixed * mixed - 4.0 * det_s * det_g).max(0.0).sqrt();
            2.0 * det_s / (mixed + root)
        } else {
            1.0
        };
        let high = 0.5 * (1.0 + most.clamp(0.0, 1.0));
        let group = group_of(band);
        let [low_p, axis_q, axis_u, axis_v] = lowest[group];
        let [mean_q, mean_u, mean_v] = groups[group].stokes();
        let p = mean_q * axis_q + mean_u * axis_u + mean_v * axis_v;
        let length = (q * axis_q + u * axis_u + v * axis_v).min(1.0);
        let low = if length > low_p + 0.05 {
            ((p - low_p) / (length - low_p)).clamp(0.0, 1.0)
        } else {
            0.0
        };
        [low.min(high), high]
    })
}

/// The lowest tenth of the Stokes component along the axis of an octave's onset increments, and that axis.
fn axis(ways: &Ways, group: usize, begins: &[Beginning; BANDS]) -> [f64; 4] {
    let mut axis = [0.0; 3];
    for (_, begin) in begins
        .iter()
        .enumerate()
        .filter(|(band, _)| group_of(*band) == group)
    {
        for (sum, x) in axis.iter_mut().zip(begin.stokes) {
            *sum += begin.weight * x;
        }
    }
    let length = axis.iter().map(|x| x * x).sum::<f64>().sqrt();
    let floor = audible(ways, group);
    if length <= 0.0 || floor <= 0.0 {
        return [-1.0, 1.0, 0.0, 0.0];
    }
    let [q, u, v] = axis.map(|x| x / length);
    // Shifted to positive values for the histogram, and back.
    let mut ratios = Ratios::new();
    stretches(ways, group, stretch_len(group), |pair| {
        if pair.trace() > floor {
            let [s1, s2, s3] = pair.stokes();
            ratios.add(2.0 + s1 * q + s2 * u + s3 * v);
        }
    });
    let low = if ratios.count as usize >= ENOUGH {
        ratios.quantile(LOWEST) - 2.0
    } else {
        -1.0
    };
    [low, q, u, v]
}
