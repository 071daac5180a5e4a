//! Right against left, with what an automatic gain did taken out.

use super::together::Corrections;
use super::{AHEAD_S, Compared, Reader};
use crate::line_check::fit::fitted::{Fit, fit};
use crate::line_check::fit::point::Point;
use crate::line_check::response::Response;
use crate::line_check::result::Notice;

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
/// Variance of a point of whose level nothing is known.
pub(super) const NO_LEVEL: f64 = 1e3;

/// What was measured of right against left, whatever it's worth.
#[derive(Clone, Copy, Debug)]
pub(super) struct Measured {
    pub delay_s: f64,
    pub delay_sigma_s: f64,
    pub level_db: f64,
    pub level_sigma_db: f64,
    pub corners_hz: [f64; 2],
    /// What is to be said of the recorder's gain.
    pub gain: Option<Notice>,
    /// Both equal against the sum of both alone, natural logarithm, where it can be heard.
    pub sum_gain: Option<f64>,
}

impl Reader {
    /// Everything about right against left, with what an automatic gain did taken out.
    pub(super) fn measured(
        &mut self,
        [left_on, right_on]: [usize; 2],
        lines: &[Response; 2],
        length_s: f64,
        compared: &mut Compared,
    ) -> Option<Measured> {
        let relation = compared.relation;
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
        let fitted = fitted?;
        // With a gain that didn't move, the parts one after the other and those at once each say the level.
        let at_once = overall.filter(|_| !moved);
        let (level_db, level_sigma_db) = level_of(&fitted, unknown_variance, at_once);
        Some(Measured {
            delay_s: relation.delay_s + fitted.delay_s,
            delay_sigma_s: fitted.delay_sigma_s,
            level_db,
            level_sigma_db,
            corners_hz: fitted.corners_hz,
            gain: notice,
            sum_gain: heard[0],
        })
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

/// A fitted level and its deviation, dB, with what is unknown besides (a variance of natural logarithms), and with what the parts in which
/// both lines sound say of it (the correction and its variance).
fn level_of(fitted: &Fit, unknown_variance: f64, at_once: Option<(f64, f64)>) -> (f64, f64) {
    let to_db = 20.0 / core::f64::consts::LN_10;
    let mut gain_db = fitted.gain_db;
    let mut variance = (fitted.gain_sigma_db / to_db).powi(2) + unknown_variance;
    if let Some((ln_gain, at_once)) = at_once {
        let share = variance / (variance + at_once);
        gain_db += to_db * share * ln_gain;
        variance = share * at_once;
    }
    (gain_db, to_db * variance.sqrt())
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
