//! What is told of the lines, and how far it is to be trusted: only what all parts that could say otherwise agree on is
//! sure.

mod against;

use super::compare::Compared;
use super::evidence::{Evidence, Expected, Vote};
use super::level::Measured;
use super::{AHEAD_S, REACH_S, Reader};
use crate::dsp::db;
use crate::line_check::response::Response;
use crate::line_check::response::bands::PartSpectrum;
use crate::line_check::result::{Arrival, Notice, PairFinding};
use crate::line_check::signal::plan::Mode;
use crate::line_check::trust::{Answer, Estimate, Trust, Unknown};
use crate::routing::line::Polarity;
use against::{
    AGAINST, ALIKE, EQUAL_DB, EXPLAINED_CLEARLY, LATE_PERIODS, LATE_S, PASSES_S, SWAY_PERIODS,
    best_explained, notice_of, put_elsewhere, unlike,
};

/// A vote is for the same delay within this, seconds.
const SAME_S: f64 = 0.000_06;
/// A vote for what was read counts from so many times what chance gives.
const FOR: f64 = 4.0;
/// Below this something isn't quite steady, though what is told of it stands.
const STEADY: f64 = 0.95;
const UNSTEADY_S: f64 = 0.000_03;
/// From here on both lines' own parts explain enough of their sum to tell a level: the interval says how well.
const EXPLAINED_LEVEL: f64 = 0.85;
/// A gain that moved turns both equal up against both opposite, or down: their powers then mean nothing for delays below
/// this, seconds.
const GAINED_S: f64 = 0.000_3;
/// The highest peak of the other sign, over this one's, at which the polarity is still sure, and still told.
const RIVAL_SURE: f64 = 0.85;
const RIVAL: f64 = 0.97;
/// Below this height of the correlation's peak there's no relation to speak of.
const RELATED: f64 = 0.12;
/// The widest intervals that are told at all, and as sure: level (dB) and delay (seconds).
const LEVEL_DB: [f64; 2] = [1.5, 0.6];
const DELAY_S: [f64; 2] = [0.001_5, 0.000_1];
/// Of lines that differ by more than the first, the softer one may be under the noise, and the interval is too narrow from
/// the second on: such a level is likely at most, dB.
const FAR_APART_DB: [f64; 2] = [10.0, 0.25];
/// A line this much below the other one is bent twice as much as one that isn't, dB.
const SOFT_DB: f64 = 15.0;
/// A delay is no better than this share of a period of the highest frequency that is within 15 dB of the loudest: a
/// subwoofer's feed.
const PERIODS: f64 = 0.12;
const SUB_HZ: f64 = 250.0;
/// Lines that are this equal, and as loud within [`EQUAL_DB`], sound as if the player mixed both channels to one, seconds.
/// Where noise lets a level be told less well than that, twice its deviation (widened as in [`level`]), up to the second, dB.
const EQUAL_S: f64 = 0.000_003;
const EQUAL_MOST_DB: f64 = 0.5;
/// A level's deviation by its fit is this much less than it is, found by development.
const WIDENED: f64 = 1.6;
/// Both are what they should be within this (natural logarithm; 1.3 dB).
const ADDS_UP_LN: f64 = 0.15;
/// A rate that is off by so much leaves it open which clock was wrong, and with it every delay.
const OTHER_RATE: f64 = 0.09;

/// What the parts say together.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Agreement {
    /// What speaks against any answer.
    against: Option<Unknown>,
    /// Votes for the polarity and delay that were read, and against them.
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

    /// A line that wasn't found in its own part must be missing from the parts of both as well. `softer` is what is said of
    /// it.
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

/// The interval widens with what one line's response leaves unexplained of the other's: suppression and coders bend it,
/// and the softer line the more.
fn level(measured: &Measured, alike: f64, polarity: Option<Trust>) -> Answer<f64> {
    if measured.gain == Some(Notice::GainUnknown) {
        return Answer::Unknown(Unknown::Gain);
    }
    let model_db = 6.0 * (1.0 - alike) * (1.0 + measured.level_db.abs() / SOFT_DB);
    let within =
        2.0 * ((WIDENED * measured.level_sigma_db).powi(2) + 0.02f64.powi(2) + model_db * model_db).sqrt();
    let [far_db, narrow_db] = FAR_APART_DB;
    let sure_db = if measured.level_db.abs() > far_db {
        narrow_db
    } else {
        LEVEL_DB[1]
    };
    match polarity {
        Some(Trust::Sure) if within <= sure_db && measured.gain != Some(Notice::GainUnheard) => {
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
