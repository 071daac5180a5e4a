//! What is told of the lines, and how far it is to be trusted: only what all parts that could say otherwise agree on is sure.

use super::compare::Compared;
use super::evidence::{Coherence, Evidence, Expected, Together, Vote};
use super::level::Measured;
use super::{AHEAD_S, REACH_S, Reader};
use crate::dsp::db;
use crate::line_check::response::Response;
use crate::line_check::response::bands::PartSpectrum;
use crate::line_check::result::{Arrival, Notice, PairFinding};
use crate::line_check::signal::plan::Mode;
use crate::line_check::trust::{Answer, Estimate, Trust, Unknown};
use crate::routing::line::Polarity;

/// A sound may be off its place by this much, or by this share of a period of the highest frequency that is clear.
const LATE_S: f64 = 0.000_004;
const LATE_PERIODS: f64 = 0.05;
/// A phone at rest puts a marker (or the clearer one of both equal and both opposite) off its place by no more than this, seconds, over the
/// height of its correlation to the power of 1.5; or by this share of a period of the highest frequency that is clear.
const SWAY_S: f64 = 0.000_001_1;
const SWAY_PERIODS: f64 = 0.012;
/// What both equal or both opposite say of lateness counts from here on, seconds.
const LATE_SUM_S: f64 = 0.000_015;
/// From here on something is missing or comes twice, or the phone was put elsewhere, seconds: no hand sways as far.
const CUT_S: f64 = 0.000_1;
/// A vote is for the same delay within this, seconds.
const SAME_S: f64 = 0.000_06;
/// A vote counts from so many times what chance gives; against, from so many.
const FOR: f64 = 4.0;
const AGAINST: f64 = 6.5;
/// Two lines of one way are at least this much alike, and both of them explain at least this much of their sum.
const ALIKE: f64 = 0.83;
const ALIKE_LOWS: f64 = 0.85;
/// The same where both explain more than so much of their sum.
const ALIKE_CLEARLY: f64 = 0.87;
const ADDS_UP: f64 = 0.95;
/// Below this something isn't quite steady, though what is told of it stands.
const STEADY: f64 = 0.95;
const UNSTEADY_S: f64 = 0.000_03;
const EXPLAINED: f64 = 0.84;
/// What is less, and clearly so, isn't what both lines add up to.
const EXPLAINED_CLEARLY: f64 = 0.92;
/// From here on they explain enough of it to tell a level: the interval says how well.
const EXPLAINED_LEVEL: f64 = 0.85;
/// A gain that moved turns both equal up against both opposite, or down: their powers then mean nothing for delays below this, seconds.
const GAINED_S: f64 = 0.000_3;
/// The highest peak of the other sign, over this one's, at which the polarity is still sure, and still told.
const RIVAL_SURE: f64 = 0.85;
const RIVAL: f64 = 0.97;
/// Below this height of the correlation's peak there's no relation to speak of.
const RELATED: f64 = 0.12;
/// The widest intervals that are told at all, and as sure: level (dB) and delay (seconds).
const LEVEL_DB: [f64; 2] = [1.5, 0.6];
const DELAY_S: [f64; 2] = [0.001_5, 0.000_1];
/// A line this much below the other one is bent twice as much as one that isn't, dB.
const SOFT_DB: f64 = 15.0;
/// A delay is no better than this share of a period of the highest frequency that is within 15 dB of the loudest: a subwoofer's feed.
const PERIODS: f64 = 0.12;
const SUB_HZ: f64 = 250.0;
/// Lines that are this equal sound as if the player mixed both channels to one: seconds and dB. Where noise lets a level be told less well
/// than that, twice its deviation (widened as in [`level`]), up to the second.
const EQUAL_S: f64 = 0.000_003;
const EQUAL_DB: f64 = 0.15;
const EQUAL_MOST_DB: f64 = 0.5;
/// The late sound of two lines of one way follows at least this well from one to the other, where that of both follows at least so well
/// from both.
const LATE_ALIKE: f64 = 0.9;
const LATE_ADDS_UP: f64 = 0.97;
/// Unless it is known this well (one deviation): where a coder or noise suppression leaves some bands out of the softer line, bands differ.
const LATE_SIGMA: f64 = 0.05;
/// Both equal and both opposite that are at least this much alike, and of which a line's own part explains no more than this, sound as
/// from another place.
const EACH_OTHER: f64 = 0.9;
const ANOTHER_PLACE: f64 = 0.7;
/// A level's deviation by its fit is this much less than it is, found by development.
const WIDENED: f64 = 1.6;
/// Without a plug pulled 'both' is half of what both alone add up to (natural logarithm of 0.8).
const HALF_LN: f64 = -0.223;
/// Passes are a quarter of a minute apart, and the clocks are known from two seconds: delays are no better than this there, seconds.
const PASSES_S: f64 = 0.000_05;
/// Both are what they should be within this (natural logarithm; 1.3 dB).
const ADDS_UP_LN: f64 = 0.15;
/// A rate that is off by so much leaves it open which clock was wrong, and with it every delay.
const OTHER_RATE: f64 = 0.09;

/// What the parts say together.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Agreement {
    /// What speaks against any answer.
    against: Option<Unknown>,
    /// Votes for the polarity and delay that were read, against them, and how many there could be.
    agree: usize,
    contradict: usize,
    /// The most by which a vote that agrees differs, seconds.
    spread_s: f64,
    /// The polarity on which all votes agree, whatever the delay.
    sign: Option<f64>,
}

impl Reader {
    /// The answers on both lines; what is to be said besides goes to the notices.
    pub(super) fn pair(
        &mut self,
        on: [usize; 2],
        compared: Option<&Compared>,
        measured: Option<&Measured>,
    ) -> PairFinding {
        let (Some(compared), Some(measured)) = (compared, measured) else {
            return nothing(Unknown::Noise);
        };
        self.notices.extend(measured.gain);
        let expected = Expected {
            delay_s: measured.delay_s,
            right_is_soft: measured.level_db < 0.0,
        };
        if on[0] != on[1] {
            return self.apart(compared, measured);
        }
        let mut evidence = self.evidence(on[0], &compared.wide, expected);
        if measured.gain.is_some() {
            evidence.powers = evidence.powers.filter(|vote| vote.delay_s.abs() >= GAINED_S);
        }
        let highest_hz = compared
            .chosen
            .0
            .iter()
            .map(|point| point.hz)
            .fold(100.0, f64::max);
        let agreement = self.agreement(&evidence, compared, measured, highest_hz);
        if let Some(why) = agreement.against {
            self.notices.extend(notice_of(why));
            return PairFinding {
                polarity: guessed_polarity(why, &agreement),
                ..nothing(why)
            };
        }
        self.told(compared, measured, &evidence, &agreement, highest_hz)
    }

    /// What speaks for and against what was read.
    fn agreement(
        &self,
        evidence: &Evidence,
        compared: &Compared,
        measured: &Measured,
        highest_hz: f64,
    ) -> Agreement {
        let tolerance_s = LATE_S.max(LATE_PERIODS / highest_hz);
        let same_s = SAME_S.max(3.0 * tolerance_s);
        let sign = compared.relation.sign;
        let votes: Vec<Vote> = evidence
            .markers
            .iter()
            .chain(&evidence.sums)
            .filter_map(|part| part.vote)
            .chain(evidence.powers)
            .collect();
        let is_for = |vote: &Vote| {
            let near = (vote.delay_s - measured.delay_s).abs() <= same_s;
            let share = if near { 0.6 } else { 0.85 };
            vote.at_expected * sign >= FOR * vote.chance && vote.at_expected.abs() >= share * vote.value.abs()
        };
        let is_against = |vote: &Vote| {
            let elsewhere = (vote.delay_s - measured.delay_s).abs() > same_s || vote.value * sign < 0.0;
            !is_for(vote) && elsewhere && vote.value.abs() >= AGAINST * vote.chance
        };
        let agree: Vec<&Vote> = votes.iter().filter(|vote| is_for(vote)).collect();
        let contradict = votes.iter().filter(|vote| is_against(vote)).count();
        // Without a delay both lines are told apart by nothing but the level of both, as long as no gain moved.
        let adds_up = votes.is_empty()
            && measured.sum_gain.is_some_and(|gain| gain.abs() < ADDS_UP_LN)
            && best_explained(evidence).is_some_and(|explained| explained.value > EXPLAINED_CLEARLY);
        let spread_s = agree
            .iter()
            .map(|vote| (vote.delay_s - measured.delay_s).abs())
            .fold(0.0, f64::max);
        Agreement {
            against: self
                .disturbed(evidence, tolerance_s)
                .or_else(|| put_elsewhere(evidence, &votes, measured.delay_s, same_s))
                .or_else(|| {
                    // A room sounds otherwise from each place in it.
                    let is_swaying = self.is_swaying(evidence, SWAY_PERIODS / highest_hz);
                    unlike(evidence).map(|why| if is_swaying { Unknown::Moved } else { why })
                })
                .or_else(|| self.nothing_pulled(measured, compared, tolerance_s))
                .or_else(|| (contradict > 0).then_some(Unknown::Contradiction))
                .or_else(|| {
                    (compared.relation.height < RELATED && agree.is_empty()).then_some(Unknown::Noise)
                }),
            agree: agree.len() + usize::from(adds_up),
            contradict,
            spread_s,
            sign: same_sign(&votes),
        }
    }

    /// Whether sounds came when they should.
    fn disturbed(&self, evidence: &Evidence, tolerance_s: f64) -> Option<Unknown> {
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
    fn is_swaying(&self, evidence: &Evidence, tolerance_s: f64) -> bool {
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
    fn nothing_pulled(&self, measured: &Measured, compared: &Compared, tolerance_s: f64) -> Option<Unknown> {
        let is_mono = matches!(self.plan.settings().mode, Mode::Mono { .. });
        let equal = measured.delay_s.abs() < tolerance_s.max(PASSES_S)
            && compared.chosen.1.gain_db.abs() < 2.0 * EQUAL_DB
            && compared.relation.sign > 0.0;
        (is_mono && equal && measured.sum_gain.is_some_and(|gain| gain < HALF_LN))
            .then_some(Unknown::NothingPulled)
    }

    /// The answers where nothing speaks against them.
    fn told(
        &mut self,
        compared: &Compared,
        measured: &Measured,
        evidence: &Evidence,
        agreement: &Agreement,
        highest_hz: f64,
    ) -> PairFinding {
        self.note_unsteady(evidence, highest_hz);
        let relation = compared.relation;
        let wanted = evidence.markers.len().max(1) + usize::from(evidence.powers.is_some());
        let all = agreement.agree >= wanted.min(2) && agreement.agree + 1 >= wanted;
        let explained = best_explained(evidence).map_or(1.0, |explained| explained.value);
        let one_way = evidence
            .alike
            .all
            .is_some_and(|all| all.value > 0.9 || all.value > explained.min(1.0) - 0.06);
        let trust = if all
            && one_way
            && relation.rival < RIVAL_SURE.max(if agreement.agree >= wanted { RIVAL } else { 0.0 })
        {
            Trust::Sure
        } else {
            Trust::Likely
        };
        let polarity = if agreement.agree > 0 && relation.rival < 1.0 {
            known(polarity_of(relation.sign), trust, 0.0)
        } else {
            Answer::Unknown(Unknown::Noise)
        };
        let reach_hz = self.reach_hz(&compared.wide[usize::from(measured.level_db > 0.0)]);
        let delay_s = self.delay(measured, agreement, [highest_hz, reach_hz], polarity.trust());
        let alike = evidence.alike.all.map_or(ALIKE, |all| all.value);
        let explained = best_explained(evidence).map_or(ALIKE, |explained| explained.value);
        let level_db = if explained < EXPLAINED_LEVEL && best_explained(evidence).is_some() {
            Answer::Unknown(Unknown::Changing)
        } else {
            level(measured, alike.min(explained).min(1.0), polarity.trust())
        };
        let moved = measured.gain.is_some();
        let lows = evidence.alike.lows.map_or(0.0, |lows| lows.value);
        let corners_hz = match polarity.trust() {
            Some(Trust::Sure) if !moved && lows > 0.95 => known(measured.corners_hz, Trust::Sure, 0.0),
            Some(_) if level_db.trust().is_some() => known(measured.corners_hz, Trust::Likely, 0.0),
            _ => Answer::Unknown(Unknown::Noise),
        };
        let equal_db = (2.0 * WIDENED * measured.level_sigma_db).clamp(EQUAL_DB, EQUAL_MOST_DB);
        let equal = measured.delay_s.abs() < EQUAL_S.max(0.3 * LATE_PERIODS / highest_hz)
            && measured.level_db.abs() < equal_db
            && relation.sign > 0.0;
        if equal && self.plan.settings().mode == Mode::Stereo {
            self.notices.push(Notice::PerhapsMono);
        }
        PairFinding {
            polarity,
            delay_s,
            level_db,
            corners_hz,
        }
    }

    /// The highest frequency within 15 dB of the loudest band of a line, Hz.
    fn reach_hz(&self, line: &PartSpectrum) -> f64 {
        let least = line.loudest(&self.grid) * db::to_power(-15.0);
        let loud = |band: &&(usize, usize)| line.power(**band) / (band.1 - band.0) as f64 > least;
        let highest = self.grid.bands.iter().rfind(loud).copied();
        highest.map_or(f64::INFINITY, |band| self.grid.middle_hz(band))
    }

    /// What both lines' own parts explain of their sum is less than all of it.
    fn note_unsteady(&mut self, evidence: &Evidence, highest_hz: f64) {
        if self.is_swaying(evidence, SWAY_PERIODS / highest_hz) {
            self.notices.push(Notice::Swayed);
        } else if best_explained(evidence).is_some_and(|most| most.value + most.sigma < STEADY) {
            self.notices.push(Notice::Unsteady);
        }
    }

    fn delay(
        &self,
        measured: &Measured,
        agreement: &Agreement,
        [highest_hz, reach_hz]: [f64; 2],
        polarity: Option<Trust>,
    ) -> Answer<f64> {
        if self.notices.contains(&Notice::ClockUnknown) {
            return Answer::Unknown(Unknown::Clock);
        }
        // The votes are told to a few microseconds only.
        let spread_s = if agreement.spread_s > 0.000_011 {
            agreement.spread_s
        } else {
            0.0
        };
        let mut within_s = (3.0 * measured.delay_sigma_s)
            .max(0.02 / highest_hz)
            .max(0.000_004)
            .max(spread_s);
        if matches!(self.plan.settings().mode, Mode::Mono { .. }) {
            within_s = within_s.max(PASSES_S);
        }
        if reach_hz < SUB_HZ {
            within_s = within_s.max(PERIODS / reach_hz);
        }
        if self.notices.contains(&Notice::Unsteady) || self.notices.contains(&Notice::Swayed) {
            within_s = within_s.max(UNSTEADY_S);
        }
        if self.speed != 1.0 {
            within_s = within_s.max(OTHER_RATE * measured.delay_s.abs());
        }
        match polarity {
            Some(Trust::Sure) if within_s <= DELAY_S[1] => known(measured.delay_s, Trust::Sure, within_s),
            Some(_) if within_s <= DELAY_S[0] || self.speed != 1.0 => {
                known(measured.delay_s, Trust::Likely, within_s)
            }
            _ => Answer::Unknown(Unknown::Noise),
        }
    }

    /// A line that wasn't found in its own part must be missing from the parts of both as well. `softer` is what is said of it.
    pub(super) fn check_absence(
        &mut self,
        channel: usize,
        lines: &[Response; 2],
        loud: usize,
        length_s: f64,
        softer: &mut Arrival,
    ) {
        let wide = [&lines[0], &lines[1]].map(|response| self.cut(response, -AHEAD_S, REACH_S + length_s));
        let expected = Expected {
            delay_s: 0.0,
            right_is_soft: loud == 0,
        };
        let evidence = self.evidence(channel, &wide, expected);
        let clear = |band: &&(usize, usize)| wide[loud].clearness(**band) > 4.0;
        let highest = self.grid.bands.iter().rfind(clear).copied();
        let highest_hz = highest.map_or(100.0, |band| self.grid.middle_hz(band));
        let why = self.disturbed(&evidence, LATE_S.max(LATE_PERIODS / highest_hz));
        self.notices.extend(why.and_then(notice_of));
        if why.is_none() {
            self.note_unsteady(&evidence, highest_hz);
        }
        let is_explained = best_explained(&evidence).is_some_and(|explained| explained.value > ALIKE);
        if let (false, Arrival::No { below_db }) = (is_explained, *softer) {
            *softer = Arrival::Unknown { below_db };
        }
        let seen: Vec<Vote> = evidence
            .markers
            .iter()
            .filter_map(|marker| marker.vote)
            .filter(|vote| vote.value.abs() >= AGAINST * vote.chance)
            .collect();
        let agree = |a: &Vote, b: &Vote| (a.delay_s - b.delay_s).abs() < SAME_S && a.value * b.value > 0.0;
        if let [a, b] = &seen[..]
            && agree(a, b)
            && let Arrival::No { below_db } = *softer
        {
            self.notices.push(Notice::Contradiction);
            *softer = Arrival::Unknown { below_db };
        }
    }

    /// Each line on a channel of its own: a desk.
    fn apart(&self, compared: &Compared, measured: &Measured) -> PairFinding {
        let relation = compared.relation;
        let trust = if relation.height > 0.5 && relation.rival < RIVAL_SURE {
            Trust::Sure
        } else {
            Trust::Likely
        };
        if relation.height < RELATED || relation.rival > RIVAL {
            return nothing(Unknown::Noise);
        }
        let highest_hz = compared
            .chosen
            .0
            .iter()
            .map(|point| point.hz)
            .fold(100.0, f64::max);
        let alone = Agreement {
            against: None,
            agree: 1,
            contradict: 0,
            spread_s: 0.0,
            sign: None,
        };
        PairFinding {
            polarity: known(polarity_of(relation.sign), trust, 0.0),
            delay_s: self.delay(measured, &alone, [highest_hz, f64::INFINITY], Some(trust)),
            level_db: level(measured, 1.0, Some(trust)),
            corners_hz: known(measured.corners_hz, trust, 0.0),
        }
    }
}

/// The sign of all votes that are clear, if they have one.
fn same_sign(votes: &[Vote]) -> Option<f64> {
    let clear: Vec<f64> = votes
        .iter()
        .filter(|vote| vote.value.abs() >= AGAINST * vote.chance)
        .map(|vote| vote.value.signum())
        .collect();
    (clear.len() >= 2 && clear.iter().all(|s| *s == clear[0])).then(|| clear[0])
}

fn known<T>(value: T, trust: Trust, within: f64) -> Answer<T> {
    Answer::Known(Estimate { value, trust, within })
}

fn polarity_of(sign: f64) -> Polarity {
    if sign < 0.0 {
        Polarity::Flipped
    } else {
        Polarity::Normal
    }
}

pub(super) fn nothing(why: Unknown) -> PairFinding {
    PairFinding {
        polarity: Answer::Unknown(why),
        delay_s: Answer::Unknown(why),
        level_db: Answer::Unknown(why),
        corners_hz: Answer::Unknown(why),
    }
}

/// Two ways to the microphone.
fn unlike(evidence: &Evidence) -> Option<Unknown> {
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

/// Parts in which both lines sound agree with each other on a delay, and the lines' own parts neither on that nor with their sum: the sound
/// came from elsewhere in between.
fn put_elsewhere(evidence: &Evidence, votes: &[Vote], measured_s: f64, same_s: f64) -> Option<Unknown> {
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
fn best_explained(evidence: &Evidence) -> Option<Coherence> {
    evidence
        .sums
        .iter()
        .filter_map(|part| part.explained)
        .max_by(|a, b| a.value.total_cmp(&b.value))
}

/// The interval widens with what one line's response leaves unexplained of the other's: suppression and coders bend it, and the softer
/// line the more.
fn level(measured: &Measured, alike: f64, polarity: Option<Trust>) -> Answer<f64> {
    if measured.gain == Some(Notice::GainUnknown) {
        return Answer::Unknown(Unknown::Gain);
    }
    let model_db = 6.0 * (1.0 - alike) * (1.0 + measured.level_db.abs() / SOFT_DB);
    let within =
        2.0 * ((WIDENED * measured.level_sigma_db).powi(2) + 0.02f64.powi(2) + model_db * model_db).sqrt();
    match polarity {
        Some(Trust::Sure) if within <= LEVEL_DB[1] && measured.gain != Some(Notice::GainUnheard) => {
            known(measured.level_db, Trust::Sure, within)
        }
        Some(_) if within <= LEVEL_DB[0] => known(measured.level_db, Trust::Likely, within),
        _ => Answer::Unknown(if measured.gain.is_some() {
            Unknown::Gain
        } else {
            Unknown::Noise
        }),
    }
}

/// What moved in between doesn't move what is told by each part for itself.
fn guessed_polarity(why: Unknown, agreement: &Agreement) -> Answer<Polarity> {
    match (why, agreement.sign) {
        (Unknown::Moved | Unknown::Cut, Some(sign)) => known(polarity_of(sign), Trust::Likely, 0.0),
        _ => Answer::Unknown(why),
    }
}

fn notice_of(why: Unknown) -> Option<Notice> {
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
            put_elsewhere(&explained(value), votes, measured_s, SAME_S)
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
