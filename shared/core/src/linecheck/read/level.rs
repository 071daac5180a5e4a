//! Right against left, with what an automatic gain did taken out.

use super::{AHEAD_S, Compared, REACH_S, Reader};
use crate::Complex;
use crate::line::Polarity;
use crate::linecheck::fit::{Fit, fit};
use crate::linecheck::plan::Sound;
use crate::linecheck::ratio::{Point, mix};
use crate::linecheck::response::Response;
use crate::linecheck::result::{Notice, PairFinding, Reading};

/// Below this height of the correlation's peak there's no relation to speak of.
const RELATED: f64 = 0.12;
/// With a peak of the other sign this close, the polarity can't be told.
const RIVAL: f64 = 0.85;
/// Bands that make one correction of the level.
const BANDS: usize = 2;
/// What the markers say differs from the parts by more than this: the gain moved (natural logarithm; 0.7 dB).
const MOVED: f64 = 0.08;
/// The same for less, as long as both parts say it alike: clipping.
const CLIPPED: f64 = 0.03;
/// So many deviations from nothing, what the markers say is no chance.
const SURE: f64 = 3.0;
/// Share of what soft parts lose (to a coder, below noise) by which a level may be wrong: one standard deviation.
const LOST_SHARE: f64 = 0.5;
/// A level is told with confidence as long as its deviation is far below this, dB: 0.5 dB is what is asked of it.
const VAGUE_DB: f64 = 0.8;
/// Points of one way in two lines agree at least this well.
const SAME_WAY: f64 = 0.6;

/// What one marker says in one band: gain of the softer line in it over its gain in its part, by the same of the louder line. A
/// plain ratio: the softer line's gain may come out as anything, even negative, by chance, and a mean of logarithms would make
/// that a louder line.
#[derive(Clone, Copy, Debug)]
struct Correction {
    ln_hz: f64,
    ratio: f64,
}

/// All of them.
#[derive(Clone, Debug, Default)]
struct Corrections {
    bands: Vec<Correction>,
    right_is_soft: bool,
}

impl Corrections {
    /// The mean around a frequency (or over all) as what must be added to `ln(right/left)`, and its variance.
    fn around(&self, ln_hz: Option<f64>) -> Option<(f64, f64)> {
        let (mut weights, mut squares, mut sum) = (0.0, 0.0, 0.0);
        let weight = |correction: &Correction| {
            // An octave away, one counts little.
            ln_hz.map_or(1.0, |ln_hz| {
                let octaves = (correction.ln_hz - ln_hz) / core::f64::consts::LN_2;
                (-octaves * octaves).exp() + 0.02
            })
        };
        for correction in &self.bands {
            let weight = weight(correction);
            weights += weight;
            squares += weight * weight;
            sum += weight * correction.ratio;
        }
        let mean = sum / weights;
        let spread: f64 = self
            .bands
            .iter()
            .map(|correction| weight(correction) * (correction.ratio - mean).powi(2))
            .sum::<f64>()
            / weights;
        // Two neighbours tell nearly the same.
        let variance = 2.0 * spread * squares / (weights * weights);
        (self.bands.len() >= 6 && mean > 0.0 && variance < mean * mean).then(|| {
            let ln = mean.ln();
            (
                if self.right_is_soft { ln } else { -ln },
                variance / (mean * mean),
            )
        })
    }
}

impl Reader<'_> {
    /// Everything about right against left.
    pub(super) fn pair(
        &mut self,
        left_on: usize,
        right_on: usize,
        lines: &[Response; 2],
        length_s: f64,
        compared: Option<&Compared>,
    ) -> PairFinding {
        let nothing = PairFinding {
            polarity: None,
            delay_s: None,
            level_db: None,
            corners_hz: None,
        };
        let Some(compared) = compared else { return nothing };
        let relation = compared.relation;
        if relation.height < RELATED {
            return nothing;
        }
        let mut coherences: Vec<f64> = compared.points.iter().map(|point| point.coherence).collect();
        coherences.sort_by(f64::total_cmp);
        let agreement = coherences.get(coherences.len() / 2).copied().unwrap_or(0.0);
        // Noise makes them disagree as well.
        let clear = points_are_clear(&compared.points);
        if agreement < SAME_WAY && relation.height < 0.5 && clear {
            self.notices.push(Notice::DifferentWays);
        }
        let mut points = compared.points.clone();
        // Each line on a channel of its own comes from a desk.
        let one_way = left_on == right_on;
        let corrections = if one_way {
            self.corrections(left_on, lines, length_s)
        } else {
            Corrections::default()
        };
        let overall = corrections.around(None);
        let heard = if one_way {
            self.gains(left_on, compared)
        } else {
            [Some(0.0); 2]
        };
        let moved = have_moved(heard) || overall.is_some_and(says_so);
        let unknown_variance = match (moved, overall) {
            (false, _) => {
                let most = heard.into_iter().flatten().fold(f64::NEG_INFINITY, f64::max);
                (LOST_SHARE * most.clamp(-1e3, 0.0)).powi(2)
            }
            (true, Some((_, variance))) => {
                self.notices.push(Notice::GainMoved);
                correct(&mut points, &corrections);
                variance
            }
            (true, None) => {
                self.notices.push(Notice::GainUnknown);
                1.0
            }
        };
        let Some(Fit {
            gain_db,
            gain_sigma_db,
            delay_s,
            delay_sigma_s,
            corners_hz,
            ..
        }) = fit(&points)
        else {
            return nothing;
        };
        let to_db = 20.0 / core::f64::consts::LN_10;
        let gain_sigma_db = (gain_sigma_db.powi(2) + to_db * to_db * unknown_variance).sqrt();
        let known = (relation.height / 0.5).min(1.0) * (agreement / 0.9).min(1.0);
        let polarity = (relation.rival < RIVAL || (relation.height > 0.5 && relation.rival < 0.97))
            .then_some(Reading {
                value: if relation.sign < 0.0 {
                    Polarity::Flipped
                } else {
                    Polarity::Normal
                },
                confidence: (1.6 * (1.0 - relation.rival)).max(relation.height).min(1.0)
                    * (relation.height / 0.3).min(1.0),
                sigma: 0.0,
            });
        let clock = if self.notices.contains(&Notice::ClockUnknown) {
            // Parts are more than three seconds apart: 200 ppm are more than half a millisecond.
            0.2
        } else {
            1.0
        };
        PairFinding {
            polarity,
            delay_s: Some(Reading {
                value: relation.delay_s + delay_s,
                confidence: known.max(0.3) * clock * (1.0 - delay_sigma_s / 1e-4).clamp(0.1, 1.0),
                sigma: delay_sigma_s,
            }),
            level_db: Some(Reading {
                value: gain_db,
                confidence: known.max(0.3) * (1.0 - gain_sigma_db / VAGUE_DB).clamp(0.05, 1.0),
                sigma: gain_sigma_db,
            }),
            corners_hz: Some(Reading {
                value: corners_hz,
                confidence: if moved { 0.5 * known } else { 0.9 * known },
                sigma: 0.0,
            }),
        }
    }

    /// What must be added to `ln(right/left)` of the parts, by the markers (or, from a mono source, by both at once).
    fn corrections(&mut self, channel: usize, lines: &[Response; 2], length_s: f64) -> Corrections {
        let cuts = [&lines[0], &lines[1]].map(|response| self.cut(response, -AHEAD_S, REACH_S + length_s));
        let mut found: Vec<(f64, f64, f64)> = Vec::new();
        let mut ln_power = 0.0;
        let markers: Vec<usize> = (0..self.plan.pieces.len())
            .filter(|&n| self.inside[n] && self.plan.pieces[n].sound == Sound::Marker)
            .collect();
        for pair in markers.chunks_exact(2) {
            let (first, second) = (self.plan.pieces[pair[0]], self.plan.pieces[pair[1]]);
            let pitch_s = (second.start_s - first.start_s) * (1.0 + self.clock.drift);
            let left_first = first.lines[0] != 0.0;
            if second.lines[usize::from(left_first)] == 0.0 || pitch_s > 1.0 {
                continue;
            }
            let response = self.response(channel, pair[0]);
            let both = self.cut(&response, -AHEAD_S, pitch_s + REACH_S + length_s);
            let (a, b) = if left_first {
                (&cuts[0], &cuts[1])
            } else {
                (&cuts[1], &cuts[0])
            };
            // Only what both lines play while the other one sounds as well: alone, a soft line is turned up.
            let marker = self.plan.marker;
            let share = (second.start_s - first.start_s) / marker.seconds + 0.02;
            let at = |share: f64| marker.low_hz * (marker.high_hz / marker.low_hz).powf(share);
            let (low, high) = (at(share), at(1.0 - share));
            let bands: Vec<(usize, usize)> = self
                .grid
                .bands
                .iter()
                .copied()
                .filter(|&(from, to)| self.grid.hz(from) >= low && self.grid.hz(to) <= high)
                .collect();
            for wide in bands.chunks(BANDS) {
                let band = (wide[0].0, wide[wide.len() - 1].1);
                let late =
                    |k: usize| Complex::from_polar(1.0, -core::f64::consts::TAU * self.grid.hz(k) * pitch_s);
                if let Some(mix) = mix(&both, a, b, late, band) {
                    let (left, right, sign) = if left_first {
                        (mix.alpha, mix.beta, 1.0)
                    } else {
                        (mix.beta, mix.alpha, -1.0)
                    };
                    ln_power += sign * mix.power_ratio.ln();
                    found.push((self.grid.middle_hz(band).ln(), left, right));
                }
            }
        }
        let right_is_soft = ln_power < 0.0;
        let bands = found
            .into_iter()
            .map(|(ln_hz, left, right)| {
                let (soft, loud) = if right_is_soft {
                    (right, left)
                } else {
                    (left, right)
                };
                Correction {
                    ln_hz,
                    ratio: soft / loud,
                }
            })
            .filter(|correction| correction.ratio.is_finite())
            .collect();
        Corrections { bands, right_is_soft }
    }

    /// The gain of both equal and of both opposite against what both alone make of them, natural logarithm; `None` where that
    /// can't be heard.
    fn gains(&mut self, channel: usize, compared: &Compared) -> [Option<f64>; 2] {
        [[1.0, 1.0], [1.0, -1.0]].map(|together| self.gain_of(channel, together, compared).map(f64::ln))
    }

    /// Both equal is the sum of both alone, both opposite the difference; with another gain it's a multiple of it. `None` where
    /// there's no such part, or nothing in it.
    fn gain_of(&mut self, channel: usize, together: [f64; 2], compared: &Compared) -> Option<f64> {
        let piece = self.sweep_on(together)?;
        let response = self.response(channel, piece);
        let cut = self.cut(&response, -AHEAD_S, compared.wide[0].seconds - AHEAD_S);
        let (mut power, mut cross, mut noise) = (0.0, 0.0, 0.0);
        for &(from, to) in &self.grid.bands {
            for k in from..to {
                let sum = compared.wide[0].bins[k] + compared.wide[1].bins[k] * together[1];
                let weight =
                    1.0 / (cut.noise[k] + compared.wide[0].noise[k] + compared.wide[1].noise[k] + 1e-300);
                power += weight * sum.norm_sqr();
                cross += weight * (sum.conj() * cut.bins[k]).re;
                noise += weight * (compared.wide[0].noise[k] + compared.wide[1].noise[k]);
            }
        }
        let clean = power - noise;
        (clean > 4.0 * noise && cross > 0.0).then(|| cross / clean)
    }
}

/// Whether the gain moved between the parts. Where both lines sound each is at half the level: a gain that moves turns them up.
/// A coder that leaves out what is soft, and parts in which the lines cancel, give less. With one of the two parts lost in noise
/// the other has to do, and with neither nobody can say that it didn't.
fn have_moved(heard: [Option<f64>; 2]) -> bool {
    match heard {
        [Some(equal), Some(opposite)] => {
            let (least, most) = (equal.min(opposite), equal.max(opposite));
            (most > MOVED && least > -0.5 * MOVED) || (most > CLIPPED && least > 0.7 * most)
        }
        [Some(one), None] | [None, Some(one)] => one > CLIPPED,
        [None, None] => true,
    }
}

/// Whether the markers say clearly that it did: with lines that cancel in one of those parts, only they can.
fn says_so((ln_gain, variance): (f64, f64)) -> bool {
    ln_gain.abs() > CLIPPED && ln_gain * ln_gain > SURE * SURE * variance
}

/// Adds to each point what the corrections around it say; those beyond them say nothing of the level.
fn correct(points: &mut [Point], corrections: &Corrections) {
    let edges = corrections
        .bands
        .iter()
        .map(|correction| correction.ln_hz)
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| {
            (low.min(x), high.max(x))
        });
    for point in points {
        let ln_hz = point.hz.ln();
        point.level_variance = 1e3;
        if (edges.0 - 0.1..=edges.1 + 0.1).contains(&ln_hz)
            && let Some((ln_gain, variance)) = corrections.around(Some(ln_hz))
        {
            point.ln_gain += ln_gain;
            point.level_variance = 0.02 + variance;
        }
    }
}

/// Whether half of the points stand far enough out of the noise to tell whether two lines agree.
fn points_are_clear(points: &[Point]) -> bool {
    let mut variances: Vec<f64> = points.iter().map(|point| point.variance).collect();
    variances.sort_by(f64::total_cmp);
    variances
        .get(variances.len() / 2)
        .is_some_and(|&middle| middle < 0.01)
}
