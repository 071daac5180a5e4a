//! Two rounds of a set: what got better and what got worse.

use core::cmp::Ordering;

use sumproof_core::score::outcome::Outcome;
use sumproof_core::session::part::Unlike;

use crate::judge::judged::Judged;

/// One preset in both rounds, judged through the same view.
#[derive(Clone, Debug)]
pub struct Pair<'a> {
    /// As it was.
    pub before: Judged<'a>,
    /// As it is.
    pub after: Judged<'a>,
    /// Why the two can't be of one part; empty where they can.
    pub unlike: Vec<Unlike>,
}

/// Two rounds of a set.
#[derive(Clone, Debug)]
pub struct Trend<'a> {
    /// What is in both, in the order it is to be told.
    pub pairs: Vec<Pair<'a>>,
    /// Names of what is in the first round only.
    pub gone: Vec<String>,
    /// Names of what is in the second round only.
    pub new: Vec<String>,
}

/// What became of a preset.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Change {
    /// It fares worse somewhere, and nowhere better by as much.
    Worse,
    /// It fares better.
    Better,
    /// It fares as it did.
    Same,
    /// It isn't the same part, or one of both has no reading.
    Untold,
}

impl Pair<'_> {
    /// By the worst of the feeds that decide, then by how many feeds drop out and thin.
    #[must_use]
    pub fn change(&self) -> Change {
        let rank = |judged: &Judged<'_>| {
            judged.outcome().map(|outcome| {
                (
                    outcome,
                    judged.count(Outcome::DropsOut),
                    judged.count(Outcome::Thins),
                )
            })
        };
        match rank(&self.before).zip(rank(&self.after)) {
            Some((before, after)) if self.unlike.is_empty() => match after.cmp(&before) {
                Ordering::Greater => Change::Worse,
                Ordering::Less => Change::Better,
                Ordering::Equal => Change::Same,
            },
            _ => Change::Untold,
        }
    }
}

impl Trend<'_> {
    /// How many of the pairs changed that way.
    #[must_use]
    pub fn count(&self, change: Change) -> usize {
        self.pairs.iter().filter(|pair| pair.change() == change).count()
    }

    /// What got worse first, then what got better; within each the worst first.
    pub fn sort(&mut self) {
        self.pairs.sort_by(|a, b| {
            a.change()
                .cmp(&b.change())
                .then_with(|| a.after.worse_than(&b.after))
        });
    }
}
