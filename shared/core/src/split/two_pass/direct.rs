//! Offset and gain of a dry pass in a full one without a wet pass: from the full pass's response to the dry one.
//!
//! Effects come after their source, so the dry is the first tap of that response that stands clear of everything before
//! it. A fit of the dry to the whole full pass would be biased by every echo and every partial that rings on in a
//! reverb; a single tap isn't. The response is the full pass over the dry one in the frequency domain, regularised in
//! each third of an octave (a guitar's spectrum falls by 60 dB to 5 kHz) and tapered towards high frequencies, which
//! makes a tap a short pulse without lobes. The response just before the dry, where nothing can be, is the uncertainty
//! of the tap.

use realfft::RealFftPlanner;

use super::LARGEST_OFFSET_S;
use super::coarse::transform_len;
use super::sound::{Recorded, Sound};
use crate::Complex;
use crate::dsp::numbers::{circular_place, to_index, to_lag};
use crate::spectrum::pair_sums;

/// Most frames used, where the dry is loudest: 87 s at 48 kHz.
const MOST_FRAMES: usize = 1 << 22;

/// Frequency at which the taper is down to 1/e, Hz; above it a guitar has hardly any energy.
const TAPER_HZ: f64 = 5000.0;

/// Lowest frequency used, Hz: below are a bounce's rumble and steady hum.
const LOWEST_HZ: f64 = 60.0;

/// Regularisation: the share of the mean power around a bin that is added to its power before the division.
const REGULAR: f64 = 0.01;

/// Bands this far below the loudest one are left out, as a power ratio: rounding of 16-bit files.
const QUIET: f64 = 1e-7;

/// Least amplitude of the dry against the largest tap: a single echo is at most 12 dB louder than the dry.
const LEAST_SHARE: f64 = 0.25;

/// The stretch before a tap in which nothing can be: its beginning and its end, seconds before the tap.
const BEFORE_S: [f64; 2] = [0.05, 0.0015];

/// Least amplitude ratio of the dry's tap to the response before it: 20 dB.
const CLEAR: f64 = 10.0;

/// An effect that begins this close to the dry, before and after, changes it rather than adding to it, seconds: another
/// amplifier, a filter, a phaser.
const BESIDE_S: [f64; 2] = [0.001, 0.002];

/// Largest changed part, as a power ratio: 10 dB below the dry.
const MOST_CHANGED: f64 = 0.1;

/// Gains closer to 1 than this, or than three times their uncertainty, count as 1: switching effects off mostly leaves
/// the level unchanged.
const SAME_GAIN: f64 = 0.003;

/// Offsets closer to a whole sample than this count as whole, samples: bounces of one project lie on whole samples.
const SAME_SAMPLE: f64 = 0.1;

/// A dry pass in a full one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Direct {
    /// Linear gain, negative where the dry is flipped.
    pub gain: f64,
    /// Standard deviation of the gain.
    pub gain_error: f64,
    /// Whole frames by which it is later in the full pass than in its own recording.
    pub whole: isize,
    /// The remaining fraction of a frame.
    pub part: f64,
}

/// Responses by lag; negative lags at the end.
struct Response {
    /// The full pass's response to the dry one.
    taps: Vec<f64>,
    /// The shape of a single tap of 1 at lag 0.
    pulse: Vec<f64>,
}

impl Direct {
    /// Finds the dry; `None` where no tap stands clear: the dry pass isn't in the full one.
    pub(super) fn find(full: Recorded<'_>, dry: Recorded<'_>, rate_hz: f64) -> Option<Self> {
        let reach = to_index(LARGEST_OFFSET_S * rate_hz);
        let start = loudest(dry, rate_hz);
        let frames = full.len().max(dry.len()).min(MOST_FRAMES);
        let response = Response::new([full, dry], start, frames, reach, rate_hz)?;
        let at = response.first(reach.cast_signed(), rate_hz)?;
        let found = response.direct(at, rate_hz);
        let is_clear = found.gain.abs() >= CLEAR * found.gain_error;
        (is_clear && response.changed(&found, rate_hz) <= MOST_CHANGED).then_some(found)
    }
}

impl Response {
    fn new(
        [full, dry]: [Recorded<'_>; 2],
        start: usize,
        frames: usize,
        reach: usize,
        rate_hz: f64,
    ) -> Option<Self> {
        let len = transform_len(frames + reach + 1);
        let mut planner = RealFftPlanner::<f64>::new();
        let forward = planner.plan_fft_forward(len);
        let inverse = planner.plan_fft_inverse(len);
        let mut taps = vec![Complex::new(0.0, 0.0); len / 2 + 1];
        let mut powers = vec![0.0; len / 2 + 1];
        for channel in 0..2 {
            let spectrum = |pass: Recorded<'_>| {
                let mut padded = vec![0.0; len];
                let there = frames.min(pass.len().saturating_sub(start));
                pass.fill(channel, start.cast_signed(), &mut padded[..there]);
                let mut spectrum = forward.make_output_vec();
                forward.process(&mut padded, &mut spectrum).ok()?;
                Some(spectrum)
            };
            let (full, dry) = (spectrum(full)?, spectrum(dry)?);
            for (k, (full, dry)) in full.iter().zip(&dry).enumerate() {
                taps[k] += full * dry.conj();
                powers[k] += dry.norm_sqr();
            }
        }
        let weights = weights(&powers, rate_hz / len as f64);
        let mut pulse: Vec<Complex<f64>> = Vec::with_capacity(taps.len());
        for ((tap, power), weight) in taps.iter_mut().zip(&powers).zip(&weights) {
            *tap *= weight;
            pulse.push(Complex::new(power * weight, 0.0));
        }
        let [taps, pulse] = [taps, pulse].map(|mut spectrum| {
            for edge in [0, len / 2] {
                spectrum[edge].im = 0.0;
            }
            let mut lags = vec![0.0; len];
            inverse.process(&mut spectrum, &mut lags).is_ok().then_some(lags)
        });
        let (taps, pulse) = (taps?, pulse?);
        (pulse[0] > 0.0).then_some(Self { taps, pulse })
    }

    fn at(values: &[f64], lag: isize) -> f64 {
        values[circular_place(lag, values.len())]
    }

    fn tap(&self, lag: isize) -> f64 {
        Self::at(&self.taps, lag) / self.pulse[0]
    }

    fn pulse(&self, lag: isize) -> f64 {
        Self::at(&self.pulse, lag) / self.pulse[0]
    }

    /// The lag of the first tap that is neither small nor a lobe of the largest.
    fn first(&self, reach: isize, rate_hz: f64) -> Option<isize> {
        let height = |lag: isize| self.tap(lag).abs();
        let largest = (-reach..=reach).max_by(|&a, &b| height(a).total_cmp(&height(b)))?;
        let least = LEAST_SHARE * height(largest);
        let beside = to_lag((0.0003 * rate_hz).ceil());
        (-reach..=largest).find(|&lag| {
            let this = height(lag);
            this >= least
                && this > 2.0 * height(largest) * self.pulse(lag - largest).abs() * f64::from(lag != largest)
                && (lag - beside..=lag + beside).all(|other| height(other) <= this)
        })
    }

    /// The changed part of the dry: the residual of the response around the tap, over the tap, as a power ratio.
    fn changed(&self, found: &Direct, rate_hz: f64) -> f64 {
        let [before, after] = BESIDE_S.map(|seconds| to_lag(seconds * rate_hz));
        let sums = (-before..=after).fold([0.0; 2], |[left, tap], by| {
            let direct = found.gain * self.pulse(by);
            [
                left + (self.tap(found.whole + by) - direct).powi(2),
                tap + direct * direct,
            ]
        });
        sums[0] / sums[1]
    }

    /// The tap at a lag.
    fn direct(&self, at: isize, rate_hz: f64) -> Direct {
        // A parabola through the peak and its neighbours; a tap is many samples wide.
        let [before, top, after] = [-1, 0, 1].map(|by| self.tap(at + by));
        let bend = before - 2.0 * top + after;
        let part = if bend == 0.0 {
            0.0
        } else {
            (0.5 * (before - after) / bend).clamp(-0.5, 0.5)
        };
        let part = if part.abs() < SAME_SAMPLE { 0.0 } else { part };
        let gain = top - 0.25 * (before - after) * part;
        let [far, near] = BEFORE_S.map(|seconds| at - to_lag(seconds * rate_hz));
        let left: f64 = (far..near)
            .map(|lag| (self.tap(lag) - gain * self.pulse(lag - at)).powi(2))
            .sum();
        let gain_error = (left / (near - far).max(1) as f64).sqrt();
        let is_same = (gain.abs() - 1.0).abs() <= SAME_GAIN.max(3.0 * gain_error);
        Direct {
            gain: if is_same { gain.signum() } else { gain },
            gain_error,
            whole: at,
            part,
        }
    }
}

/// The first frame of the [`MOST_FRAMES`] of a pass that have the most energy.
fn loudest(pass: Recorded<'_>, rate_hz: f64) -> usize {
    let step = to_index(rate_hz).max(1);
    let (mut energies, mut piece) = (Vec::new(), vec![0.0; step]);
    for start in (0..pass.len()).step_by(step) {
        energies.push((0..2).fold(0.0, |sum, channel| {
            pass.fill(channel, start.cast_signed(), &mut piece);
            sum + pair_sums::product(&piece, &piece)
        }));
    }
    let most = (MOST_FRAMES / step).max(1);
    let best = energies
        .windows(most)
        .enumerate()
        .map(|(at, window)| (at, window.iter().sum::<f64>()))
        .max_by(|a, b| a.1.total_cmp(&b.1));
    best.map_or(0, |(at, _)| at * step)
}

/// The factor of each bin: the taper over the regularised power.
fn weights(powers: &[f64], bin_hz: f64) -> Vec<f64> {
    let mut sums = vec![0.0];
    for power in powers {
        sums.push(sums.last().unwrap_or(&0.0) + power);
    }
    let around = |k: usize| {
        let half = 2f64.powf(1.0 / 6.0);
        let (low, high) = (
            to_index(k as f64 / half),
            (to_index(k as f64 * half) + 1).min(powers.len()),
        );
        (sums[high] - sums[low]) / (high - low).max(1) as f64
    };
    let smooth: Vec<f64> = (0..powers.len()).map(around).collect();
    let least = QUIET * smooth.iter().copied().fold(0.0, f64::max);
    powers
        .iter()
        .zip(&smooth)
        .enumerate()
        .map(|(k, (power, smooth))| {
            let hz = k as f64 * bin_hz;
            if hz < LOWEST_HZ || *smooth <= least {
                return 0.0;
            }
            (-(hz / TAPER_HZ).powi(2)).exp() / (power + REGULAR * smooth)
        })
        .collect()
}
