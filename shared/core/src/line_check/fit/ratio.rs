//! One response against another: delay and polarity, then the ratio over frequency.

use crate::Complex;
use crate::dsp::numbers::{circular_place, to_lag};
use crate::line_check::fit::fitted::Fit;
use crate::line_check::fit::point::Point;
use crate::line_check::response::Transforms;
use crate::line_check::response::bands::{BinGrid, PartSpectrum};

/// How far apart two lines are looked for, seconds.
pub(crate) const REACH_S: f64 = 0.026;
/// How much finer than the samples the correlation is computed.
const FINER: usize = 2;
const NEWTON_STEPS: usize = 6;
/// A bin counts at most as if it stood this far (power) out of the noise, or a few clean ones would decide alone.
pub(crate) const MOST_CLEAR: f64 = 1e3;
/// What is this far (power) below a response's loudest band is a coder's or a filter's leaving.
const FAINT: f64 = 1e-5;
/// A band counts from this signal to noise on (power), in both.
const CLEAR: f64 = 1.0;
/// Where the softer one is expected to stand out by less than this (power), it's the guess that chooses.
const EXPECTED_CLEAR: f64 = 10.0;
/// Such a band counts from this on: signal to noise (power) times independent values.
const ENOUGH: f64 = 2.0;

/// How one response follows from another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Relation {
    /// How much later the second is, seconds.
    pub delay_s: f64,
    /// +1 or −1.
    pub sign: f64,
    /// Height of the correlation's peak over that of two equal responses, 0 to 1.
    pub height: f64,
    /// The highest peak of the other sign, over this one.
    pub rival: f64,
}

/// `A*·B/(N_B|A|² + N_A|B|² + N_A·N_B)`: the phase of each bin by how well it's known.
pub(crate) fn weighted(
    a: &PartSpectrum,
    b: &PartSpectrum,
    grid: &BinGrid,
    highest_hz: f64,
) -> Vec<Complex<f64>> {
    let low_hz = a.band_hz.0.max(b.band_hz.0);
    let high_hz = a.band_hz.1.min(b.band_hz.1).min(highest_hz);
    let mut bins = vec![Complex::new(0.0, 0.0); grid.len / 2 + 1];
    let (faint_a, faint_b) = (FAINT * a.loudest(grid), FAINT * b.loudest(grid));
    for &(from, to) in &grid.bands {
        if grid.hz(from) < low_hz || grid.hz(to) > high_hz {
            continue;
        }
        // A response has deep holes: the floor is by the band.
        let floor = |x: &PartSpectrum| x.power((from, to)) / ((to - from) as f64 * MOST_CLEAR);
        let (floor_a, floor_b) = (floor(a), floor(b));
        for (k, bin) in bins.iter_mut().enumerate().take(to).skip(from) {
            let (x, y) = (a.bins[k], b.bins[k]);
            let (noise_x, noise_y) = (a.noise[k] + floor_a + faint_a, b.noise[k] + floor_b + faint_b);
            let spread = noise_y * x.norm_sqr() + noise_x * y.norm_sqr() + noise_x * noise_y;
            if spread > 0.0 {
                *bin = x.conj() * y / spread;
            }
        }
    }
    bins
}

/// How `b` follows from `a`, by what is up to `highest_hz`; `None` when there's nothing in either.
pub(crate) fn relation(
    transforms: &mut Transforms,
    grid: &BinGrid,
    a: &PartSpectrum,
    b: &PartSpectrum,
    reach_s: f64,
    highest_hz: f64,
) -> Option<Relation> {
    let kept = weighted(a, b, grid, highest_hz);
    // With both magnitudes as in `weighted`: what equal phases would add up to.
    let total: f64 = 2.0 * kept.iter().map(|bin| bin.norm()).sum::<f64>();
    if total <= 0.0 {
        return None;
    }
    let len = FINER * grid.len;
    let correlation = transforms.inverse(kept.clone(), len);
    let scale = len as f64 / total;
    let reach = to_lag(reach_s * grid.rate_hz * FINER as f64);
    let at = |lag: isize| correlation[circular_place(lag, len)] * scale;
    let mut best = (0isize, 0.0f64);
    for lag in -reach..=reach {
        if at(lag).abs() > best.1.abs() {
            best = (lag, at(lag));
        }
    }
    let sign = if best.1 < 0.0 { -1.0 } else { 1.0 };
    let rival = (-reach..=reach).map(|lag| -sign * at(lag)).fold(0.0, f64::max) / best.1.abs().max(1e-300);
    let coarse = best.0 as f64 / FINER as f64;
    let mut delay = coarse;
    for _ in 0..NEWTON_STEPS {
        let (mut slope, mut curvature) = (0.0, 0.0);
        for (k, bin) in kept.iter().enumerate().filter(|(_, bin)| bin.norm_sqr() > 0.0) {
            let omega = core::f64::consts::TAU * k as f64 / grid.len as f64;
            let turned = bin * Complex::from_polar(1.0, omega * delay);
            slope -= omega * turned.im;
            curvature -= omega * omega * turned.re;
        }
        if curvature * sign >= 0.0 {
            break;
        }
        delay = (delay - slope / curvature).clamp(coarse - 1.0, coarse + 1.0);
    }
    Some(Relation {
        delay_s: delay / grid.rate_hz,
        sign,
        height: best.1.abs().min(1.0),
        rival,
    })
}

/// What a guess says of a band.
enum Guessed {
    /// Both are clear enough to choose by themselves.
    Clear,
    /// The softer one isn't: the point as the guess chooses it, if there's enough of it.
    Soft(Option<Point>),
}

/// A band by the guess of its ratio; of both sides clearness, power and noise.
fn guessed(
    hz: f64,
    model: Complex<f64>,
    [a, b]: [(f64, f64, f64); 2],
    cross: Complex<f64>,
    independent: f64,
) -> Guessed {
    let (power_a, power_b) = (a.1, b.1);
    let b_is_soft = model.norm_sqr() < 1.0;
    // As softer over louder.
    let (clear, power, noise, cross, model) = if b_is_soft {
        (a.0, power_a, b.2, cross, model)
    } else {
        (b.0, power_b, a.2, cross.conj(), model.inv())
    };
    let soft = power * model.norm_sqr() / noise.max(1e-300);
    if soft >= EXPECTED_CLEAR {
        return Guessed::Clear;
    }
    Guessed::Soft((clear >= CLEAR && soft * independent >= ENOUGH).then(|| {
        let ratio = cross / power;
        // Without a logarithm of what is mostly noise.
        let off = ((ratio * model.conj()).re / model.norm_sqr() - 1.0).clamp(-2.0, 2.0);
        let side = if b_is_soft { 1.0 } else { -1.0 };
        Point {
            hz,
            ln_gain: side * (model.norm().ln() + off),
            phase: side * ratio.arg(),
            variance: 0.5 * (1.0 / clear + 1.0 / soft) / independent,
            level_variance: 0.0,
            coherence: (cross.norm_sqr() / (power_a * power_b).abs().max(1e-300)).min(1.0),
        }
    }))
}

/// The ratio `b/a` in each band where both stand out of their noise, the relation's delay and sign taken out.
///
/// Bands in which the softer one stands out by luck make it louder than it is. So once there's a guess of the ratio, `expected`,
/// it's the guess that chooses among bands in which the softer one isn't clear.
pub(crate) fn points(
    grid: &BinGrid,
    a: &PartSpectrum,
    b: &PartSpectrum,
    relation: &Relation,
    expected: Option<&Fit>,
) -> Vec<Point> {
    let mut points = Vec::new();
    let (faint_a, faint_b) = (FAINT * a.loudest(grid), FAINT * b.loudest(grid));
    for &band in &grid.bands {
        let (clear_a, clear_b) = (a.clearness(band), b.clearness(band));
        let bins = (band.1 - band.0) as f64;
        if a.power(band) <= faint_a * bins || b.power(band) <= faint_b * bins {
            continue;
        }
        let mut cross = Complex::new(0.0, 0.0);
        for k in band.0..band.1 {
            let turn = core::f64::consts::TAU * grid.hz(k) * relation.delay_s;
            cross += a.bins[k].conj() * b.bins[k] * Complex::from_polar(relation.sign, turn);
        }
        let power_a = a.power(band) - a.noise_power(band);
        let power_b = b.power(band) - b.noise_power(band);
        let hz = grid.middle_hz(band);
        let width_hz = grid.hz(band.1) - grid.hz(band.0);
        // Neighbouring bins of a short part aren't independent.
        let independent = (width_hz * a.seconds.min(b.seconds)).max(1.0);
        if let Some(fit) = expected {
            let of = [
                (clear_a, power_a, a.noise_power(band)),
                (clear_b, power_b, b.noise_power(band)),
            ];
            if let Guessed::Soft(point) = guessed(hz, fit.ratio(hz), of, cross, independent) {
                points.extend(point);
                continue;
            }
        }
        if clear_a < CLEAR || clear_b < CLEAR || cross.norm_sqr() <= 0.0 || power_a <= 0.0 || power_b <= 0.0 {
            continue;
        }
        // Over the clearer one: noise in the other then spreads the ratio, and doesn't bend it.
        let ratio = if clear_a >= clear_b {
            cross / power_a
        } else {
            power_b / cross.conj()
        };
        let coherence = (cross.norm_sqr() / (power_a * power_b)).min(1.0);
        // By noise, and by how little the two agree (Bendat & Piersol, Random Data, ch. 9: (1 − γ²)/(2·γ²·n)).
        let by_noise = 0.5 * (1.0 / clear_a + 1.0 / clear_b);
        let by_coherence = 0.5 * (1.0 - coherence) / coherence.max(1e-3);
        points.push(Point {
            hz,
            ln_gain: ratio.norm().ln(),
            phase: ratio.arg(),
            variance: by_noise.max(by_coherence) / independent,
            level_variance: 0.0,
            coherence,
        });
    }
    points
}
