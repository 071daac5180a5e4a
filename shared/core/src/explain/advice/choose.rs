//! Which advice is worth giving.

use super::{Action, Advice, Part, Quantity, applied};
use crate::explain::diagnosis::{Cause, Diagnosis, Evidence};
use crate::routing::feed::{FeedId, Side};
use crate::routing::line::Polarity;
use crate::routing::response::FeedResponse;
use crate::score::balance::Balance;
use crate::score::board::{FEEDS, Row};
use crate::score::outcome::Outcome;
use crate::score::rig::Rig;
use crate::score::scorer::{FeedScore, PartResponses, Scorer};
use crate::score::verdict::Verdict;
use crate::spectrum::grid::Grid;
use crate::split::Split;
use crate::split::interval::Interval;

/// Most pieces of advice given.
pub const MOST: usize = 3;
/// Least gain of a piece that changes no outcome, dB.
const WORTH_DB: f64 = 1.0;
/// An 'after' must be better by more than this, dB.
const BETTER_DB: f64 = 0.1;
/// Lines that differ by no more than this are equally good, dB.
const ALIKE_DB: f64 = 1.0;
/// Largest change of the wet's level that is advised, dB.
const MOST_WET_DB: f64 = 12.0;

/// What advice is given about.
#[derive(Clone, Copy, Debug)]
pub struct Situation<'a> {
    /// Dry, wet and total.
    pub split: &'a Split,
    /// Their grid.
    pub grid: &'a Grid,
    /// The scores of the rig's feeds.
    pub rows: &'a [Row; FEEDS],
    /// The rig.
    pub rig: &'a Rig,
    /// The diagnosis, if there is one.
    pub diagnosis: Option<&'a Diagnosis>,
}

/// The line that is better alone: by its outcome, else by more than 1 dB of dry; `None` where both are equally good.
#[must_use]
pub fn better_line(rows: &[Row; FEEDS]) -> Option<Side> {
    let [left, right] = [FeedId::LeftLineOnly, FeedId::RightLineOnly].map(|id| &rows[id as usize]);
    let (one, other) = (left.outcome?, right.outcome?);
    if one != other {
        return Some(if one < other { Side::Left } else { Side::Right });
    }
    let [one, other] = [left, right].map(|row| row.score.map_or(0.0, |score| dry_db(&score).likely));
    if one > other + ALIKE_DB {
        Some(Side::Left)
    } else if other > one + ALIKE_DB {
        Some(Side::Right)
    } else {
        None
    }
}

fn dry_db(score: &FeedScore) -> Interval {
    score.evidence().dry_db
}

/// All advice for a sound, changes of the preset first. Allocates.
///
/// # Panics
/// If the split isn't on that grid.
#[must_use]
pub fn advise(situation: &Situation<'_>) -> Vec<Advice> {
    let wedge = &situation.rows[FeedId::MonoWedge as usize];
    let (Some(score), Some(diagnosis)) = (wedge.score, situation.diagnosis) else {
        return Vec::new();
    };
    if diagnosis.has_any(&[Cause::NotEnoughSound, Cause::SilentChannel]) {
        return Vec::new();
    }
    let mut choice = Choice {
        situation,
        word: wedge.outcome,
        score,
        advice: Vec::new(),
    };
    choice.line_back();
    choice.direct_sound(diagnosis);
    choice.effect(diagnosis);
    choice.one_line(diagnosis);
    choice.lines();
    choice.advice.truncate(MOST);
    choice.advice
}

/// Collects the advice.
struct Choice<'a> {
    situation: &'a Situation<'a>,
    /// The wedge's outcome as it is.
    word: Option<Outcome>,
    score: FeedScore,
    advice: Vec<Advice>,
}

impl Choice<'_> {
    /// Adds a piece of advice if it's worth it. The quantity is better the higher it is; `words` are the outcomes
    /// before and after.
    fn give(
        &mut self,
        action: Action,
        quantity: Quantity,
        [before, after]: [Interval; 2],
        words: [Option<Outcome>; 2],
    ) {
        let [before_db, after_db] = [before.likely, after.likely];
        let gain_db = after_db - before_db;
        let better_word = matches!(words, [Some(before), Some(after)] if after < before);
        let better = gain_db > BETTER_DB || gain_db.is_nan() && better_word;
        if better && (gain_db >= WORTH_DB || better_word) {
            self.advice.push(Advice {
                action,
                quantity,
                before_db,
                after_db,
                before_ends_db: [before.low, before.high],
                after_ends_db: [after.low, after.high],
            });
        }
    }

    /// The wedge's score and outcome after an action.
    fn after(&self, action: &Action) -> Option<(FeedScore, Option<Outcome>)> {
        let split = applied(self.situation.split, action);
        let rig = self.situation.rig;
        let feed = rig.feed(FeedId::MonoWedge, Side::Left);
        let [dry, wet, total] = split
            .delays_s()
            .map(|delay_s| FeedResponse::new(&feed, self.situation.grid, delay_s));
        let responses = PartResponses {
            dry: &dry,
            wet: &wet,
            total: &total,
        };
        let score = Scorer::new(self.situation.grid.clone(), 0.0).score(&responses, &split)?;
        Some((score, score.outcome(&rig.limits, None).word()))
    }

    /// Adds an action that changes the preset, judged by the dry in the wedge.
    fn change_preset(&mut self, action: Action) {
        if let Some((after, word)) = self.after(&action) {
            let part = if after.dry.is_some() {
                Part::Dry
            } else {
                Part::Total
            };
            let figures = [dry_db(&self.score), dry_db(&after)];
            self.give(action, Quantity::Wedge(part), figures, [self.word, word]);
        }
    }

    /// Advice for lines that are set to arrive flipped.
    fn line_back(&mut self) {
        let lines = &self.situation.rig.lines;
        let flipped = lines.left.polarity != lines.right.polarity;
        if flipped {
            let straight = self.row(FeedId::WedgeLineFlipped);
            self.faultless(Action::FlipLineBack, straight);
        }
    }

    /// Adds an action that turns the wedge into the row `better`.
    fn faultless(&mut self, action: Action, better: Row) {
        if let Some(score) = better.score {
            let figures = [dry_db(&self.score), dry_db(&score)];
            self.give(
                action,
                Quantity::Wedge(Part::Dry),
                figures,
                [self.word, better.outcome],
            );
        }
    }

    fn row(&self, id: FeedId) -> Row {
        self.situation.rows[id as usize]
    }

    /// Advice for a flipped or late channel.
    fn direct_sound(&mut self, diagnosis: &Diagnosis) {
        let late = diagnosis.get(Cause::LateChannel).map(|finding| finding.evidence);
        let late = match late {
            Some(Evidence::Late { side, delay_s, .. }) => Some((side, delay_s)),
            _ => None,
        };
        let flipped = diagnosis.get(Cause::FlippedChannel).is_some();
        match (flipped, late) {
            (true, Some((late, delay_s))) => self.change_preset(Action::FlipAndRemoveDelay { late, delay_s }),
            (true, None) => self.change_preset(Action::FlipChannel),
            (false, Some((late, delay_s))) => self.change_preset(Action::RemoveDelay { late, delay_s }),
            (false, None) => {}
        }
    }

    /// Advice for a wet that is gone, works against itself, or is surely too loud or too soft.
    fn effect(&mut self, diagnosis: &Diagnosis) {
        let balance = self.row(FeedId::MonoWedge).balance;
        let known = self.situation.split.bounds.is_none();
        if diagnosis.has_any(&[Cause::EffectGone, Cause::WetFightsItself]) {
            let (left, right) = self.situation.split.wet.powers();
            let from = if left >= right { Side::Left } else { Side::Right };
            let action = Action::MonoEffect { from };
            // An estimate shows only that the wet is lost; one of its channels in both is fully there in the sum.
            let after_db = if known {
                self.after(&action).and_then(|(score, _)| score.wet_db)
            } else {
                Some(0.0)
            };
            if let (Some(wet), Some(after_db)) = (self.score.wet, after_db) {
                // Its upper end, so that nothing is promised that isn't sure.
                let figures = [wet.high, after_db].map(Interval::measured);
                self.give(action, Quantity::Wedge(Part::Wet), figures, [None; 2]);
            }
            return;
        }
        let dry_stays = self.word.is_some_and(|word| word != Outcome::DropsOut);
        let (Some(shift), Some(Verdict::Plain(Balance::Drier | Balance::Wetter)), true) =
            (self.score.balance_shift_db, balance, dry_stays)
        else {
            return;
        };
        let ends = self.score.balance;
        if shift.abs() <= MOST_WET_DB {
            self.advice.push(Advice {
                action: Action::WetLevel { change_db: -shift },
                quantity: Quantity::WedgeBalance,
                before_db: shift,
                after_db: 0.0,
                before_ends_db: ends.map_or([shift; 2], |ends| [ends.low, ends.high]),
                after_ends_db: [0.0; 2],
            });
        }
    }

    /// Advice to use one line instead of the sum.
    fn one_line(&mut self, diagnosis: &Diagnosis) {
        let better = better_line(self.situation.rows);
        let action = better.map_or(Action::EitherLine, |line| Action::OneLine { line });
        let moves = diagnosis.get(Cause::MovementLost).map(|finding| finding.evidence);
        if let Some(Evidence::Moves(movement)) = moves {
            let figures = [movement.sum_db, movement.channel_db].map(Interval::measured);
            self.give(action, Quantity::WedgeMovement, figures, [None; 2]);
        }
        // Not needed where the preset itself can be put right.
        if !self.advice.is_empty() || self.word == Some(Outcome::Holds) {
            return;
        }
        let alone = self.row(match better {
            Some(Side::Right) => FeedId::RightLineOnly,
            _ => FeedId::LeftLineOnly,
        });
        if let Some(score) = alone.score {
            let part = if score.dry.is_some() {
                Part::Dry
            } else {
                Part::Total
            };
            let figures = [dry_db(&self.score), dry_db(&score)];
            self.give(action, Quantity::Wedge(part), figures, [self.word, alone.outcome]);
        }
    }

    /// Advice against faults of the lines that would worsen the wedge's outcome.
    fn lines(&mut self) {
        let lines = &self.situation.rig.lines;
        if lines.left.polarity == lines.right.polarity && lines.left.polarity == Polarity::Normal {
            self.fault(
                Action::CheckPolarity,
                Quantity::FlippedDry,
                FeedId::WedgeLineFlipped,
            );
        }
        self.fault(Action::SendAlike, Quantity::LateDry, FeedId::WedgeLineLate);
    }

    fn fault(&mut self, action: Action, quantity: Quantity, id: FeedId) {
        let row = self.row(id);
        if let Some(score) = row.score
            && row.outcome > self.word
            && self.word.is_some()
        {
            let figures = [dry_db(&score), dry_db(&self.score)];
            self.give(action, quantity, figures, [row.outcome, self.word]);
        }
    }
}
