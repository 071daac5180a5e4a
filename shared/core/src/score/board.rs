//! All feeds at once: the board.

use crate::routing::feed::{FeedId, Side};
use crate::routing::response::FeedResponse;
use crate::score::balance::Balance;
use crate::score::outcome::Outcome;
use crate::score::rig::Rig;
use crate::score::scorer::{FeedScore, PartResponses, Scorer};
use crate::score::verdict::Verdict;
use crate::split::Split;

/// How many feeds there are.
pub const FEEDS: usize = FeedId::ALL.len();

/// One row of the board.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Row {
    /// Which feed.
    pub id: FeedId,
    /// For a feed with a fault: the line on which the fault is worse.
    pub worse: Option<Side>,
    /// The figures; `None` when there's too little sound.
    pub score: Option<FeedScore>,
    /// The outcome, plain or likely; `None` when it can't be told or there's too little sound.
    pub outcome: Option<Outcome>,
    /// The outcome with its certainty; `None` when there's too little sound.
    pub verdict: Option<Verdict<Outcome>>,
    /// How much wetter or drier the feed is; `None` where there's too little sound, no wet, or no separate dry.
    pub balance: Option<Verdict<Balance>>,
}

impl Row {
    /// A row with nothing known yet.
    #[must_use]
    pub fn empty(id: FeedId) -> Self {
        Self {
            id,
            worse: None,
            score: None,
            outcome: None,
            verdict: None,
            balance: None,
        }
    }

    /// The outcome with its certainty; an outcome for which no interval was judged is plain. `None` without a reading.
    #[must_use]
    pub fn judged(&self) -> Option<Verdict<Outcome>> {
        self.verdict.or(self.outcome.map(Verdict::Plain))
    }

    /// Sort key by severity, the worst last; `None` without a reading. A likely outcome whose alternative is worse
    /// ranks above the same outcome given plainly, and 'can't tell' ranks above everything that holds: a set of rows
    /// holds only if every row plainly does.
    ///
    /// ```
    /// use sumproof_core::routing::feed::FeedId;
    /// use sumproof_core::score::{board::Row, outcome::Outcome, verdict::Verdict};
    ///
    /// let row = |verdict| Row { verdict: Some(verdict), ..Row::empty(FeedId::MonoWedge) };
    /// let likely = Verdict::Likely { word: Outcome::Holds, other: Outcome::Thins };
    /// assert!(row(likely).severity() > row(Verdict::Plain(Outcome::Holds)).severity());
    /// assert!(row(Verdict::CannotTell).severity() > row(likely).severity());
    /// assert!(row(Verdict::Plain(Outcome::Thins)).severity() > row(Verdict::CannotTell).severity());
    /// ```
    #[must_use]
    pub fn severity(&self) -> Option<u8> {
        let of = |outcome: Outcome| 4 * outcome as u8;
        Some(match self.judged()? {
            Verdict::Plain(word) => of(word),
            Verdict::Likely { word, other } if other > word => of(word) + 1,
            Verdict::Likely { word, .. } => of(word) - 1,
            Verdict::CannotTell => of(Outcome::Holds) + 2,
        })
    }
}

/// The responses of all feeds on one grid, for dry and wet.
#[derive(Clone, Debug)]
pub struct Board {
    scorer: Scorer,
    rig: Rig,
    /// The responses for each different delay.
    sets: Vec<ResponseSet>,
    /// Index of the set for the dry, the wet and the total.
    parts: [usize; 3],
}

/// The responses of a feed, its fault on the given side, to the dry, the wet and the total.
fn responses(sets: &[ResponseSet], parts: [usize; 3], id: FeedId, faulty: Side) -> PartResponses<'_> {
    let number = usize::from(faulty == Side::Right);
    let index = FeedId::ALL.iter().position(|&other| other == id).unwrap_or(0);
    let [dry, wet, total] = parts.map(|part| &sets[part].responses[index][number]);
    PartResponses { dry, wet, total }
}

/// All feeds' responses, for spectra that keep one delay apart.
#[derive(Clone, Debug)]
struct ResponseSet {
    delay_s: f64,
    /// Per feed and faulty side; feeds without a fault use the first.
    responses: Vec<[FeedResponse; 2]>,
}

impl Board {
    /// Creates a board for spectra on the scorer's grid whose dry, wet and total keep these delays apart
    /// ([`Split::delays_s`]; all 0 for FFT bins).
    #[must_use]
    pub fn new(scorer: Scorer, rig: Rig, delays_s: [f64; 3]) -> Self {
        let mut sets: Vec<ResponseSet> = Vec::new();
        let parts = delays_s.map(|delay_s| {
            sets.iter()
                .position(|set| set.delay_s == delay_s)
                .unwrap_or_else(|| {
                    let responses = FeedId::ALL
                        .iter()
                        .map(|&id| {
                            Side::BOTH
                                .map(|side| FeedResponse::new(&rig.feed(id, side), scorer.grid(), delay_s))
                        })
                        .collect();
                    sets.push(ResponseSet { delay_s, responses });
                    sets.len() - 1
                })
        });
        Self {
            scorer,
            rig,
            sets,
            parts,
        }
    }

    /// The scorer in use.
    #[must_use]
    pub fn scorer(&self) -> &Scorer {
        &self.scorer
    }

    /// Sets the lowest frequency of broadband figures ([`Scorer::set_lowest_hz`]).
    pub fn set_lowest_hz(&mut self, lowest_hz: f64) {
        self.scorer.set_lowest_hz(lowest_hz);
    }

    /// The rig in use.
    #[must_use]
    pub fn rig(&self) -> &Rig {
        &self.rig
    }

    /// Changes the rig and recomputes what differs. Does not allocate.
    pub fn set_rig(&mut self, rig: &Rig) {
        if *rig == self.rig {
            return;
        }
        for (index, &id) in FeedId::ALL.iter().enumerate() {
            for (number, side) in Side::BOTH.into_iter().enumerate() {
                let feed = rig.feed(id, side);
                if feed == self.rig.feed(id, side) {
                    continue;
                }
                for set in &mut self.sets {
                    set.responses[index][number].set(&feed, self.scorer.grid(), set.delay_s);
                }
            }
        }
        self.rig = *rig;
    }

    /// The sum difference of a feed, its fault on the given side, per 1/24-octave band ([`Scorer::curves`]).
    ///
    /// # Panics
    /// If the split isn't on the scorer's grid, or the slices are shorter than [`Scorer::twenty_fourths`].
    pub fn curves(&mut self, id: FeedId, faulty: Side, split: &Split, out: [&mut [f32]; 3]) {
        let responses = responses(&self.sets, self.parts, id, faulty);
        self.scorer.curves(&responses, split, out);
    }

    /// Scores every feed of a sound. `rows` holds the rows shown so far (for hysteresis) and is overwritten. Does not
    /// allocate.
    ///
    /// # Panics
    /// If the split isn't on the scorer's grid.
    pub fn score(&mut self, split: &Split, rows: &mut [Row; FEEDS]) {
        let loudness = self.scorer.loudness(split);
        for (row, &id) in rows.iter_mut().zip(&FeedId::ALL) {
            let before = (row.id == id).then_some(*row);
            *row = self.row(id, split, loudness, before.as_ref());
        }
    }

    fn row(&mut self, id: FeedId, split: &Split, loudness: Option<f64>, before: Option<&Row>) -> Row {
        let mut score = |side| {
            let responses = responses(&self.sets, self.parts, id, side);
            loudness.map(|loudness| self.scorer.score_heard(&responses, split, loudness))
        };
        let limits = &self.rig.limits;
        let (worse, score) = if id.has_fault() {
            let (left, right) = (score(Side::Left), score(Side::Right));
            match (left, right) {
                (Some(l), Some(r)) if r.is_worse_than(&l, limits) => (Some(Side::Right), right),
                (Some(_), _) => (Some(Side::Left), left),
                _ => (None, None),
            }
        } else {
            (None, score(Side::Left))
        };
        let verdict = score.map(|score| score.outcome(limits, before.and_then(|row| row.verdict)));
        Row {
            id,
            worse,
            score,
            outcome: verdict.and_then(Verdict::word),
            verdict,
            balance: score.and_then(|score| score.judged_balance(limits, before.and_then(|row| row.balance))),
        }
    }

    /// Rows with nothing known yet.
    #[must_use]
    pub fn empty_rows() -> [Row; FEEDS] {
        FeedId::ALL.map(Row::empty)
    }
}
