//! The split where the beginnings of sounds show the dry by itself.
//!
//! For the first milliseconds of an attack only the direct sound is new ([`crate::alignment::onset`]), so how it lies in the pair, its
//! level difference and phase, can be had band by band whatever the effects do later. With that known the dry is a known
//! direction among the pair's sums ([`super::stokes`]), and how much of the pair lies in it follows by projection: without the
//! bias of an estimate that has to find the direction in the same figures, and with no remainder where a line is flipped.
//!
//! What can't be known from the pair is how alike the *wet's* channels are, because a dry that goes on looks like a wet that
//! is alike. Where the dry has died away the wet is nearly alone, so the lowest correlation between the attacks is an upper
//! bound: below zero it's taken for the wet's own, else the wet counts as unrelated. The range given is what the bounds allow,
//! widened by chance: dry and wet help and hinder each other in the figure that is wanted as they do across it, where they
//! can be seen.

use super::borrow::{borrow, wrapped};
use super::stokes::{Stokes, direction};
use super::{BlindSplitter, overlap_of};
use crate::Complex;
use crate::alignment::delay::ChannelDelay;
use crate::alignment::onset::{ATTACK_S, Attacks, Beginnings};
use crate::dsp::db;
use crate::spectrum::bands::{Band, MAX_THIRDS};
use crate::spectrum::cross_spectrum::CrossSpectrum;
use crate::spectrum::grid::Grid;
use crate::split::{Range, Split};

/// A delay that the whole sound shows is finer than the attacks' if they agree this well, seconds.
const AGREED_S: f64 = 0.000_2;
/// Below this purity a band's attacks show no direction.
const PURE: f64 = 0.3;
/// A lowest correlation between 0 and this may be chance.
const CHANCE: f64 = -0.2;
/// A wet is taken to be no wider than this where the sound doesn't show a wider one (common practice, no source).
const WIDEST: f64 = -0.75;
/// How far the lowest correlation may be off as a bound of the wet's.
const BOUND: f64 = 0.15;
/// Half the width of the range in standard deviations of what chance does.
const DEVIATIONS: f64 = 1.3;
/// The attacks' window is short: what it shows of a band is smeared over this many of its bins to either side.
const SMEARED_BINS: f64 = 1.5;
/// What the smearing may put a band off by, as a variance, over the square of how far the band beside it differs inside that
/// reach. More than 1, because the bands beside it are smeared too and differ by less than they should (tuned on two
/// amplifiers at a wet of -20 to 0 dB).
const SMEAR: f64 = 1.5;
/// What the model itself may be off, dB.
const MODEL_DB: f64 = 0.3;

/// The wet's correlation: the value taken, and what it may be at least and at most.
fn wet_correlation(attacks: &Attacks) -> (f64, [f64; 2]) {
    match attacks.lowest.map(|lowest| lowest + attacks.lowest_by_chance) {
        None => (0.0, [WIDEST, 1.0]),
        Some(lowest) => (
            if lowest < CHANCE {
                lowest
            } else {
                // From nothing to all of it, so that a reading doesn't jump.
                (2.0 * (lowest - 0.5 * CHANCE)).min(0.0)
            },
            [
                WIDEST.min(lowest - BOUND).max(-1.0),
                lowest.max(0.0) + BOUND.min(0.5 * (1.0 - lowest.max(0.0))),
            ],
        ),
    }
}

/// A band's dry, as something shows it.
#[derive(Clone, Copy, Debug)]
struct Sight {
    /// By chance, of both.
    variance: f64,
    /// Level difference and phase, as in [`Look`](super::Look).
    ratio: f64,
    phase: f64,
}

/// What the attacks show of a band, lined up by delay and sign. `None` where what begins there isn't one sound.
fn at_the_attacks(
    beginnings: &Beginnings<'_>,
    band: &Band,
    bin_hz: f64,
    delay_s: f64,
    sign: f64,
) -> Option<Sight> {
    let (new, old) = (beginnings.new, beginnings.old);
    let turn = |k: usize| Complex::from_polar(sign, -core::f64::consts::TAU * k as f64 * bin_hz * delay_s);
    // A band narrower than the attacks' bins takes the three about its middle.
    let centre = (band.centre_hz() / bin_hz).round() as usize;
    let first = (band.lower_hz / bin_hz).ceil() as usize;
    let first = first.min(centre.saturating_sub(1)).clamp(1, new.len() - 1);
    let last = (band.upper_hz / bin_hz).floor() as usize;
    let last = last.max(centre + 1).min(new.len() - 1);
    let (mut beginning, mut before) = (Stokes::default(), Stokes::default());
    for k in first..=last {
        beginning.add(Stokes::of(new.ll[k], new.rr[k], new.lr[k] * turn(k)), 1.0);
        before.add(Stokes::of(old.ll[k], old.rr[k], old.lr[k] * turn(k)), 1.0);
    }
    let directed = beginning.directed();
    let purity = if beginning.p > 0.0 {
        (directed / beginning.p).min(1.0)
    } else {
        0.0
    };
    (purity > PURE).then(|| {
        let independent = beginnings.worth.max(1.0) * (band.width_hz() * ATTACK_S).max(1.0);
        let within = (1.0 - purity * purity).max(0.002) / (2.0 * purity * purity * independent);
        // What was sounding before is taken off as a power; its products with what is new stay.
        let noise = (before.p - before.directed()).max(0.0) / directed;
        let q = (beginning.q / directed).clamp(-0.999_999, 0.999_999);
        Sight {
            variance: within.max(1e-4) + (noise + noise * noise) / independent,
            ratio: -q.atanh(),
            phase: beginning.v.atan2(beginning.u),
        }
    })
}

impl BlindSplitter {
    /// Splits by the direction that the beginnings show.
    pub(super) fn steered(
        &mut self,
        spectrum: &CrossSpectrum,
        grid: &Grid,
        found: Option<ChannelDelay>,
        beginnings: &Beginnings<'_>,
        out: &mut Split,
    ) {
        let attacks = &beginnings.attacks;
        let delay_s = found
            .map(|delay| delay.delay_s)
            .filter(|delay_s| (delay_s - attacks.delay_s).abs() < AGREED_S)
            .unwrap_or(attacks.delay_s);
        let overlap = overlap_of(delay_s, grid);
        let sign = attacks.aligned.signum();
        for (turn, &hz) in self.align.iter_mut().zip(grid.centres_hz()) {
            *turn = Complex::from_polar(sign, -core::f64::consts::TAU * hz * delay_s);
        }
        self.measure(spectrum, overlap);
        self.steer(delay_s, sign, beginnings);
        borrow(&mut self.looks[..self.map.len()]);
        self.point();
        let (kappa, bounds) = wet_correlation(attacks);
        let direct = self.direct(spectrum, overlap, kappa);
        out.range = Some(self.range(spectrum, overlap, kappa, bounds));
        out.dry.silence();
        out.dry.averages = spectrum.averages;
        for (band, share) in direct.iter().enumerate().take(self.map.len()) {
            for (cell, part) in self.reach(band, out.total.len()) {
                let power = part * (spectrum.ll[cell] + spectrum.rr[cell]);
                let [q, u, v] = self.directions[cell];
                let back = self.align[cell].conj();
                let dry = power * share;
                let wet = power - dry;
                out.dry.ll[cell] += dry * (0.5 + 0.5 * q);
                out.dry.rr[cell] += dry * (0.5 - 0.5 * q);
                out.dry.lr[cell] += Complex::new(u, v) * back * (0.5 * dry);
                out.wet.ll[cell] += 0.5 * wet;
                out.wet.rr[cell] += 0.5 * wet;
                out.wet.lr[cell] += back * (0.5 * wet * kappa);
            }
        }
    }

    /// Takes each band's level difference and phase from the beginnings and from the whole, each as far as it can be trusted.
    fn steer(&mut self, delay_s: f64, sign: f64, beginnings: &Beginnings<'_>) {
        let bin_hz = beginnings.rate_hz / (2 * (beginnings.new.len() - 1)) as f64;
        let mut seen = [None; MAX_THIRDS];
        for (seen, band) in seen.iter_mut().zip(self.map.bands()) {
            *seen = at_the_attacks(beginnings, band, bin_hz, delay_s, sign);
        }
        for band in 0..self.map.len() {
            let by_attacks = seen[band].map(|sight: Sight| Sight {
                variance: sight.variance + SMEAR * self.smear(&seen, band, sight, SMEARED_BINS * bin_hz),
                ..sight
            });
            let look = &mut self.looks[band];
            let by_whole = look.variance.map(|variance| Sight {
                variance: variance.max(1e-5),
                ratio: look.ratio,
                phase: look.phase,
            });
            let (mut weight, mut ratio, mut phase) = (0.0, 0.0, Complex::new(0.0, 0.0));
            for sight in [by_attacks, by_whole].into_iter().flatten() {
                weight += 1.0 / sight.variance;
                ratio += sight.ratio / sight.variance;
                phase += Complex::from_polar(1.0 / sight.variance, sight.phase);
            }
            look.variance = (weight > 0.0).then(|| 1.0 / weight);
            if weight > 0.0 {
                (look.ratio, look.phase) = (ratio / weight, phase.arg());
            }
        }
    }

    /// How far what the attacks show of a band may be off for lying `reach_hz` from the bands beside it, squared: where two
    /// amplifiers turn the phase quickly, a window as short as an attack can't follow.
    fn smear(&self, seen: &[Option<Sight>; MAX_THIRDS], band: usize, sight: Sight, reach_hz: f64) -> f64 {
        let centre_hz = |band: usize| self.map.bands()[band].centre_hz();
        [
            band.checked_sub(1),
            Some(band + 1).filter(|&above| above < self.map.len()),
        ]
        .into_iter()
        .flatten()
        .filter_map(|beside| {
            let other = seen[beside]?;
            let within = (reach_hz / (centre_hz(beside) - centre_hz(band)).abs()).min(1.0);
            let apart = (other.ratio - sight.ratio).powi(2) + wrapped(other.phase - sight.phase).powi(2);
            Some(apart * within * within)
        })
        .fold(0.0, f64::max)
    }

    /// Every cell's direction, from the bands' by straight lines on the scale of notes, each band standing where its power is.
    fn point(&mut self) {
        let speaks = |band: &usize| self.looks[*band].variance.is_some();
        let mut bands = (0..self.map.len()).filter(speaks);
        let Some(mut low) = bands.next() else {
            self.directions.fill([0.0, 1.0, 0.0]);
            return;
        };
        let mut high = bands.next().unwrap_or(low);
        for (place, &note) in self.directions.iter_mut().zip(&self.notes) {
            while note > self.looks[high].note && high != low {
                low = high;
                high = bands.next().unwrap_or(low);
            }
            let (from, to) = (&self.looks[low], &self.looks[high]);
            let part = if to.note > from.note {
                ((note - from.note) / (to.note - from.note)).clamp(0.0, 1.0)
            } else {
                0.0
            };
            *place = direction(
                from.ratio + part * (to.ratio - from.ratio),
                from.phase + part * wrapped(to.phase - from.phase),
            );
        }
    }

    /// The four sums of a cell, lined up.
    fn stokes(&self, spectrum: &CrossSpectrum, overlap: f64, cell: usize) -> Stokes {
        Stokes::of(
            spectrum.ll[cell],
            spectrum.rr[cell],
            spectrum.lr[cell] * self.align[cell] / overlap,
        )
    }

    /// The share of each band's power that is dry. What bands with more than all or less than nothing of it can't show is
    /// made up by the others, so that the sum stays without bias.
    fn direct(&self, spectrum: &CrossSpectrum, overlap: f64, kappa: f64) -> [f64; MAX_THIRDS] {
        let mut shares = [0.0; MAX_THIRDS];
        let (mut signed, mut shown) = (0.0, 0.0);
        for (band, share) in shares.iter_mut().enumerate().take(self.map.len()) {
            let both = self.looks[band].left + self.looks[band].right;
            if both <= 0.0 {
                continue;
            }
            let dry: f64 = self
                .map
                .cells(band)
                .map(|(cell, part)| {
                    let stokes = self.stokes(spectrum, overlap, cell);
                    part * stokes.project(self.directions[cell], kappa).0
                })
                .sum();
            *share = (dry / both).clamp(0.0, 1.0);
            signed += dry;
            shown += *share * both;
        }
        let scale = if shown > 0.0 {
            (signed / shown).max(0.0)
        } else {
            0.0
        };
        shares.map(|share| (share * scale).min(1.0))
    }

    /// What the wet may be against the dry.
    fn range(&self, spectrum: &CrossSpectrum, overlap: f64, kappa: f64, bounds: [f64; 2]) -> Range {
        let (mut both, mut chance) = (0.0, 0.0);
        // The dry at the lowest and the highest the wet's correlation may be, and what it would stray by.
        let mut dry = [0.0; 2];
        for band in 0..self.map.len() {
            let mut across = [0.0; 3];
            for (cell, part) in self.map.cells(band) {
                let stokes = self.stokes(spectrum, overlap, cell);
                both += part * stokes.p;
                for (dry, bound) in dry.iter_mut().zip(bounds) {
                    *dry += part * stokes.project(self.directions[cell], bound).0;
                }
                let (_, here) = stokes.project(self.directions[cell], kappa);
                for (sum, here) in across.iter_mut().zip(here) {
                    *sum += part * here;
                }
            }
            // Two of the three dimensions are across, and the one wanted strays as one of them does.
            chance += 0.5 * across.iter().map(|x| x * x).sum::<f64>();
        }
        let stray = DEVIATIONS * chance.sqrt();
        // The nearer the wet may be to the dry's direction the less is known.
        let known = |bound: f64| (1.0 - bound).max(1e-3);
        let most_dry = (dry[0] + stray / known(bounds[0])).min(both);
        let least_dry = dry[1] - stray / known(bounds[1]);
        let ratio = |dry: f64| {
            if dry <= 0.0 {
                f64::INFINITY
            } else {
                db::from_power((both - dry).max(0.0) / dry)
            }
        };
        Range {
            wet_over_dry_db: [ratio(most_dry) - MODEL_DB, ratio(least_dry) + MODEL_DB],
            wet_correlation: bounds,
        }
    }
}
