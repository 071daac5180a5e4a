//! How the direct sound lies between the channels: its level, its polarity and its delay, and how far those turn over frequency.
//!
//! It is read where sounds begin, or off a dry that is known by itself. Each figure has both its ends, so that nobody names a cause
//! which the sound leaves open.

use core::f64::consts::TAU;

use crate::Complex;
use crate::alignment::onset::{Attacks, REACH_S};
use crate::dsp::db;
use crate::spectrum::cross_spectrum::CrossSpectrum;
use crate::spectrum::grid::Grid;
use crate::split::interval::{Interval, Known};
use crate::split::ways::{BANDS, Bounds, Evidence, band_position};

/// A straight sum must be the worse one by this for a channel to be called flipped, dB.
pub const FLIPPED_DB: f64 = 1.0;
/// A phase that turns by this over frequency, degrees rms, or a level by [`TURNS_DB`], is two amplifiers.
pub const TURNS_DEGREES: f64 = 20.0;
/// See [`TURNS_DEGREES`].
pub const TURNS_DB: f64 = 3.0;
/// Without one direction, a flip is named from so many onsets on.
const FLIPPED_ONSETS: usize = 6;
/// Without one direction, what begins says something from so many onsets on.
const ENOUGH: usize = 3;
/// How many standard errors the ends of what begins are apart from its mean.
const DEVIATIONS: f64 = 3.0;
/// Bands this far below the loudest have no say in what turns, as a power ratio.
const QUIET: f64 = 1e-3;
/// Where the channels share less than this of a band (a correlation), it shows no phase.
const SHARED: f64 = 0.5;
/// A plain delay up to this is no turning, seconds...
const PLAIN_S: f64 = 0.001;
/// ...looked for in steps of this, and finer around the best.
const STEP_S: f64 = 8e-6;
const FINER: f64 = 8.0;

/// How level and phase between the channels turn over frequency: rms over 1/3 octaves, weighted by the root of their power, a
/// plain delay and what chance does taken out.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Turning {
    /// The phase, degrees.
    pub phase_degrees: f64,
    /// The level of the left channel over the right one's, dB.
    pub level_db: f64,
    /// What the channels share of a band whatever its phase (a correlation), on average.
    pub shared: f64,
    /// How many bands show it.
    pub bands: usize,
}

/// The direct sound between the channels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Direct {
    /// Level of the left channel over the right one's, dB; infinite where it is on one side alone.
    pub level_db: Interval,
    /// Level of a straight sum over that of a sum with one channel flipped, dB.
    pub straight_db: Interval,
    /// How much later the right channel is, seconds.
    pub delay_s: f64,
    /// It is one sound: of one level and polarity all over.
    pub one: bool,
    /// Correlation of the channels in it, lined up.
    pub correlation: f64,
    /// From how many onsets; `None` when the dry is known by itself, or all of the sound lies alike.
    pub onsets: Option<usize>,
    /// How sure it is that this is the direct sound, 0 to 1.
    pub sure: f64,
    /// How it turns over frequency; `None` where it can't be told.
    pub turning: Option<Turning>,
    /// Share of the onsets that begin alike in both channels, polarity included, 0 to 1; only where it isn't one sound.
    pub straight: f64,
}

impl Turning {
    /// How much it turns: from 1 on it is two amplifiers.
    #[must_use]
    pub fn worth(&self) -> f64 {
        (self.phase_degrees / TURNS_DEGREES).max(self.level_db / TURNS_DB)
    }
}

/// Of a sound that has one direction all the same, something turns only if it does so by this much more.
const FAR: f64 = 1.5;
/// It takes this many bands to say that something turns.
const TURNING_BANDS: usize = 8;
/// Without attacks, so sure must what begins be for a channel to be called flipped.
const SURE: f64 = 0.7;

/// Where so many of the onsets lie straight, what lies across is no flip.
const STRAIGHT_SHARE: f64 = 0.2;
/// A way is straight from this on: the second Stokes parameter of a sound of one level in both channels is 1.
const STRAIGHT: f64 = 0.5;

/// How the power of a band lies in the pair.
#[derive(Clone, Copy, Debug, Default)]
struct BandWay {
    hz: f64,
    power: f64,
    /// Normalised Stokes parameters, and one standard error of each.
    stokes: [f64; 3],
    error: [f64; 3],
}

/// A ratio `(1 + x)/(1 − x)` in dB: of levels, where x is the first Stokes parameter; of a straight sum over a flipped one, where it is
/// the second.
fn ratio_db(x: f64) -> f64 {
    let x = x.clamp(-1.0, 1.0);
    db::from_power(1.0 + x) - db::from_power(1.0 - x)
}

fn ratio_interval(low: f64, likely: f64, high: f64, known: Known) -> Interval {
    Interval::new(ratio_db(low), ratio_db(likely), ratio_db(high), known)
}

/// What channels correlate by that lie so.
fn correlation([q, u, _]: [f64; 3]) -> f64 {
    let both = (1.0 - q * q).max(0.0).sqrt();
    if both > 1e-6 {
        (u / both).clamp(-1.0, 1.0)
    } else {
        0.0
    }
}

impl Direct {
    /// From what begins. `None` where there's no dry by itself, or too little began.
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
                turning: turning(&evidence_bands(evidence)).filter(|turning| turning.worth() > FAR),
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

    /// Of a dry that is known by itself, lined up by a delay where that explains it. `None` where there's nothing.
    #[must_use]
    pub fn of_dry(dry: &CrossSpectrum, grid: &Grid, delay_s: f64) -> Option<Self> {
        let plain = Self::lined_up(dry, grid, 0.0)?;
        if delay_s == 0.0 {
            return Some(plain);
        }
        let late = Self::lined_up(dry, grid, delay_s)?;
        let (with, without) = (late.correlation.abs(), plain.correlation.abs());
        let explains = with > without && with >= LINED_UP || with >= without + MUCH_BETTER;
        Some(if explains { late } else { plain })
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
                bands[place as usize].add(of_cell);
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

    /// One sound of which the attacks show so much.
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

    /// Whether level or phase turn over frequency, of a sound that both channels carry.
    #[must_use]
    pub fn turns(&self) -> bool {
        self.turning.is_some_and(|turning| {
            turning.worth() >= 1.0 && turning.bands >= TURNING_BANDS && turning.shared > CARRIED
        })
    }

    /// The same, no longer flipped unless the attacks bear it out: where they are too few, or too far apart for their windows, most of
    /// what begins must have that direction. Of a sound that turns, they need not be one, but may not be straight either.
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

    /// Whether one channel is the other's negative: a straight sum is surely the worse one, of a sound that both channels carry.
    #[must_use]
    pub fn is_flipped(&self) -> bool {
        // The first sounds of a loud reverb that works against itself look like one channel's negative; its dry begins straight.
        let enough =
            self.onsets.is_none_or(|onsets| onsets >= FLIPPED_ONSETS) && self.straight < STRAIGHT_SHARE;
        let carried = self.one || enough && self.turning.is_some_and(|turning| turning.shared > CARRIED);
        carried && self.surely_straight_db() < -FLIPPED_DB
    }

    /// How much more a straight sum surely gives than one with a channel flipped, dB: negative where a channel is flipped, 0 where the
    /// sound leaves it open.
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

/// Where it turns over frequency, both channels carry a sound that they share so much of in each band.
const CARRIED: f64 = 0.75;
/// A delay explains a dry whose channels correlate by so much once lined up, or by so much more than before.
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
    /// Powers and cross term are summed up in the place of the Stokes parameters until [`Self::finish`].
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

/// The middle of a band, Hz ([`band_position`] the other way round).
fn middle_hz(band: usize) -> f64 {
    1000.0 * 10f64.powf(0.1 * (band as f64 - 11.0))
}

/// The share of the onsets that begin straight.
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

/// What turns over frequency. `None` with fewer than three bands that show it.
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
        // The slope of (1 + q)/(1 − q) in dB.
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
    let steps = (PLAIN_S / STEP_S) as i32;
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
    for step in -(FINER as i32)..=FINER as i32 {
        least = least.min(at(around + f64::from(step) * STEP_S / FINER, sign));
    }
    least
}
