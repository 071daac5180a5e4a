//! The lines of the set's table, and their order.

use std::cmp::Ordering;

use sumproof_core::routing::feed::FeedId;
use sumproof_core::score::board::Row;
use sumproof_core::session::set::{Spread, worst};
use sumproof_core::session::take::Pass;

use crate::board::is_shown;
use crate::data::snapshot::{Snapshot, TakeSummary};

/// A column to sort by.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Column {
    /// Playing order.
    #[default]
    Order,
    /// Its name.
    Name,
    /// Outcome of the worst feed without a fault.
    Worst,
    /// Outcome of the mono wedge.
    Wedge,
    /// Outcome of the mono wedge with one line flipped.
    Flipped,
    /// Loudness in stereo.
    Stereo,
    /// Its difference from the set's median, LU.
    StereoOff,
    /// Loudness in the mono wedge.
    WedgeLoudness,
    /// Its difference from the set's median, LU.
    WedgeOff,
}

impl Column {
    /// All columns, from the left.
    pub const ALL: [Self; 9] = [
        Self::Order,
        Self::Name,
        Self::Worst,
        Self::Wedge,
        Self::Flipped,
        Self::Stereo,
        Self::StereoOff,
        Self::WedgeLoudness,
        Self::WedgeOff,
    ];
}

/// One take in the table.
#[derive(Clone, Debug)]
pub struct Line<'a> {
    /// Its index in playing order.
    pub index: usize,
    /// The take.
    pub take: &'a TakeSummary,
    /// Its worst feed without a fault.
    pub worst: Option<&'a Row>,
    /// Loudness in stereo and in the mono wedge, LUFS.
    pub lufs: [Option<f64>; 2],
    /// Their differences from the set's median, LU.
    pub off_lu: [Option<f64>; 2],
}

impl Line<'_> {
    /// The row of a feed.
    pub fn row(&self, id: FeedId) -> Option<&Row> {
        self.take.rows.iter().find(|row| row.id == id)
    }
}

/// Loudness of a take in stereo and in the mono wedge, LUFS; `None` for silence.
pub fn loudness(take: &TakeSummary) -> [Option<f64>; 2] {
    let wedge = take.rows.iter().find(|row| row.id == FeedId::MonoWedge);
    let stereo = Some(take.loudness_lufs).filter(|lufs| lufs.is_finite());
    let level_lu = wedge.and_then(|row| row.score).map(|score| score.level_lu);
    let in_wedge = stereo.zip(level_lu).map(|(lufs, lu)| lufs + lu);
    [stereo, in_wedge.filter(|lufs| lufs.is_finite())]
}

/// Spread of the set's loudness, in stereo and in the mono wedge. Dry and wet passes are not counted.
pub fn middle(takes: &[TakeSummary]) -> Option<[Spread; 2]> {
    let of = |which: usize| {
        let presets = takes.iter().filter(|take| take.pass == Pass::Full);
        Spread::of(presets.filter_map(|take| loudness(take)[which]))
    };
    Some([of(0)?, of(1)?])
}

/// All takes, sorted by a column, falling or rising; equal ones stay in playing order. Unknown values come last.
pub fn sorted(snapshot: &Snapshot, by: Column, falling: bool) -> Vec<Line<'_>> {
    let middle = middle(&snapshot.takes);
    let counts = |row: &&Row| row.id.is_faultless() && is_shown(snapshot, row.id);
    let mut lines: Vec<Line<'_>> = snapshot
        .takes
        .iter()
        .enumerate()
        .map(|(index, take)| {
            let lufs = loudness(take);
            let off = |which: usize| {
                let middle = middle.as_ref().filter(|_| take.pass == Pass::Full)?;
                Some(lufs[which]? - middle[which].median)
            };
            Line {
                index,
                take,
                worst: worst(take.rows.iter().filter(counts)),
                lufs,
                off_lu: [off(0), off(1)],
            }
        })
        .collect();
    lines.sort_by(|a, b| compare(a, b, by, falling).then(a.index.cmp(&b.index)));
    lines
}

fn compare(a: &Line<'_>, b: &Line<'_>, by: Column, falling: bool) -> Ordering {
    let outcome = |line: &Line<'_>, id| line.row(id).and_then(|row| row.outcome);
    let known = |a: Option<f64>, b: Option<f64>| order(a, b, falling, f64::total_cmp);
    match by {
        Column::Order => order(Some(a.index), Some(b.index), falling, usize::cmp),
        Column::Name => {
            let name = |line: &Line<'_>| Some(line.take.name.to_lowercase());
            order(name(a), name(b), falling, String::cmp)
        }
        Column::Worst => {
            let of = |line: &Line<'_>| line.worst.and_then(|row| row.outcome);
            order(of(a), of(b), falling, Ord::cmp)
        }
        Column::Wedge => order(
            outcome(a, FeedId::MonoWedge),
            outcome(b, FeedId::MonoWedge),
            falling,
            Ord::cmp,
        ),
        Column::Flipped => order(
            outcome(a, FeedId::WedgeLineFlipped),
            outcome(b, FeedId::WedgeLineFlipped),
            falling,
            Ord::cmp,
        ),
        Column::Stereo => known(a.lufs[0], b.lufs[0]),
        Column::StereoOff => known(a.off_lu[0], b.off_lu[0]),
        Column::WedgeLoudness => known(a.lufs[1], b.lufs[1]),
        Column::WedgeOff => known(a.off_lu[1], b.off_lu[1]),
    }
}

fn order<T>(a: Option<T>, b: Option<T>, falling: bool, cmp: impl Fn(&T, &T) -> Ordering) -> Ordering {
    match (a, b) {
        (Some(a), Some(b)) if falling => cmp(&b, &a),
        (Some(a), Some(b)) => cmp(&a, &b),
        (a, b) => b.is_some().cmp(&a.is_some()),
    }
}

#[cfg(test)]
mod tests {
    use sumproof_core::score::board::Board;
    use sumproof_core::split::Method;
    use sumproof_core::split::kind::PresetKind;

    use super::*;

    fn take(name: &str, pass: Pass, loudness_lufs: f64) -> TakeSummary {
        TakeSummary {
            name: name.into(),
            pass,
            seconds: 5.0,
            invalid_frames: 0,
            gaps: 0,
            method: Method::Estimated,
            kind: PresetKind::NotSaid,
            wet_over_dry_db: None,
            correlation: None,
            loudness_lufs,
            failed: false,
            rows: Board::empty_rows(),
        }
    }

    #[test]
    fn what_is_unknown_comes_last_either_way() {
        let takes = [
            take("b", Pass::Full, -18.0),
            take("a", Pass::Full, f64::NEG_INFINITY),
            take("C", Pass::Full, -22.0),
        ];
        let snapshot = Snapshot {
            takes: takes.to_vec(),
            ..Snapshot::default()
        };
        let order = |by, falling| -> Vec<usize> {
            sorted(&snapshot, by, falling)
                .iter()
                .map(|line| line.index)
                .collect()
        };
        assert_eq!(order(Column::Order, false), [0, 1, 2]);
        assert_eq!(order(Column::Order, true), [2, 1, 0]);
        assert_eq!(order(Column::Name, false), [1, 0, 2]);
        assert_eq!(order(Column::Stereo, false), [2, 0, 1]);
        assert_eq!(order(Column::Stereo, true), [0, 2, 1]);
        // No outcome is known: playing order.
        assert_eq!(order(Column::Worst, true), [0, 1, 2]);
    }

    #[test]
    fn halves_are_no_part_of_the_middle() {
        let mut takes = vec![
            take("one", Pass::Full, -18.0),
            take("two", Pass::Full, -20.0),
            take("dry", Pass::Dry, -40.0),
        ];
        // The wedge is silent in an empty row, so there is no median.
        assert_eq!(middle(&takes), None);
        takes.clear();
        assert_eq!(middle(&takes), None);
    }
}
