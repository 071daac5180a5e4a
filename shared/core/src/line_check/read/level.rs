//! Right against left, with what an automatic gain did taken out.

use super::together::Corrections;
use super::{AHEAD_S, Compared, Reader};
use crate::line_check::fit::fitted::{Fit, fit};
use crate::line_check::fit::point::Point;
use crate::line_check::response::Response;
use crate::line_check::result::{Estimate, Notice, PairFinding};
use crate::routing::line::Polarity;

/// Below this height of the correlation's peak there's no relation to speak of.
const RELATED: f64 = 0.12;
/// With a peak of the other sign this close, the polarity can't be told.
const RIVAL: f64 = 0.85;
/// Both equal or both opposite are louder than the parts say by more than this: the gain moved (natural logarithm; 0.7 dB).
const MOVED: f64 = 0.08;
/// The same for less, as long as both parts say it alike: clipping.
const CLIPPED: f64 = 0.03;
/// So many deviations from nothing, what the parts of both lines say is no chance.
const SURE: f64 = 3.0;
/// With this much less than the sum of both in all parts of both, a coder left something out (natural logarithm).
const LOST: f64 = 0.05;
/// Share of what soft parts lose (to a coder, below noise) by which a level may be wrong: one standard deviation.
const LOST_SHARE: f64 = 0.5;
/// A level is told with confidence as long as its deviation is far below this, dB: 0.5 dB is what is asked of it.
const VAGUE_DB: f64 = 0.8;
/// Variance of a point of whose level nothing is known.
pub(super) const NO_LEVEL: f64 = 1e3;
/// Points of one way in two lines agree at least this well.
const SAME_WAY: f64 = 0.6;

impl Reader<'_> {
    /// Everything about right against left.
    pub(super) fn pair(
        &mut self,
        left_on: usize,
        right_on: usize,
        lines: &[Response; 2],
        length_s: f64,
        compared: Option<&mut Compared>,
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
        let agreement = middle_coherence(&compared.chosen.0);
        // Noise makes them disagree as well.
        let clear = points_are_clear(&compared.plain.0);
        if middle_coherence(&compared.plain.0) < SAME_WAY && relation.height < 0.5 && clear {
            self.notices.push(Notice::DifferentWays);
        }
        // Each line on a channel of its own comes from a desk.
        let one_way = left_on == right_on;
        let heard = if one_way {
            self.gains(left_on, compared)
        } else {
            [Some(0.0); 2]
        };
        let most = heard.into_iter().flatten().fold(f64::NEG_INFINITY, f64::max);
        // A coder leaves out where the softer line would be expected, not only where it's by chance too soft.
        let (points, apart) = if most < -LOST && most.is_finite() {
            &compared.plain
        } else {
            &compared.chosen
        };
        let corrections = if one_way {
            self.corrections(left_on, lines, length_s, &relation, apart)
        } else {
            Corrections::default()
        };
        let overall = corrections.around(None);
        let notice = gain_notice(heard, overall);
        self.notices.extend(notice);
        let moved = notice.is_some();
        let (fitted, unknown_variance) = match (moved, overall) {
            (false, _) => (Some(*apart), (LOST_SHARE * most.clamp(-1e3, 0.0)).powi(2)),
            (true, Some((_, variance))) => {
                let points = corrected(points, apart, &corrections);
                let fitted = fit(&points);
                compared.drawn = points;
                (fitted, variance)
            }
            (true, None) => (Some(*apart), 1.0),
        };
        let Some(Fit {
            mut gain_db,
            gain_sigma_db,
            delay_s,
            delay_sigma_s,
            corners_hz,
            ..
        }) = fitted
        else {
            return nothing;
        };
        let to_db = 20.0 / core::f64::consts::LN_10;
        let mut variance = (gain_sigma_db / to_db).powi(2) + unknown_variance;
        // With a gain that didn't move, the parts one after the other and those at once each say the level.
        if let (false, Some((ln_gain, at_once))) = (moved, overall) {
            let share = variance / (variance + at_once);
            gain_db += to_db * share * ln_gain;
            variance = share * at_once;
        }
        let gain_sigma_db = to_db * variance.sqrt();
        let known = (relation.height / 0.5).min(1.0) * (agreement / 0.9).min(1.0);
        let polarity = (relation.rival < RIVAL || (relation.height > 0.5 && relation.rival < 0.97))
            .then_some(Estimate {
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
            delay_s: Some(Estimate {
                value: relation.delay_s + delay_s,
                confidence: known.max(0.3) * clock * (1.0 - delay_sigma_s / 1e-4).clamp(0.1, 1.0),
                sigma: delay_sigma_s,
            }),
            level_db: Some(Estimate {
                value: gain_db,
                confidence: known.max(0.3) * (1.0 - gain_sigma_db / VAGUE_DB).clamp(0.05, 1.0),
                sigma: gain_sigma_db,
            }),
            corners_hz: Some(Estimate {
                value: corners_hz,
                confidence: if moved { 0.5 * known } else { 0.9 * known },
                sigma: 0.0,
            }),
        }
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

/// What is to be said of the recorder's gain, by what is heard of both equal and both opposite and by what the parts in which
/// both lines sound say of the level (with its variance). `None`: it stood still.
fn gain_notice(heard: [Option<f64>; 2], at_once: Option<(f64, f64)>) -> Option<Notice> {
    if have_moved(heard) || at_once.is_some_and(says_so) {
        Some(if at_once.is_some() {
            Notice::GainMoved
        } else {
            Notice::GainUnknown
        })
    } else {
        (heard == [None; 2]).then_some(Notice::GainUnheard)
    }
}

/// Whether the gain is heard to have moved between the parts. Where both lines sound each is at half the level: a gain that moves
/// turns them up. A coder that leaves out what is soft, and parts in which the lines cancel, give less. With one of the two parts
/// lost in noise the other has to do.
fn have_moved(heard: [Option<f64>; 2]) -> bool {
    match heard {
        [Some(equal), Some(opposite)] => {
            let (least, most) = (equal.min(opposite), equal.max(opposite));
            (most > MOVED && least > -0.5 * MOVED) || (most > CLIPPED && least > 0.7 * most)
        }
        [Some(one), None] | [None, Some(one)] => one > CLIPPED,
        [None, None] => false,
    }
}

/// Whether the parts in which both lines sound say clearly that it did.
fn says_so((ln_gain, variance): (f64, f64)) -> bool {
    ln_gain.abs() > CLIPPED && ln_gain * ln_gain > SURE * SURE * variance
}

/// The points, each with the level that was fitted and what the corrections around it say; those beyond them say nothing of the
/// level.
fn corrected(points: &[Point], fit: &Fit, corrections: &Corrections) -> Vec<Point> {
    let edges = corrections.edges();
    let mut points = points.to_vec();
    for point in &mut points {
        let ln_hz = point.hz.ln();
        point.level_variance = NO_LEVEL;
        if (edges.0 - 0.1..=edges.1 + 0.1).contains(&ln_hz)
            && let Some((ln_gain, variance)) = corrections.around(Some(ln_hz))
        {
            point.ln_gain = fit.ratio(point.hz).norm().ln() + ln_gain;
            point.level_variance = 0.02 + variance;
        }
    }
    points
}

/// The coherence that half of the points exceed.
fn middle_coherence(points: &[Point]) -> f64 {
    let mut coherences: Vec<f64> = points.iter().map(|point| point.coherence).collect();
    coherences.sort_by(f64::total_cmp);
    coherences.get(coherences.len() / 2).copied().unwrap_or(0.0)
}

/// Whether half of the points stand far enough out of the noise to tell whether two lines agree.
fn points_are_clear(points: &[Point]) -> bool {
    let mut variances: Vec<f64> = points.iter().map(|point| point.variance).collect();
    variances.sort_by(f64::total_cmp);
    variances
        .get(variances.len() / 2)
        .is_some_and(|&middle| middle < 0.01)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_said_of_the_gain_is_what_is_heard_of_it() {
        let still = Some((0.01, 0.02));
        let clear = Some((0.5, 0.001));
        for (heard, at_once, said) in [
            ([Some(0.0), Some(0.01)], still, None),
            ([Some(0.3), Some(0.2)], still, Some(Notice::GainMoved)),
            ([Some(0.3), Some(0.2)], None, Some(Notice::GainUnknown)),
            ([None, Some(0.2)], still, Some(Notice::GainMoved)),
            ([None, Some(0.0)], still, None),
            ([Some(0.0), Some(0.0)], clear, Some(Notice::GainMoved)),
            // Nobody can say that it moved, nor that it didn't.
            ([None, None], still, Some(Notice::GainUnheard)),
            ([None, None], None, Some(Notice::GainUnheard)),
            ([None, None], clear, Some(Notice::GainMoved)),
        ] {
            assert_eq!(gain_notice(heard, at_once), said, "{heard:?} {at_once:?}");
        }
    }
}
