//! Debounces the board's words, which change only after standing long enough to be read.

use crate::score::balance::Balance;
use crate::score::board::{FEEDS, Row};
use crate::score::outcome::Outcome;
use crate::score::verdict::Verdict;

/// A new word replaces the shown one once it has stood for this long, seconds.
pub const STANDS_S: f64 = 1.0;
/// Outcomes count towards a row's worst only after this much of a phrase, seconds.
const SETTLED_S: f64 = 2.0;

/// The words of a row.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Words {
    verdict: Option<Verdict<Outcome>>,
    balance: Option<Verdict<Balance>>,
}

/// One row: the words shown, the next candidates and how long these have stood.
#[derive(Clone, Copy, Debug)]
struct Said {
    words: Words,
    next: Words,
    stood_s: f64,
    worst: Option<Outcome>,
}

/// Holds new words back until they have stood for [`STANDS_S`].
#[derive(Clone, Debug)]
pub struct Calm {
    rows: [Said; FEEDS],
    phrase: u64,
}

impl Default for Calm {
    fn default() -> Self {
        let nothing = Words {
            verdict: None,
            balance: None,
        };
        Self {
            rows: [Said {
                words: nothing,
                next: nothing,
                stood_s: 0.0,
                worst: None,
            }; FEEDS],
            phrase: 0,
        }
    }
}

/// What has happened since the last [`Calm::settle`].
#[derive(Clone, Copy, Debug)]
pub struct Since {
    /// Time passed, seconds.
    pub elapsed_s: f64,
    /// The player changed a setting: new words are shown at once.
    pub set_anew: bool,
    /// The player has stopped: the present words are final.
    pub stopped: bool,
    /// Number of the phrase, and how much of it was heard, seconds.
    pub phrase: (u64, f64),
}

impl Calm {
    /// Replaces the rows' words by those that have stood; figures stay as they are. The first words after none are
    /// shown at once, and so is silence. Returns each row's worst outcome in this phrase where it is worse than the
    /// present one.
    pub fn settle(&mut self, rows: &mut [Row; FEEDS], since: &Since) -> [Option<Outcome>; FEEDS] {
        let (phrase, heard_s) = since.phrase;
        let forget = since.set_anew || phrase != self.phrase;
        self.phrase = phrase;
        let mut worst = [None; FEEDS];
        for ((row, said), worst) in rows.iter_mut().zip(&mut self.rows).zip(&mut worst) {
            let now = Words {
                verdict: row.verdict,
                balance: row.balance,
            };
            said.hear(now, since);
            row.verdict = said.words.verdict;
            row.balance = said.words.balance;
            row.outcome = row.verdict.and_then(Verdict::word);
            if forget || row.verdict.is_none() {
                said.worst = None;
            }
            if heard_s >= SETTLED_S {
                said.worst = said.worst.max(row.outcome);
            }
            *worst = said
                .worst
                .filter(|&worst| row.outcome.is_some_and(|now| worst > now));
        }
        worst
    }
}

impl Said {
    fn hear(&mut self, now: Words, since: &Since) {
        if now != self.next {
            self.next = now;
            self.stood_s = 0.0;
        } else {
            self.stood_s += since.elapsed_s;
        }
        let at_once =
            since.set_anew || since.stopped || self.words.verdict.is_none() || now.verdict.is_none();
        if at_once || self.stood_s >= STANDS_S {
            self.words = now;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::score::board::Board;

    fn rows(outcome: Outcome) -> [Row; FEEDS] {
        Board::empty_rows().map(|row| Row {
            outcome: Some(outcome),
            verdict: Some(Verdict::Plain(outcome)),
            ..row
        })
    }

    fn settled(calm: &mut Calm, outcome: Outcome, since: &Since) -> (Option<Outcome>, Option<Outcome>) {
        let mut rows = rows(outcome);
        let worst = calm.settle(&mut rows, since);
        (rows[3].outcome, worst[3])
    }

    const QUARTER: Since = Since {
        elapsed_s: 0.25,
        set_anew: false,
        stopped: false,
        phrase: (1, 5.0),
    };

    #[test]
    fn a_word_changes_only_when_the_new_one_has_stood_for_a_second() {
        let mut calm = Calm::default();
        assert_eq!(
            settled(&mut calm, Outcome::Holds, &QUARTER).0,
            Some(Outcome::Holds)
        );
        for turn in 0..40 {
            let outcome = if turn % 4 == 3 {
                Outcome::Holds
            } else {
                Outcome::Thins
            };
            assert_eq!(settled(&mut calm, outcome, &QUARTER).0, Some(Outcome::Holds));
        }
        let said: Vec<_> = (0..6)
            .map(|_| settled(&mut calm, Outcome::Thins, &QUARTER).0)
            .collect();
        let (before, after) = (Some(Outcome::Holds), Some(Outcome::Thins));
        assert_eq!(said, [before, before, before, before, after, after]);
    }

    #[test]
    fn what_the_player_sets_is_said_at_once() {
        let mut calm = Calm::default();
        settled(&mut calm, Outcome::Holds, &QUARTER);
        let set = Since {
            set_anew: true,
            elapsed_s: 0.0,
            ..QUARTER
        };
        assert_eq!(
            settled(&mut calm, Outcome::DropsOut, &set),
            (Some(Outcome::DropsOut), None)
        );
    }

    #[test]
    fn the_worst_of_a_phrase_stands_beside_what_is_said_now() {
        let mut calm = Calm::default();
        settled(&mut calm, Outcome::Thins, &QUARTER);
        let later = Since {
            elapsed_s: 2.0,
            ..QUARTER
        };
        settled(&mut calm, Outcome::Holds, &later);
        assert_eq!(
            settled(&mut calm, Outcome::Holds, &later),
            (Some(Outcome::Holds), Some(Outcome::Thins))
        );
        let next = Since {
            phrase: (2, 1.0),
            ..later
        };
        assert_eq!(
            settled(&mut calm, Outcome::Holds, &next),
            (Some(Outcome::Holds), None)
        );
        // Outcomes before [`SETTLED_S`] of the phrase don't count.
        let mut calm = Calm::default();
        settled(&mut calm, Outcome::DropsOut, &next);
        settled(&mut calm, Outcome::Holds, &next);
        settled(&mut calm, Outcome::Holds, &next);
        let settled = settled(&mut calm, Outcome::Holds, &QUARTER);
        assert_eq!(settled, (Some(Outcome::Holds), None));
    }
}
