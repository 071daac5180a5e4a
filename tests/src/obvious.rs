//! A second implementation of every public measure: slow, in double precision, straight from its definition.
//!
//! Nothing here is fast or clever, and only the core's input types are used: transforms are sums of products, filters
//! are evaluated on the unit circle or run sample by sample, averages over a cell are averages over many points of it.
//! `tests/tests/oracle/precision.rs` compares the core's figures with these over sample rates, levels and random rigs.

use core::f64::consts::{PI, SQRT_2, TAU};
use sumproof_core::Complex;
use sumproof_core::routing::feed::{Ending, Feed, Side};
use sumproof_core::routing::line::Line;
use sumproof_core::spectrum::bands::Band;
use sumproof_core::spectrum::cross_spectrum::CrossSpectrum;
use sumproof_core::spectrum::grid::Grid;

/// `10·log10`; −∞ for 0.
#[must_use]
pub fn db(power: f64) -> f64 {
    if power > 0.0 {
        10.0 * power.log10()
    } else {
        f64::NEG_INFINITY
    }
}

/// Sums over a pair: left squares, right squares, products.
#[must_use]
pub fn sums(left: &[f64], right: &[f64]) -> [f64; 3] {
    [
        left.iter().map(|l| l * l).sum(),
        right.iter().map(|r| r * r).sum(),
        left.iter().zip(right).map(|(l, r)| l * r).sum(),
    ]
}

/// Correlation at lag zero.
#[must_use]
pub fn correlation([left, right, cross]: [f64; 3]) -> f64 {
    cross / (left.sqrt() * right.sqrt())
}

/// The average sum over the mean power of both channels, dB, formed sample by sample; `sign` −1 flips the right line.
#[must_use]
pub fn sum_difference_db(left: &[f64], right: &[f64], sign: f64) -> f64 {
    let sum: f64 = left
        .iter()
        .zip(right)
        .map(|(l, r)| (0.5 * (l + sign * r)).powi(2))
        .sum();
    let [left, right, _] = sums(left, right);
    db(sum / (0.5 * (left + right)))
}

/// The running meter: a second-order Butterworth high-pass at `corner_hz` (bilinear), then an average with weights that
/// fall to 1/e within `integration_s`, normalised by the weights so far. Mean squares left and right, and the mean
/// product.
#[must_use]
pub fn running(left: &[f64], right: &[f64], rate_hz: f64, integration_s: f64, corner_hz: f64) -> [f64; 3] {
    let (left, right) = (
        high_passed(left, rate_hz, corner_hz),
        high_passed(right, rate_hz, corner_hz),
    );
    let mut averages = [0.0; 4];
    for (age, (l, r)) in left.iter().rev().zip(right.iter().rev()).enumerate() {
        let weight = (-(age as f64) / (rate_hz * integration_s)).exp();
        for (sum, value) in averages.iter_mut().zip([l * l, r * r, l * r, 1.0]) {
            *sum += weight * value;
        }
    }
    [0, 1, 2].map(|index| averages[index] / averages[3])
}

fn high_passed(signal: &[f64], rate_hz: f64, corner_hz: f64) -> Vec<f64> {
    // s² / (s² + √2 s + 1) with s = (1 − z⁻¹)/(1 + z⁻¹)/k.
    let k = (PI * corner_hz / rate_hz).tan();
    let a0 = 1.0 + SQRT_2 * k + k * k;
    let (a1, a2) = (2.0 * (k * k - 1.0) / a0, (1.0 - SQRT_2 * k + k * k) / a0);
    let mut out: Vec<f64> = Vec::with_capacity(signal.len());
    for n in 0..signal.len() {
        let x = |back: usize| if n >= back { signal[n - back] } else { 0.0 };
        let y = |back: usize| if n >= back { out[n - back] } else { 0.0 };
        out.push((x(0) - 2.0 * x(1) + x(2)) / a0 - a1 * y(1) - a2 * y(2));
    }
    out
}

/// One bin of the averaged cross-spectrum.
#[derive(Clone, Copy, Debug, Default)]
pub struct Bin {
    /// Mean square of the left channel in it.
    pub ll: f64,
    /// Mean square of the right channel in it.
    pub rr: f64,
    /// `E[X_L·conj(X_R)]`.
    pub lr: Complex<f64>,
}

/// Welch's method for some bins of blocks of `len`: periodic Hann window, three quarters overlap, blocks extending past
/// both ends into silence, one-sided, scaled so that all bins add up to the mean square. A block's weight is
/// `e^(−age·hop/decay)`, with `decay` in hops (infinite: a plain mean; otherwise only whole blocks count, as in a live
/// reading).
#[must_use]
pub fn spectrum(left: &[f64], right: &[f64], len: usize, bins: &[usize], decay_hops: f64) -> Vec<Bin> {
    let hop = len / 4;
    let frames = left.len() as isize;
    let window: Vec<f64> = (0..len)
        .map(|n| (PI * n as f64 / len as f64).sin().powi(2))
        .collect();
    let turn: Vec<Complex<f64>> = (0..len)
        .map(|n| Complex::from_polar(1.0, -TAU * n as f64 / len as f64))
        .collect();
    let live = decay_hops.is_finite();
    let starts: Vec<isize> = (0..)
        .map(|index| (index * hop) as isize - (len - hop) as isize)
        .take_while(|start| {
            if live {
                start + len as isize <= frames
            } else {
                *start < frames
            }
        })
        .collect();
    let mut found = vec![Bin::default(); bins.len()];
    let mut covered = 0.0;
    for (index, &start) in starts.iter().enumerate() {
        let weight = (-((starts.len() - 1 - index) as f64) / decay_hops).exp();
        let inside = |n: usize| {
            usize::try_from(start + n as isize)
                .ok()
                .filter(|at| *at < left.len())
        };
        let windowed: Vec<[f64; 2]> = (0..len)
            .map(|n| inside(n).map_or([0.0; 2], |at| [left[at] * window[n], right[at] * window[n]]))
            .collect();
        covered += weight
            * (0..len)
                .filter(|n| inside(*n).is_some())
                .map(|n| window[n].powi(2))
                .sum::<f64>();
        for (bin, k) in found.iter_mut().zip(bins) {
            let mut both = [Complex::new(0.0, 0.0); 2];
            for (n, [l, r]) in windowed.iter().enumerate() {
                let turned = turn[k * n % len];
                both[0] += turned * l;
                both[1] += turned * r;
            }
            let sides = if *k == 0 || 2 * k == len { 1.0 } else { 2.0 };
            let scale = weight * sides / len as f64;
            bin.ll += scale * both[0].norm_sqr();
            bin.rr += scale * both[1].norm_sqr();
            bin.lr += both[0] * both[1].conj() * scale;
        }
    }
    for bin in &mut found {
        bin.ll /= covered;
        bin.rr /= covered;
        bin.lr /= covered;
    }
    found
}

/// The sum of a quantity over a band: each cell weighted by its share inside the band.
#[must_use]
pub fn over_band(grid: &Grid, band: &Band, cells: impl Fn(usize) -> f64) -> f64 {
    (0..grid.len())
        .map(|cell| {
            let (lower, upper) = (grid.edges_hz()[cell], grid.edges_hz()[cell + 1]);
            let inside = (upper.min(band.upper_hz) - lower.max(band.lower_hz)).max(0.0);
            if inside > 0.0 {
                inside / (upper - lower) * cells(cell)
            } else {
                0.0
            }
        })
        .sum()
}

/// The mean of `e^(j2πfτ)` over a cell.
fn mean_turn(grid: &Grid, cell: usize, delay_s: f64) -> Complex<f64> {
    if grid.block_len().is_some() {
        // FFT bins are samples of a spectrum.
        return Complex::from_polar(1.0, TAU * grid.centres_hz()[cell] * delay_s);
    }
    if delay_s == 0.0 {
        return Complex::new(1.0, 0.0);
    }
    let (lower, upper) = (grid.edges_hz()[cell], grid.edges_hz()[cell + 1]);
    // Many points per turn of the phase.
    let points = 64 + (64.0 * (upper - lower) * delay_s.abs()) as usize;
    (0..points)
        .map(|point| {
            let hz = lower + (upper - lower) * (point as f64 + 0.5) / points as f64;
            Complex::from_polar(1.0, TAU * hz * delay_s)
        })
        .sum::<Complex<f64>>()
        / points as f64
}

/// A line's response without its delay: gain, polarity, and first-order high-passes as digital filters, `g·(1 − z⁻¹)/(1
/// − p·z⁻¹)`.
fn line_response(line: &Line, hz: f64, rate_hz: f64) -> Complex<f64> {
    if line.unplugged {
        return Complex::new(0.0, 0.0);
    }
    let back = Complex::from_polar(1.0, -TAU * hz / rate_hz);
    let one = Complex::new(1.0, 0.0);
    let mut response = one * line.polarity.sign() * 10f64.powf(line.gain_db / 20.0);
    for corner_hz in line.high_pass_hz {
        if corner_hz > 0.0 {
            let k = (PI * corner_hz / rate_hz).tan();
            response *= (one - back) / (1.0 + k) / (one - back * ((1.0 - k) / (1.0 + k)));
        }
    }
    response
}

/// The power response of two second-order Butterworth low-passes in series, as digital filters.
fn low_pass_power(hz: f64, corner_hz: f64, rate_hz: f64) -> f64 {
    let k = (PI * corner_hz / rate_hz).tan();
    let back = Complex::from_polar(1.0, -TAU * hz / rate_hz);
    let one = Complex::new(1.0, 0.0);
    let top = (one + back) * (one + back) * (k * k);
    let bottom = one * (1.0 + SQRT_2 * k + k * k)
        + back * (2.0 * (k * k - 1.0))
        + back * back * (1.0 - SQRT_2 * k + k * k);
    (top / bottom).norm_sqr().powi(2)
}

/// The K-weighting (ITU-R BS.1770-5) from its analogue prototypes: a shelf of 4 dB at 1682 Hz, a high-pass at 38 Hz;
/// the high-pass has the gain that the recommendation's numerator 1, −2, 1 gives it.
#[must_use]
pub fn k_power(hz: f64, rate_hz: f64) -> f64 {
    let at = |corner_hz: f64| {
        let ratio = (PI * hz / rate_hz).tan() / (PI * corner_hz / rate_hz).tan();
        Complex::new(0.0, ratio)
    };
    let one = Complex::new(1.0, 0.0);
    let (q, high) = (0.707_175_236_955_419_6, 10f64.powf(3.999_843_853_973_347 / 20.0));
    let s = at(1_681.974_450_955_533);
    let shelf = (s * s * high + s * (high.powf(0.499_666_774_154_541_6) / q) + one) / (s * s + s / q + one);
    let (corner_hz, q) = (38.135_470_876_024_44, 0.500_327_037_323_877_3);
    let k = (PI * corner_hz / rate_hz).tan();
    let s = at(corner_hz);
    let high_pass = s * s / (s * s + s / q + one) * (1.0 + k / q + k * k);
    (shelf * high_pass).norm_sqr()
}

/// A feed's power in every cell of a spectrum, without make-up gain.
#[must_use]
pub fn feed_power(feed: &Feed, grid: &Grid, sound: &CrossSpectrum) -> Vec<f64> {
    (0..grid.len())
        .map(|cell| {
            let (hz, rate_hz) = (grid.centres_hz()[cell], grid.rate_hz());
            let [left, right] = [&feed.left, &feed.right].map(|line| line_response(line, hz, rate_hz));
            let band = band_share(feed, hz, rate_hz);
            let (ll, rr) = (
                left.norm_sqr() * sound.ll[cell],
                right.norm_sqr() * sound.rr[cell],
            );
            let between_s = sound.delay_s + feed.right.delay_s - feed.left.delay_s;
            let cross = (left * right.conj() * sound.lr[cell] * mean_turn(grid, cell, between_s)).re;
            let power = match feed.ending {
                Ending::Stereo => 0.5 * (ll + rr),
                Ending::Sum(law) => law.factor().powi(2) * (ll + rr + 2.0 * cross),
                Ending::Difference => ll + rr - 2.0 * cross,
                Ending::One(Side::Left) => ll,
                Ending::One(Side::Right) => rr,
            };
            band * power
        })
        .collect()
}

fn band_share(feed: &Feed, hz: f64, rate_hz: f64) -> f64 {
    feed.low_pass_hz
        .map_or(1.0, |corner| low_pass_power(hz, corner, rate_hz))
}

/// A feed's figures as defined in `docs/figures.md`. Infinite where nothing is left.
#[derive(Clone, Copy, Debug)]
pub struct Figures {
    /// Change of dry, wet and total against stereo, without the gain that a fader can make up for, dB.
    pub change_db: [f64; 3],
    /// Change of dry and total against the un-faulted mono sum, dB.
    pub against_mono_db: [f64; 2],
    /// Gain to make up, dB.
    pub makeup_db: f64,
    /// Level change, LU.
    pub level_lu: f64,
    /// Tone change of the dry, of the total where there's none, dB; `None` with fewer than two bands.
    pub tone_db: Option<f64>,
    /// Frequency (Hz) and depth (dB) of the deepest dip; `None` if it's less than 1 dB.
    pub dip: Option<(f64, f64)>,
}

/// A feed's figures for a dry, a wet and a total on one grid, leaving out the cells before `first`; `thirds` and
/// `fines` are the bands.
#[must_use]
pub fn figures(
    feed: &Feed,
    grid: &Grid,
    parts: [&CrossSpectrum; 3],
    first: usize,
    thirds: &[Band],
    fines: &[Band],
) -> Figures {
    let rate_hz = grid.rate_hz();
    let [l, r] = [&feed.left, &feed.right].map(|line| {
        if line.unplugged {
            0.0
        } else {
            10f64.powf(line.gain_db / 20.0)
        }
    });
    let gain = match feed.ending {
        Ending::Stereo => 0.5 * (l + r),
        Ending::Sum(law) => law.factor() * (l + r),
        Ending::Difference => l + r,
        Ending::One(Side::Left) => l,
        Ending::One(Side::Right) => r,
    };
    let band: Vec<f64> = grid
        .centres_hz()
        .iter()
        .map(|&hz| band_share(feed, hz, rate_hz))
        .collect();
    let powers = parts.map(|part| feed_power(feed, grid, part));
    let sum = |values: &dyn Fn(usize) -> f64| (first..grid.len()).map(values).sum::<f64>();
    let stereo = |part: usize, cell: usize| 0.5 * (parts[part].ll[cell] + parts[part].rr[cell]);
    let mono = |part: usize, cell: usize| {
        let turned = parts[part].lr[cell] * mean_turn(grid, cell, parts[part].delay_s);
        band[cell] * 0.25 * (parts[part].ll[cell] + parts[part].rr[cell] + 2.0 * turned.re)
    };
    let change = |part: usize, against: f64| db(sum(&|cell| powers[part][cell]) / (gain * gain * against));
    let against_stereo = |part: usize| change(part, sum(&|cell| band[cell] * stereo(part, cell)));
    let against_mono = |part: usize| change(part, sum(&|cell| mono(part, cell)));
    let weight = |cell: usize| k_power(grid.centres_hz()[cell], rate_hz);
    let level = sum(&|cell| weight(cell) * powers[2][cell]) / sum(&|cell| weight(cell) * stereo(2, cell));
    let ratio = |part: usize, edges: &Band| {
        let reference = over_band(grid, edges, |cell| band[cell] * stereo(part, cell));
        (
            over_band(grid, edges, |cell| powers[part][cell]) / reference,
            reference,
        )
    };
    // The colour is the dry's, or the total's where the dry is 40 dB below it.
    let heard = |part: usize| sum(&|cell| band[cell] * stereo(part, cell));
    let coloured = if heard(0) > 1e-4 * heard(2) { 0 } else { 2 };
    let lowest_hz = grid.edges_hz()[first];
    Figures {
        change_db: [0, 1, 2].map(against_stereo),
        against_mono_db: [0, 2].map(against_mono),
        makeup_db: -20.0 * gain.log10(),
        level_lu: db(level),
        tone_db: tone(
            thirds
                .iter()
                .filter(|edges| edges.upper_hz > lowest_hz)
                .map(|edges| ratio(coloured, edges))
                .collect(),
        ),
        dip: dip(
            fines
                .iter()
                .filter(|edges| edges.lower_hz >= lowest_hz)
                .map(|edges| (*edges, ratio(2, edges)))
                .collect(),
            sum(&|cell| powers[2][cell]) / sum(&|cell| band[cell] * stereo(2, cell)),
        ),
    }
}

/// The rms of the bands' sum difference about its mean, over the bands within 30 dB of the loudest.
fn tone(bands: Vec<(f64, f64)>) -> Option<f64> {
    let loudest = bands.iter().map(|band| band.1).fold(0.0, f64::max);
    let levels: Vec<f64> = bands
        .iter()
        .filter(|band| band.1 > loudest / 1000.0)
        .map(|band| db(band.0).max(-300.0))
        .collect();
    if levels.len() < 2 {
        return None;
    }
    let mean = levels.iter().sum::<f64>() / levels.len() as f64;
    let square = levels
        .iter()
        .map(|level| (level - mean).clamp(-30.0, 30.0).powi(2))
        .sum::<f64>();
    Some((square / levels.len() as f64).sqrt().min(30.0))
}

/// The deepest of the bands whose density is within 30 dB of the densest.
fn dip(bands: Vec<(Band, (f64, f64))>, whole: f64) -> Option<(f64, f64)> {
    let density =
        |(edges, (_, reference)): &(Band, (f64, f64))| reference / (edges.upper_hz - edges.lower_hz);
    let densest = bands.iter().map(density).fold(0.0, f64::max);
    let deepest = bands
        .iter()
        .filter(|band| density(band) > densest / 1000.0)
        .min_by(|a, b| a.1.0.total_cmp(&b.1.0))?;
    let depth = db(deepest.1.0 / whole).max(-300.0);
    (depth < -1.0).then(|| ((deepest.0.lower_hz * deepest.0.upper_hz).sqrt(), depth))
}

/// The level of a sum with one line late, dB against the mean power of both channels: the right line for a positive
/// delay, the left one for a negative; `sign` −1 flips one.
#[must_use]
pub fn late_sum_db(sound: &CrossSpectrum, grid: &Grid, delay_s: f64, sign: f64) -> f64 {
    let both: f64 = sound.ll.iter().sum::<f64>() + sound.rr.iter().sum::<f64>();
    let cross: f64 = (0..grid.len())
        .map(|cell| (sound.lr[cell] * mean_turn(grid, cell, sound.delay_s + delay_s)).re)
        .sum();
    db((both + sign * 2.0 * cross) / (2.0 * both))
}

/// How much later the right channel is, samples: where the plain correlation of the two is largest, searched in whole
/// samples.
#[must_use]
pub fn whole_delay(left: &[f64], right: &[f64], most: usize) -> isize {
    let at = |delay: isize| -> f64 {
        left.iter()
            .enumerate()
            .filter_map(|(n, l)| Some(l * right.get(usize::try_from(n as isize + delay).ok()?)?))
            .sum()
    };
    let most = most as isize;
    (-most..=most)
        .max_by(|a, b| at(*a).abs().total_cmp(&at(*b).abs()))
        .unwrap_or(0)
}

/// The voltage gain from an open output to a loaded input at a frequency through a transformer, by Kirchhoff's laws:
/// the source with its resistances drives the primary inductance in parallel with the secondary side, transformed by
/// the turns ratio.
#[must_use]
pub fn transformer_gain(
    hz: f64,
    source_ohm: f64,
    load_ohm: f64,
    [ratio, henry, primary_ohm, secondary_ohm]: [f64; 4],
) -> Complex<f64> {
    let core = Complex::new(0.0, TAU * hz * henry);
    let behind = Complex::new(ratio * ratio * (secondary_ohm + load_ohm), 0.0);
    let beside = core * behind / (core + behind);
    // Voltage across the core, over the turns, divided between winding and load.
    beside / (beside + source_ohm + primary_ohm) / ratio * (load_ohm / (secondary_ohm + load_ohm))
}
