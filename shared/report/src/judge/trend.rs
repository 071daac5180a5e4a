//! Two rounds of a set: what got better and what got worse.

use core::cmp::Ordering;

use sumproof_core::score::outcome::Outcome;
use sumproof_core::session::part::Unlike;

use crate::judge::judged::Judged;

/// One preset in both rounds, judged through the same view.
#[derive(Clone, Debug)]
pub struct Pair<'a> {
    /// The earlier round.
    pub before: Judged<'a>,
    /// The later round.
    pub after: Judged<'a>,
    /// Why the two can't be of the same part; empty where they can.
    pub unlike: Vec<Unlike>,
}

/// Two rounds of a set.
#[derive(Clone, Debug)]
pub struct Trend<'a> {
    /// Presets in both rounds, in the order of the report.
    pub pairs: Vec<Pair<'a>>,
    /// Names of presets in the first round only.
    pub gone: Vec<String>,
    /// Names of presets in the second round only.
    pub new: Vec<String>,
}

/// Change of a preset between the rounds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Change {
    /// It got worse.
    Worse,
    /// It got better.
    Better,
    /// Its outcomes are the same.
    Same,
    /// It isn't the same part, or one of the two has no reading.
    Untold,
}

impl Pair<'_> {
    /// Judged by the worst of the feeds that decide, then by how many feeds drop out and thin.
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
    /// Number of pairs with that change.
    #[must_use]
    pub fn count(&self, change: Change) -> usize {
        self.pairs.iter().filter(|pair| pair.change() == change).count()
    }

    /// Sorts the pairs: those that got worse first, then those that got better; within each the worst first.
    pub fn sort(&mut self) {
        self.pairs.sort_by(|a, b| {
            a.change()
                .cmp(&b.change())
                .then_with(|| a.after.worse_than(&b.after))
        });
    }
}
