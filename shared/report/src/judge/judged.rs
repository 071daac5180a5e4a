//! One preset judged through a view: the common basis of all forms of output, computed once.

use std::cmp::Ordering;

use sumproof_core::dsp::db;
use sumproof_core::explain::advice::{Advice, Situation, advise};
use sumproof_core::explain::diagnosis::Diagnosis;
use sumproof_core::routing::feed::FeedId;
use sumproof_core::score::board::{FEEDS, Row};
use sumproof_core::score::outcome::Outcome;
use sumproof_core::score::rig::Rig;
use sumproof_core::score::verdict::Verdict;
use sumproof_core::session::meter::LOWEST_HZ;
use sumproof_core::session::take::Take;
use sumproof_wording::scores;
use sumproof_wording::{self as wording, Name};

use crate::RUMBLE_DB;
use crate::judge::set::{Entry, Loudness, Shown, View};

/// One feed of one preset.
#[derive(Clone, Debug, PartialEq)]
pub struct FeedRow {
    /// Figures and outcome.
    pub row: Row,
    /// The feed's name.
    pub name: String,
    /// The name people read; for a fault on one line, with the line on which the fault is worse.
    pub label: String,
    /// Change of the total above 40 Hz, dB, where it differs from the full band's by more than [`RUMBLE_DB`].
    pub above_40_hz_db: Option<f64>,
}

/// A preset, judged.
#[derive(Clone, Debug)]
pub struct Judged<'a> {
    /// The analysis.
    pub take: &'a Take,
    /// The file it came from.
    pub file: Option<&'a str>,
    /// Its loudness, if it was measured.
    pub loudness: Option<Loudness>,
    /// The view through which it was judged.
    pub view: &'a View,
    /// The feeds of the view, in its order.
    pub rows: Vec<FeedRow>,
    /// The mono wedge, whether or not it is in the view.
    pub wedge: Row,
    /// One sentence.
    pub verdict: String,
    /// The diagnosis in sentences; empty for a take stored without one.
    pub why: Vec<String>,
    /// The advice; empty in silence.
    pub advice: Vec<Advice>,
    /// The advice in sentences.
    pub what_now: Vec<String>,
}

impl<'a> Judged<'a> {
    /// Judges a preset.
    #[must_use]
    pub fn new(entry: &'a Entry, view: &'a View) -> Self {
        Self {
            file: entry.file.as_deref(),
            loudness: entry.loudness,
            ..Self::of_take(&entry.take, view)
        }
    }

    /// Judges a take that comes from no file.
    #[must_use]
    pub fn of_take(take: &'a Take, view: &'a View) -> Self {
        let [full, above] = take.rows_from(&view.rig, [0.0, LOWEST_HZ]);
        let diagnosis = take.diagnosis.map(|diagnosis| diagnosis.settled(&full));
        let index = |id: FeedId| FeedId::ALL.iter().position(|&other| other == id).unwrap_or(0);
        let rows: Vec<FeedRow> = view
            .feeds
            .iter()
            .map(|shown| match shown {
                Shown::BuiltIn(id) => FeedRow::new(full[index(*id)], &above[index(*id)], id.name()),
                Shown::Described { name, feed } => {
                    let rig = Rig {
                        own: *feed,
                        ..view.rig
                    };
                    let own = index(FeedId::Own);
                    let (full, above) = if rig == view.rig {
                        (full[own], above[own])
                    } else {
                        take.rows_from(&rig, [0.0, LOWEST_HZ])
                            .map(|rows| rows[own])
                            .into()
                    };
                    FeedRow::new(full, &above, name)
                }
            })
            .collect();
        let advice = advice(take, &full, view, diagnosis.as_ref());
        Self {
            take,
            file: None,
            loudness: None,
            view,
            verdict: verdict(&rows),
            wedge: full[index(FeedId::MonoWedge)],
            rows,
            why: diagnosis
                .as_ref()
                .map_or_else(Vec::new, wording::diagnosis::sentences),
            what_now: advice.iter().map(wording::advice::sentence).collect(),
            advice,
        }
    }

    /// The feeds that decide the outcome: see [`View::asked`].
    pub fn deciding(&self) -> impl Iterator<Item = &FeedRow> {
        self.rows
            .iter()
            .filter(|feed| self.view.asked || feed.row.id.is_faultless())
    }

    /// The worst of the feeds that decide ([`Row::severity`]); `None` when there is no reading. For a preset that holds, the
    /// feed with the smallest margin.
    #[must_use]
    pub fn worst(&self) -> Option<&FeedRow> {
        self.deciding()
            .filter(|feed| feed.row.severity().is_some())
            .min_by(|a, b| worse_first(&a.row, &b.row))
    }

    /// The worst outcome of the feeds that decide, plain or likely; `None` when there is no reading, or when all that can be told holds
    /// and one can't be told.
    #[must_use]
    pub fn outcome(&self) -> Option<Outcome> {
        self.worst().and_then(|feed| feed.row.outcome)
    }

    /// Whether the outcome is plain, not the likelier of two.
    #[must_use]
    pub fn is_plain(&self) -> bool {
        self.worst()
            .and_then(|feed| feed.row.judged())
            .is_some_and(Verdict::is_plain)
    }

    /// Whether every feed that can be told holds, but one that decides can't be told.
    #[must_use]
    pub fn is_untold(&self) -> bool {
        self.worst().is_some_and(|feed| feed.row.outcome.is_none())
    }

    /// The outcome as a word that includes how sure it is.
    #[must_use]
    pub fn word(&self) -> String {
        self.worst()
            .map_or_else(|| scores::NO_READING.into(), |feed| scores::word(&feed.row))
    }

    /// The name of the feed that doesn't hold or can't be told; `None` when the preset holds or there is no reading.
    #[must_use]
    pub fn trouble(&self) -> Option<&str> {
        self.worst()
            .filter(|feed| feed.row.outcome != Some(Outcome::Holds))
            .map(|feed| feed.label.as_str())
    }

    /// Number of shown feeds with that outcome.
    #[must_use]
    pub fn count(&self, outcome: Outcome) -> usize {
        self.rows
            .iter()
            .filter(|feed| feed.row.outcome == Some(outcome))
            .count()
    }

    /// Numbers of shown feeds that hold, thin, drop out, and of which it can't be told: `8 / 1 / 3 / 0`.
    #[must_use]
    pub fn counts(&self) -> String {
        let untold = |feed: &&FeedRow| feed.row.score.is_some() && feed.row.outcome.is_none();
        let [holds, thins, out] =
            [Outcome::Holds, Outcome::Thins, Outcome::DropsOut].map(|outcome| self.count(outcome));
        let untold = self.rows.iter().filter(untold).count();
        format!("{holds} / {thins} / {out} / {untold}")
    }

    /// Orders presets, the worst first: by the outcome, then by how many feeds drop out and thin, then by the dry in
    /// the mono wedge, then by name. Those without a reading come last.
    #[must_use]
    pub fn worse_than(&self, other: &Self) -> Ordering {
        let rank = |judged: &Self| {
            (
                judged.worst().and_then(|feed| feed.row.severity()),
                judged.count(Outcome::DropsOut),
                judged.count(Outcome::Thins),
            )
        };
        let dry = |judged: &Self| {
            judged
                .wedge
                .score
                .map_or(f64::INFINITY, |score| score.evidence().dry_db.likely)
        };
        rank(other)
            .cmp(&rank(self))
            .then_with(|| dry(self).total_cmp(&dry(other)))
            .then_with(|| self.take.name.cmp(&other.take.name))
    }
}

fn worse_first(a: &Row, b: &Row) -> Ordering {
    let dry = |row: &Row| {
        row.score
            .map_or(f64::INFINITY, |score| score.evidence().dry_db.likely)
    };
    b.severity()
        .cmp(&a.severity())
        .then_with(|| dry(a).total_cmp(&dry(b)))
}

impl FeedRow {
    fn new(row: Row, above: &Row, name: &str) -> Self {
        let totals = row.score.zip(above.score);
        let limited = totals.and_then(|(full, above)| {
            let (full, limited) = (full.total_db, above.total_db);
            // Both −∞ is no difference.
            (full != limited && (full - limited).abs() > RUMBLE_DB).then_some(limited)
        });
        Self {
            name: name.into(),
            label: scores::label(&row, name),
            row,
            above_40_hz_db: limited,
        }
    }
}

fn verdict(rows: &[FeedRow]) -> String {
    let feeds: Vec<(&Row, &str)> = rows.iter().map(|feed| (&feed.row, feed.label.as_str())).collect();
    wording::verdict::of_feeds(&feeds)
}

fn advice(take: &Take, rows: &[Row; FEEDS], view: &View, diagnosis: Option<&Diagnosis>) -> Vec<Advice> {
    if db::from_power(take.sums.mean_power()) <= db::NO_READING_DBFS {
        return Vec::new();
    }
    let situation = Situation {
        split: &take.split,
        grid: &take.grid(),
        rows,
        rig: &view.rig,
        diagnosis,
    };
    advise(&situation)
}
