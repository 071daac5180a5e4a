//! What the feeds add to a diagnosis: an effect that is gone, and whether nothing is wrong.

use super::{Cause, Diagnosis, Evidence, GONE_DB, LATE_S};
use crate::alignment::onset::Attacks;
use crate::explain::direct::Direct;
use crate::routing::feed::FeedId;
use crate::score::board::{FEEDS, Row};
use crate::score::outcome::Outcome;
use crate::score::verdict::Verdict;

/// Feeds without a fault of the lines. Subs count only while they are heard.
const FAULTLESS: [FeedId; 5] = [
    FeedId::StereoHouse,
    FeedId::MonoWedge,
    FeedId::LeftLineOnly,
    FeedId::RightLineOnly,
    FeedId::MonoSubs,
];
/// Subs this far below the wedge are left out, LU.
pub const FAINT_SUBS_LU: f64 = -20.0;

/// With a correlation below this the channels work against each other.
pub(super) const OPPOSED: f64 = -0.3;

/// Figures of the whole sound.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Whole {
    /// Correlation of the channels.
    pub correlation: f64,
    /// The average sum over the mean power of both channels, dB; `None` where they cancel altogether.
    pub sum_difference_db: Option<f64>,
    /// The dry has one direction in the pair.
    pub one_dry: bool,
    /// The attacks show a delay that the rest of the sound does not.
    #[cfg_attr(feature = "serde", serde(default))]
    pub disputed: bool,
}

impl Whole {
    pub(super) fn of(
        correlation: f64,
        left: f64,
        right: f64,
        direct: Option<&Direct>,
        attacks: Option<&Attacks>,
    ) -> Self {
        let late = direct.is_some_and(|direct| direct.delay_s.abs() >= LATE_S);
        let cross = correlation * (left * right).sqrt();
        let ratio = (left + right + 2.0 * cross) / (2.0 * (left + right));
        Self {
            correlation,
            sum_difference_db: (ratio > 0.0).then(|| crate::dsp::db::from_power(ratio)),
            one_dry: direct.is_some_and(|direct| direct.one),
            disputed: !late && attacks.is_some_and(Attacks::shows_delay),
        }
    }
}

/// Whether a feed is loud enough to decide anything.
#[must_use]
pub fn is_heard(rows: &[Row; FEEDS], id: FeedId) -> bool {
    let level = |id: FeedId| rows[id as usize].score.map(|score| score.level_lu);
    match (id, level(id), level(FeedId::MonoWedge)) {
        (FeedId::MonoSubs | FeedId::MonoSubsLineFlipped, Some(subs), Some(wedge)) => {
            // The reference is at least the stereo house's level, or a wedge that cancels would make the subs count as
            // loud.
            let house = level(FeedId::StereoHouse).unwrap_or(wedge);
            subs > wedge.max(house) + FAINT_SUBS_LU
        }
        _ => true,
    }
}

impl Diagnosis {
    /// The diagnosis completed by a board's feeds: an effect that is gone in the wedge, and, where nothing wrong was
    /// found, whether every feed without a fault plainly holds.
    #[must_use]
    pub fn settled(mut self, rows: &[Row; FEEDS]) -> Self {
        self.remove(&[Cause::EffectGone, Cause::NothingWrong, Cause::NothingSeen]);
        let (Some(whole), false) = (
            self.whole,
            self.has_any(&[Cause::NotEnoughSound, Cause::SilentChannel]),
        ) else {
            return self;
        };
        self.effect_gone(rows);
        // A wide wet beside one dry does the dry no harm.
        let harmless =
            |cause: Cause| cause == Cause::WetFightsItself || cause == Cause::WideSound && whole.one_dry;
        if !self.findings().all(|finding| harmless(finding.cause)) {
            return self;
        }
        // Channels that work against each other are something wrong, even if every feed holds.
        let holds = whole.correlation > OPPOSED
            && !whole.disputed
            && FAULTLESS
                .iter()
                .filter(|&&id| is_heard(rows, id))
                .all(|&id| rows[id as usize].verdict == Some(Verdict::Plain(Outcome::Holds)));
        let evidence = Evidence::Fine {
            correlation: whole.correlation,
            sum_difference_db: whole.sum_difference_db.unwrap_or(crate::dsp::db::NO_READING_DBFS),
        };
        if holds {
            self.add(Cause::NothingWrong, 1.0, evidence);
        } else if self.first().is_none() {
            self.add(Cause::NothingSeen, 1.0, evidence);
        }
        self
    }

    /// Adds a wet that surely vanishes in the wedge while the dry is there.
    fn effect_gone(&mut self, rows: &[Row; FEEDS]) {
        let Some(score) = rows[FeedId::MonoWedge as usize].score else {
            return;
        };
        let (Some(wet), Some(dry)) = (score.wet, score.dry) else {
            return;
        };
        if wet.high < GONE_DB && dry.low > GONE_DB && wet.likely < dry.likely {
            self.remove(&[Cause::WetFightsItself]);
            self.add(
                Cause::EffectGone,
                1.0,
                Evidence::Gone {
                    wet_db: Some(wet.high).filter(|db| db.is_finite()),
                    dry_db: dry.likely,
                },
            );
        }
    }
}
