//! What speaks against any answer: the phone or its recording changed, or the two lines came by different ways.

use super::super::Reader;
use super::super::compare::Compared;
use super::super::evidence::{Coherence, Evidence, Together, Vote};
use super::super::level::Measured;
use crate::line_check::result::Notice;
use crate::line_check::signal::plan::Mode;
use crate::line_check::trust::Unknown;

/// A sound may be off its place by this much, or by this share of a period of the highest frequency that is clear.
pub(super) const LATE_S: f64 = 0.000_004;
pub(super) const LATE_PERIODS: f64 = 0.05;
/// A phone at rest puts a marker (or the clearer one of both equal and both opposite) off its place by no more than this,
/// seconds, over the height of its correlation to the power of 1.5; or by this share of a period of the highest frequency
/// that is clear.
const SWAY_S: f64 = 0.000_001_1;
pub(super) const SWAY_PERIODS: f64 = 0.012;
/// What both equal or both opposite say of lateness counts from here on, seconds.
const LATE_SUM_S: f64 = 0.000_015;
/// From here on something is missing or comes twice, or the phone was put elsewhere, seconds: no hand sways as far.
const CUT_S: f64 = 0.000_1;
/// A vote against counts from so many times what chance gives.
pub(super) const AGAINST: f64 = 6.5;
/// Two lines of one way are at least this much alike, and both of them explain at least this much of their sum.
pub(super) const ALIKE: f64 = 0.83;
const ALIKE_LOWS: f64 = 0.85;
/// The same where both explain more than so much of their sum.
const ALIKE_CLEARLY: f64 = 0.87;
const ADDS_UP: f64 = 0.95;
/// A sum of which both lines' own parts explain less changes, unless it may be as much as the second.
const EXPLAINED: f64 = 0.84;
pub(super) const EXPLAINED_CLEARLY: f64 = 0.92;
/// The late sound of two lines of one way follows at least this well from one to the other, where that of both follows at
/// least so well from both.
const LATE_ALIKE: f64 = 0.9;
const LATE_ADDS_UP: f64 = 0.97;
/// Unless it is known this well (one deviation): where a coder or noise suppression leaves some bands out of the softer
/// line, bands differ.
const LATE_SIGMA: f64 = 0.05;
/// Both equal and both opposite that are at least this much alike, and of which a line's own part explains no more than
/// this, sound as from another place.
const EACH_OTHER: f64 = 0.9;
const ANOTHER_PLACE: f64 = 0.7;
/// Levels that differ by no more than this are equal, dB.
pub(super) const EQUAL_DB: f64 = 0.15;
/// Without a plug pulled 'both' is half of what both alone add up to (natural logarithm of 0.8).
const HALF_LN: f64 = -0.223;
/// Passes are a quarter of a minute apart, and the clocks are known from two seconds: delays are no better than this there,
/// seconds.
pub(super) const PASSES_S: f64 = 0.000_05;

impl Reader {
    /// Whether sounds came when they should.
    pub(super) fn disturbed(&self, evidence: &Evidence, tolerance_s: f64) -> Option<Unknown> {
        let late = |parts: &[Together], least_s: f64| {
            parts
                .iter()
                .filter_map(|part| Some((part.late_s?.abs(), part.height)))
                .filter(|(late_s, height)| *late_s > least_s / height)
                .map(|(late_s, _)| late_s)
                .fold(0.0, f64::max)
        };
        // In the other one of both equal and both opposite the lines may nearly cancel.
        let clearer = evidence.sums.iter().max_by(|a, b| a.height.total_cmp(&b.height));
        let sum_s = clearer.map_or(0.0, |sum| {
            late(core::slice::from_ref(sum), LATE_SUM_S.max(3.0 * tolerance_s))
        });
        let most_s = late(&evidence.markers, tolerance_s).max(sum_s);
        if most_s > CUT_S.max(3.0 * tolerance_s) {
            return Some(Unknown::Cut);
        }
        if most_s > 0.0 {
            return Some(Unknown::Moved);
        }
        // In time and yet not what both lines add up to.
        let is_changing = best_explained(evidence)
            .is_some_and(|most| most.value < EXPLAINED && most.value + most.sigma < EXPLAINED_CLEARLY);
        if is_changing && self.is_swaying(evidence, tolerance_s * SWAY_PERIODS / LATE_PERIODS) {
            return Some(Unknown::Moved);
        }
        let lows_alike = evidence.alike.lows.is_none_or(|lows| lows.value > ALIKE_LOWS);
        let elsewhere = best_explained(evidence).is_some_and(|most| most.most() < ANOTHER_PLACE)
            && evidence
                .each_other
                .is_some_and(|alike| alike.least() > EACH_OTHER);
        if elsewhere && is_changing {
            // What both of them are is the same, so nothing changes all the time.
            return Some(Unknown::Cut);
        }
        (is_changing && lows_alike).then_some(Unknown::Changing)
    }

    /// Whether sounds are off their places by little, and yet by more than they ever are where everything lies still.
    pub(super) fn is_swaying(&self, evidence: &Evidence, tolerance_s: f64) -> bool {
        if self.plan.settings().mode != Mode::Stereo {
            // Passes are too far apart for the clocks to be known as well.
            return false;
        }
        let least_s = SWAY_S.max(tolerance_s);
        let clearer = evidence.sums.iter().max_by(|a, b| a.height.total_cmp(&b.height));
        evidence.markers.iter().chain(clearer).any(|part| {
            part.late_s
                .is_some_and(|late_s| late_s.abs() > least_s / part.height.powf(1.5))
        })
    }

    /// From one mono source: three passes that sound alike.
    pub(super) fn nothing_pulled(
        &self,
        measured: &Measured,
        compared: &Compared,
        tolerance_s: f64,
    ) -> Option<Unknown> {
        let is_mono = matches!(self.plan.settings().mode, Mode::Mono { .. });
        let equal = measured.delay_s.abs() < tolerance_s.max(PASSES_S)
            && compared.chosen.1.gain_db.abs() < 2.0 * EQUAL_DB
            && compared.relation.sign > 0.0;
        (is_mono && equal && measured.sum_gain.is_some_and(|gain| gain < HALF_LN))
            .then_some(Unknown::NothingPulled)
    }
}

/// Two ways to the microphone.
pub(super) fn unlike(evidence: &Evidence) -> Option<Unknown> {
    let alike = evidence.alike;
    let is_explained = best_explained(evidence).is_some_and(|explained| explained.least() > 0.93);
    let lows_unlike = is_explained && alike.lows.is_some_and(|lows| lows.most() < ALIKE_LOWS);
    // What adds up perfectly and is still unlike has no coder to blame.
    let adds_up = best_explained(evidence).is_some_and(|explained| explained.value > ADDS_UP);
    let limit = if adds_up { ALIKE_CLEARLY } else { ALIKE };
    let late = evidence.late;
    let late_unlike = late.sum.is_some_and(|sum| sum.least() > LATE_ADDS_UP)
        && late
            .line
            .is_some_and(|line| line.most() < LATE_ALIKE && line.sigma < LATE_SIGMA);
    (alike.all.is_some_and(|all| all.most() < limit) || lows_unlike || late_unlike)
        .then_some(Unknown::DifferentWays)
}

/// Parts in which both lines sound agree with each other on a delay, and the lines' own parts neither on that nor with
/// their sum: the sound came from elsewhere in between.
pub(super) fn put_elsewhere(
    evidence: &Evidence,
    votes: &[Vote],
    measured_s: f64,
    same_s: f64,
) -> Option<Unknown> {
    let adds_up = best_explained(evidence).is_none_or(|most| most.most() >= EXPLAINED_CLEARLY);
    let clear: Vec<&Vote> = votes
        .iter()
        .filter(|vote| vote.value.abs() >= AGAINST * vote.chance)
        .collect();
    let off_s = |vote: &Vote| (vote.delay_s - measured_s).abs();
    let agree = |a: &Vote, b: &Vote| (a.delay_s - b.delay_s).abs() <= same_s && a.value * b.value > 0.0;
    clear
        .iter()
        .enumerate()
        .find(|(n, a)| !adds_up && off_s(a) > same_s && clear[n + 1..].iter().any(|b| agree(a, b)))
        .map(|(_, a)| {
            if off_s(a) > CUT_S {
                Unknown::Cut
            } else {
                Unknown::Moved
            }
        })
}

/// The sum or difference that both lines' own parts explain best: in the other one they may cancel.
pub(super) fn best_explained(evidence: &Evidence) -> Option<Coherence> {
    evidence
        .sums
        .iter()
        .filter_map(|part| part.explained)
        .max_by(|a, b| a.value.total_cmp(&b.value))
}

pub(super) fn notice_of(why: Unknown) -> Option<Notice> {
    match why {
        Unknown::Moved => Some(Notice::Moved),
        Unknown::Cut => Some(Notice::Cut),
        Unknown::DifferentWays => Some(Notice::DifferentWays),
        Unknown::Changing => Some(Notice::Changing),
        Unknown::NothingPulled => Some(Notice::NothingPulled),
        Unknown::Contradiction => Some(Notice::Contradiction),
        Unknown::Noise | Unknown::Clock | Unknown::Gain | Unknown::OneLine => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn vote(delay_s: f64, value: f64) -> Vote {
        Vote {
            delay_s,
            value,
            at_expected: 0.0,
            chance: 0.01,
        }
    }

    fn explained(value: f64) -> Evidence {
        let sum = Together {
            explained: Some(Coherence { value, sigma: 0.01 }),
            ..Together::default()
        };
        Evidence {
            sums: vec![sum],
            ..Evidence::default()
        }
    }

    #[test]
    fn parts_that_agree_with_each_other_and_not_with_the_lines_own_came_from_elsewhere() {
        let votes = [vote(0.002, 0.3), vote(0.002_01, 0.4)];
        let said = |value: f64, votes: &[Vote], measured_s: f64| {
            put_elsewhere(&explained(value), votes, measured_s, 0.000_06)
        };
        assert_eq!(said(0.6, &votes, 0.0015), Some(Unknown::Cut));
        assert_eq!(said(0.6, &votes, 0.001_92), Some(Unknown::Moved));
        // They agree with the lines' own parts, or these add up; or they don't agree with each other.
        assert_eq!(said(0.6, &votes, 0.002), None);
        assert_eq!(said(0.99, &votes, 0.0015), None);
        assert_eq!(said(0.6, &votes[..1], 0.0015), None);
        assert_eq!(said(0.6, &[votes[0], vote(0.002, -0.4)], 0.0015), None);
        assert_eq!(said(0.6, &[votes[0], vote(0.002, 0.05)], 0.0015), None);
    }

    #[test]
    fn late_sound_that_follows_from_the_lines_and_not_from_line_to_line_came_by_different_ways() {
        let said = |line: f64, sigma: f64, sum: f64| {
            let mut evidence = explained(0.99);
            evidence.late.line = Some(Coherence { value: line, sigma });
            evidence.late.sum = Some(Coherence {
                value: sum,
                sigma: 0.01,
            });
            unlike(&evidence)
        };
        assert_eq!(said(0.7, 0.02, 0.995), Some(Unknown::DifferentWays));
        assert_eq!(said(0.95, 0.02, 0.995), None);
        assert_eq!(said(0.7, 0.08, 0.995), None);
        assert_eq!(said(0.7, 0.02, 0.93), None);
    }
}
