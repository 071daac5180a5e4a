//! The direct sound between the channels: its level, polarity and delay, and how far level and phase turn over
//! frequency.
//!
//! It is read where sounds begin, or from a dry that is known separately. Each figure is an interval, so no cause is
//! named that the sound leaves open.

use core::f64::consts::TAU;

use crate::Complex;
use crate::alignment::onset::{Attacks, REACH_S};
use crate::dsp::db;
use crate::dsp::numbers::{to_index, to_integer};
use crate::spectrum::cross_spectrum::CrossSpectrum;
use crate::spectrum::grid::Grid;
use crate::split::interval::{Interval, Known};
use crate::split::ways::{BANDS, Bounds, Evidence, band_position};

/// A channel is called flipped if a straight sum (neither channel flipped) is surely worse by this than one with a
/// channel flipped, dB.
pub const FLIPPED_DB: f64 = 1.0;
/// A phase that turns by this over frequency, degrees rms, or a level that turns by [`TURNS_DB`], means two amplifiers.
pub const TURNS_DEGREES: f64 = 20.0;
/// See [`TURNS_DEGREES`]; dB rms.
pub const TURNS_DB: f64 = 3.0;
/// Least onsets for naming a flip where the dry has no single direction.
const FLIPPED_ONSETS: usize = 6;
/// Least onsets for reading a dry that has no single direction.
const ENOUGH: usize = 3;
/// Half width of the onset increments' intervals, standard errors.
const DEVIATIONS: f64 = 3.0;
/// Bands this far below the loudest are left out, as a power ratio.
const QUIET: f64 = 1e-3;
/// A band shows a phase only if the channels share at least this of it (a correlation).
const SHARED: f64 = 0.5;
/// A plain delay up to this doesn't count as turning, seconds...
const PLAIN_S: f64 = 0.001;
/// ...searched for in steps of this, seconds, and finer around the best.
const STEP_S: f64 = 8e-6;
const FINER: f64 = 8.0;

/// How level and phase between the channels turn over frequency: rms over 1/3 octaves, weighted by the root of their
/// power, without a plain delay and the effect of chance.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Turning {
    /// The phase, degrees.
    pub phase_degrees: f64,
    /// The level of the left channel over the right one's, dB.
    pub level_db: f64,
    /// What the channels share of a band regardless of phase (a correlation, 0 to 1), on average.
    pub shared: f64,
    /// Number of bands it is read from.
    pub bands: usize,
}

/// The direct sound between the channels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Direct {
    /// Level of the left channel over the right one's, dB; infinite where the sound is on one side alone.
    pub level_db: Interval,
    /// Level of a straight sum over a sum with one channel flipped, dB.
    pub straight_db: Interval,
    /// How much later the right channel is, seconds.
    pub delay_s: f64,
    /// It is one sound: of the same level difference and polarity throughout.
    pub one: bool,
    /// Correlation of the channels in it, lined up.
    pub correlation: f64,
    /// Number of onsets; `None` when the dry is known separately, or the whole sound has one direction.
    pub onsets: Option<usize>,
    /// Confidence that this is the direct sound, 0 to 1.
    pub sure: f64,
    /// How it turns over frequency; `None` where that can't be told.
    pub turning: Option<Turning>,
    /// Share of the onsets that begin alike in both channels, polarity included, 0 to 1; only where it isn't one sound.
    pub straight: f64,
}

impl Turning {
    /// How much it turns, in units of the limits: from 1 on it means two amplifiers.
    #[must_use]
    pub fn worth(&self) -> f64 {
        (self.phase_degrees / TURNS_DEGREES).max(self.level_db / TURNS_DB)
    }
}

/// Least bands for calling a sound turning.
const TURNING_BANDS: usize = 8;
/// Least confidence for calling a channel flipped without attacks.
const SURE: f64 = 0.7;

/// If at least this share of the onsets is straight, the rest is no flip.
const STRAIGHT_SHARE: f64 = 0.2;
/// Least second Stokes parameter of a straight direction; equal channels have 1.
const STRAIGHT: f64 = 0.5;

/// A band's power and its direction in the pair.
#[derive(Clone, Copy, Debug, Default)]
struct BandWay {
    hz: f64,
    power: f64,
    /// Normalised Stokes parameters, and one standard error of each.
    stokes: [f64; 3],
    error: [f64; 3],
}

/// A ratio `(1 + x)/(1 − x)` in dB: of levels, where x is the first Stokes parameter; of a straight sum over a flipped
/// one, where x is the second.
fn ratio_db(x: f64) -> f64 {
    let x = x.clamp(-1.0, 1.0);
    db::from_power(1.0 + x) - db::from_power(1.0 - x)
}

fn ratio_interval(low: f64, likely: f64, high: f64, known: Known) -> Interval {
    Interval::new(ratio_db(low), ratio_db(likely), ratio_db(high), known)
}

/// The correlation of channels with these Stokes parameters.
fn correlation([q, u, _]: [f64; 3]) -> f64 {
    let both = (1.0 - q * q).max(0.0).sqrt();
    if both > 1e-6 {
        (u / both).clamp(-1.0, 1.0)
    } else {
        0.0
    }
}

impl Direct {
    /// The direct sound from the onset increments. `None` without a separate dry, or with too few onsets.
    #[must_use]
    pub fn heard(evidence: &Evidence, bounds: &Bounds) -> Option<Self> {
        if bounds.no_separate_dry {
            return None;
        }
        let onsets = evidence.modes.onsets;
        if bounds.one_direction {
            let way = bounds.ways[0];
            let at = |offset: f64| (2.0 * (way.angle_rad + offset)).sin_cos();
            let tolerance = way.tolerance_rad;
            let ends = |part: fn((f64, f64)) -> f64| {
                let [low, likely, high] = [-tolerance, 0.0, tolerance].map(|offset| part(at(offset)));
                ratio_interval(
                    low.min(high).min(likely),
                    likely,
                    low.max(high).max(likely),
                    Known::Bounded,
                )
            };
            let (sin, cos) = at(0.0);
            return Some(Self {
                level_db: ends(|(_, cos)| cos),
                straight_db: ends(|(sin, _)| sin),
                delay_s: evidence.delay_s,
                one: true,
                correlation: correlation([cos, sin, 0.0]),
                onsets: Some(onsets).filter(|&onsets| onsets > 0),
                sure: if onsets > 0 {
                    evidence.modes.modes[0].share * (1.0 - 0.5 / onsets as f64)
                } else {
                    1.0
                },
                // Two amplifiers have no single direction; what turns here is the wet that begins with the dry.
                turning: None,
                straight: 0.0,
            });
        }
        let all = &evidence.begins_all;
        if onsets < ENOUGH || all.weight <= 0.0 {
            return None;
        }
        let ends = |n: usize| {
            let off = DEVIATIONS * all.error[n];
            ratio_interval(
                all.stokes[n] - off,
                all.stokes[n],
                all.stokes[n] + off,
                Known::Bounded,
            )
        };
        Some(Self {
            level_db: ends(0),
            straight_db: ends(1),
            delay_s: evidence.delay_s,
            one: false,
            correlation: correlation(all.stokes),
            onsets: Some(onsets),
            sure: 1.0 - 1.0 / onsets as f64,
            turning: turning(&evidence_bands(evidence)),
            straight: straight(evidence),
        })
    }

    /// The direct sound of a separately known dry, lined up by `delay_s` (right later: positive) where that explains
    /// it. `None` if it is silent.
    #[must_use]
    pub fn of_dry(dry: &CrossSpectrum, grid: &Grid, delay_s: f64) -> Option<Self> {
        let plain = Self::lined_up(dry, grid, 0.0)?;
        if delay_s == 0.0 {
            return Some(plain);
        }
        let late = Self::lined_up(dry, grid, delay_s)?;
        let (with, without) = (late.correlation.abs(), plain.correlation.abs());
        let explains = with > without && with >= LINED_UP || with >= without + MUCH_BETTER;
        Some(match (explains, late.one) {
            (true, true) => late,
            // Polarity and delay of amplifiers that differ over frequency can stand for each other: what counts is
            // which sum is the weaker one as they are.
            (true, false) => Self {
                straight_db: plain.straight_db,
                ..late
            },
            (false, _) => plain,
        })
    }

    fn lined_up(dry: &CrossSpectrum, grid: &Grid, delay_s: f64) -> Option<Self> {
        let mut bands = [BandWay::default(); BANDS];
        let mut all = [0.0; 4];
        for (cell, &hz) in grid.centres_hz().iter().enumerate() {
            let cross = dry.cross(grid, cell, -delay_s);
            let of_cell = [dry.ll[cell], dry.rr[cell], cross.re, cross.im];
            all.iter_mut().zip(of_cell).for_each(|(sum, x)| *sum += x);
            let place = band_position(hz).round();
            if (0.0..BANDS as f64).contains(&place) {
                bands[to_index(place)].add(of_cell);
            }
        }
        let [ll, rr, re, im] = all;
        let power = ll + rr;
        if power <= 0.0 {
            return None;
        }
        for (n, band) in bands.iter_mut().enumerate() {
            band.finish(n);
        }
        let stokes = [(ll - rr) / power, 2.0 * re / power, 2.0 * im / power];
        let turning = turning(&bands);
        Some(Self {
            level_db: Interval::measured(ratio_db(stokes[0])),
            straight_db: Interval::measured(ratio_db(stokes[1])),
            delay_s,
            one: correlation(stokes).abs() > ONE,
            correlation: correlation(stokes),
            onsets: None,
            sure: 1.0,
            turning,
            straight: 0.0,
        })
    }

    /// One sound in both channels, with the attacks' figures.
    #[must_use]
    pub fn one_sound(level_db: Interval, aligned: f64, delay_s: f64, onsets: usize) -> Self {
        Self {
            level_db,
            straight_db: Interval::measured(ratio_db(aligned)),
            delay_s,
            one: true,
            correlation: aligned,
            onsets: Some(onsets),
            sure: 1.0 - 1.0 / onsets.max(1) as f64,
            turning: None,
            straight: 0.0,
        }
    }

    /// Whether level or phase turn over frequency, for a sound that both channels carry.
    #[must_use]
    pub fn turns(&self) -> bool {
        self.turning.is_some_and(|turning| {
            turning.worth() >= 1.0 && turning.bands >= TURNING_BANDS && turning.shared > CARRIED
        })
    }

    /// Whether both channels carry one sound in each band; true where that isn't known.
    #[must_use]
    pub fn is_carried(&self) -> bool {
        self.turning.is_none_or(|turning| turning.shared > CARRIED)
    }

    /// The same, but flipped only if the attacks confirm it. Without attacks, or with a delay too long for their
    /// windows, a single direction needs most of the onset increments. For a sound without a single direction the
    /// attacks need not be one sound, but must be inverted on average.
    #[must_use]
    pub fn borne_out(self, attacks: Option<&Attacks>) -> Self {
        if self.onsets.is_none() || self.surely_straight_db() >= 0.0 {
            return self;
        }
        let borne_out = match attacks.filter(|_| self.delay_s.abs() < REACH_S) {
            Some(attacks) if self.one => attacks.is_one_sound() && attacks.aligned < 0.0,
            Some(attacks) => attacks.aligned < 0.0,
            None => !self.one || self.sure >= SURE,
        };
        if borne_out {
            self
        } else {
            Self {
                straight_db: Interval::new(self.straight_db.low, 0.0, 0.0, Known::Bounded),
                ..self
            }
        }
    }

    /// Whether one channel is the other's negative: both carry the sound, and a straight sum is surely the worse one.
    #[must_use]
    pub fn is_flipped(&self) -> bool {
        // The first sounds of a loud reverb that works against itself look like one channel's negative; but its dry
        // begins straight.
        let enough =
            self.onsets.is_none_or(|onsets| onsets >= FLIPPED_ONSETS) && self.straight < STRAIGHT_SHARE;
        let carried = self.one || enough && self.turning.is_some() && self.is_carried();
        carried && self.surely_straight_db() < -FLIPPED_DB
    }

    /// How much louder a straight sum surely is than one with a channel flipped, dB: negative where a channel is
    /// flipped, 0 where the sound leaves it open.
    #[must_use]
    pub fn surely_straight_db(&self) -> f64 {
        surely(&self.straight_db)
    }

    /// How much louder the left channel surely is, dB; 0 where the sound leaves it open.
    #[must_use]
    pub fn surely_louder_left_db(&self) -> f64 {
        surely(&self.level_db)
    }
}

/// Least share per band (a correlation) for both channels to carry one sound that turns over frequency.
const CARRIED: f64 = 0.75;
/// A delay explains a dry whose channels correlate by this once lined up, or by [`MUCH_BETTER`] more than before.
const LINED_UP: f64 = 0.95;
const MUCH_BETTER: f64 = 0.15;
/// A dry whose channels correlate by more than this is one sound.
const ONE: f64 = 0.9;

/// The end of an interval that is nearer to zero; 0 where it holds zero.
fn surely(interval: &Interval) -> f64 {
    if interval.low > 0.0 {
        interval.low
    } else if interval.high < 0.0 {
        interval.high
    } else {
        0.0
    }
}

impl BandWay {
    /// Until [`Self::finish`] the sums of powers and cross term stand in place of the Stokes parameters.
    fn add(&mut self, [ll, rr, re, im]: [f64; 4]) {
        self.power += ll + rr;
        for (sum, x) in self.stokes.iter_mut().zip([ll - rr, 2.0 * re, 2.0 * im]) {
            *sum += x;
        }
    }

    fn finish(&mut self, band: usize) {
        self.hz = middle_hz(band);
        if self.power > 0.0 {
            self.stokes = self.stokes.map(|x| x / self.power);
        }
    }
}

/// The middle of a band, Hz (the inverse of [`band_position`]).
fn middle_hz(band: usize) -> f64 {
    1000.0 * 10f64.powf(0.1 * (band as f64 - 11.0))
}

/// The share of the onsets that are straight.
fn straight(evidence: &Evidence) -> f64 {
    let modes = evidence.modes.modes.iter().take(evidence.modes.count);
    modes
        .filter(|mode| (2.0 * mode.angle_rad).sin() > STRAIGHT)
        .map(|mode| mode.share)
        .sum()
}

fn evidence_bands(evidence: &Evidence) -> [BandWay; BANDS] {
    core::array::from_fn(|n| {
        let begin = &evidence.begins[n];
        BandWay {
            hz: middle_hz(n),
            power: if begin.weight > 0.0 {
                evidence.means[n].trace()
            } else {
                0.0
            },
            stokes: begin.stokes,
            error: begin.error,
        }
    })
}

/// How level and phase turn over frequency. `None` with fewer than three usable bands.
fn turning(bands: &[BandWay; BANDS]) -> Option<Turning> {
    let loudest = bands.iter().map(|band| band.power).fold(0.0, f64::max);
    let (mut weights, mut shared) = (0.0, 0.0);
    let mut held = [(0.0, 0.0, Complex::new(0.0, 0.0)); BANDS];
    let mut count = 0;
    let mut levels = [0.0; 3];
    let (mut chance, mut level_chance) = (0.0, 0.0);
    for band in bands.iter().filter(|band| band.power > QUIET * loudest) {
        let [q, u, v] = band.stokes;
        let both = (1.0 - q * q).max(0.0).sqrt();
        let weight = band.power.sqrt();
        let here = if both > 0.02 {
            (u.hypot(v) / both).min(1.0)
        } else {
            0.0
        };
        weights += weight;
        shared += weight * here;
        if here < SHARED {
            continue;
        }
        held[count] = (band.hz, weight, Complex::new(u, v));
        count += 1;
        let level_db = ratio_db(q);
        levels[0] += weight;
        levels[1] += weight * level_db;
        levels[2] += weight * level_db * level_db;
        let [q_off, u_off, v_off] = band.error;
        chance += weight * (0.5 * (u_off * u_off + v_off * v_off)) / (u * u + v * v);
        // The slope of (1 + q)/(1 − q), in dB, times the error of q.
        level_chance += weight * (20.0 * core::f64::consts::LOG10_E * q_off / (both * both)).powi(2);
    }
    if count < 3 {
        return None;
    }
    let held = &held[..count];
    let phase = plain_delay_out(held);
    let [weight, sum, squares] = levels;
    let level = squares / weight - (sum / weight).powi(2) - level_chance / weight;
    Some(Turning {
        phase_degrees: (phase - chance / weight).max(0.0).sqrt().to_degrees(),
        level_db: level.max(0.0).sqrt(),
        shared: shared / weights,
        bands: count,
    })
}

/// The least mean square of the phases, radians squared, over plain delays and both polarities.
fn plain_delay_out(bands: &[(f64, f64, Complex<f64>)]) -> f64 {
    let at = |delay_s: f64, sign: f64| {
        let (mut squares, mut weights) = (0.0, 0.0);
        for &(hz, weight, cross) in bands {
            let turned = cross * Complex::from_polar(sign, -TAU * hz * delay_s);
            squares += weight * turned.arg().powi(2);
            weights += weight;
        }
        squares / weights
    };
    let mut best = (f64::INFINITY, 0.0, 1.0);
    let steps = to_integer(PLAIN_S / STEP_S);
    for sign in [1.0, -1.0] {
        for step in -steps..=steps {
            let delay_s = f64::from(step) * STEP_S;
            let here = at(delay_s, sign);
            if here < best.0 {
                best = (here, delay_s, sign);
            }
        }
    }
    let (mut least, around, sign) = best;
    for step in -to_integer(FINER)..=to_integer(FINER) {
        least = least.min(at(around + f64::from(step) * STEP_S / FINER, sign));
    }
    least
}
