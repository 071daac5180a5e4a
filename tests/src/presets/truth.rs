//! The true figures of every feed for a preset.

use sumproof_core::routing::feed::{FeedId, Side};
use sumproof_core::score::outcome::{Limits, Outcome};
use sumproof_core::score::rig::Rig;
use sumproof_core::spectrum::bands::BandMap;
use sumproof_core::spectrum::cross_spectrum::CrossSpectrum;
use sumproof_core::spectrum::grid::Grid;
use sumproof_core::spectrum::welch::spectrum_of;

use super::Preset;
use crate::obvious;

/// Block length for the powers: long enough for line delays and filter tails not to matter.
const LONG: usize = 32_768;
/// Block length with the bin width of the partials' definition.
const PARTIALS: usize = 8192;
/// The partials that count, Hz.
const PARTIALS_HZ: core::ops::RangeInclusive<f64> = 75.0..=5000.0;
/// Floor of a partial's change, dB.
const DEEPEST_DB: f64 = -30.0;
/// A part this far below the whole counts as absent, dB.
const NOT_THERE_DB: f64 = -40.0;

/// The true figures of a feed, with its fault on one side.
#[derive(Clone, Copy, Debug)]
pub struct FeedTruth {
    /// Change of the dry, dB.
    pub dry_db: f64,
    /// Change of the wet, dB; `None` without one.
    pub wet_db: Option<f64>,
    /// Change of the total, dB.
    pub total_db: f64,
    /// Tone change of the dry, dB rms.
    pub tone_db: Option<f64>,
    /// Change of the dry's partials against each other, dB rms; `None` for a feed that plays the low end only.
    pub partials_db: Option<f64>,
}

impl FeedTruth {
    /// Wet change less dry change, dB.
    #[must_use]
    pub fn balance_db(&self) -> Option<f64> {
        self.wet_db.map(|wet| wet - self.dry_db)
    }

    /// The outcome of the dry's level alone.
    #[must_use]
    pub fn word_of_level(&self, limits: &Limits) -> Outcome {
        if self.dry_db.is_nan() || self.dry_db < limits.dry_drops_out_db {
            Outcome::DropsOut
        } else if self.dry_db < limits.dry_holds_db {
            Outcome::Thins
        } else {
            Outcome::Holds
        }
    }

    /// The outcome.
    #[must_use]
    pub fn word(&self, limits: &Limits) -> Outcome {
        let coloured = self.tone_db.is_some_and(|tone| tone > limits.tone_db)
            || self
                .partials_db
                .is_some_and(|partials| partials > limits.partials_db);
        match self.word_of_level(limits) {
            Outcome::Holds if coloured => Outcome::Thins,
            word => word,
        }
    }
}

/// The true figures of all feeds.
#[derive(Clone, Debug)]
pub struct Truth {
    feeds: Vec<(FeedId, [FeedTruth; 2])>,
}

impl Truth {
    /// The figures of a feed with its fault on `side` (either side for a feed without one).
    ///
    /// # Panics
    /// For a feed that isn't judged.
    #[must_use]
    pub fn of(&self, id: FeedId, side: Side) -> &FeedTruth {
        let (_, both) = self
            .feeds
            .iter()
            .find(|(other, _)| *other == id)
            .expect("only feeds that are judged are asked for");
        &both[usize::from(side == Side::Right)]
    }

    /// The worse outcome of both sides.
    #[must_use]
    pub fn word(&self, id: FeedId, limits: &Limits) -> Outcome {
        Side::BOTH
            .map(|side| self.of(id, side).word(limits))
            .into_iter()
            .max()
            .unwrap_or(Outcome::Holds)
    }
}

/// The feeds judged: all except stereo itself and the user's own, which is a wedge until it is changed.
pub fn judged() -> impl Iterator<Item = FeedId> {
    FeedId::ALL
        .into_iter()
        .filter(|id| !matches!(id, FeedId::StereoHouse | FeedId::Own))
}

/// The truth of a preset through a rig.
#[must_use]
pub fn truth(preset: &Preset, rig: &Rig) -> Truth {
    let spectrum =
        |pair: &sumproof_signals::Stereo, len| spectrum_of(&pair.left, &pair.right, preset.rate_hz, len);
    let (grid, dry) = spectrum(&preset.dry, LONG);
    let (_, wet) = spectrum(&preset.wet, LONG);
    let (_, full) = spectrum(&preset.full, LONG);
    let (fine_grid, fine_dry) = spectrum(&preset.dry, PARTIALS);
    let bands = BandMap::thirds(&grid);
    let there =
        |part: &CrossSpectrum| obvious::db(part.mean_power()) > obvious::db(full.mean_power()) + NOT_THERE_DB;
    let feeds = judged()
        .map(|id| {
            let both = Side::BOTH.map(|side| {
                let feed = rig.feed(id, side);
                let of_dry = obvious::figures(&feed, &grid, [&dry, &wet, &dry], 0, bands.bands(), &[]);
                let of_full = obvious::figures(&feed, &grid, [&dry, &wet, &full], 0, bands.bands(), &[]);
                FeedTruth {
                    dry_db: of_dry.change_db[0],
                    wet_db: there(&wet).then_some(of_dry.change_db[1]),
                    total_db: of_full.change_db[2],
                    tone_db: of_dry.tone_db,
                    partials_db: feed.low_pass_hz.is_none().then(|| {
                        partials_db(
                            &obvious::feed_power(&feed, &fine_grid, &fine_dry),
                            &fine_dry,
                            &fine_grid,
                        )
                    }),
                }
            });
            (id, both)
        })
        .collect();
    Truth { feeds }
}

/// The rms over bins of the dry's level change, weighted by its power, about its weighted mean.
fn partials_db(feed: &[f64], dry: &CrossSpectrum, grid: &Grid) -> f64 {
    let bins: Vec<(f64, f64)> = (0..grid.len())
        .filter(|&bin| PARTIALS_HZ.contains(&grid.centres_hz()[bin]))
        .map(|bin| {
            let power = 0.5 * (dry.ll[bin] + dry.rr[bin]);
            (power, obvious::db(feed[bin] / power.max(f64::MIN_POSITIVE)))
        })
        .collect();
    let weight: f64 = bins.iter().map(|(power, _)| power).sum();
    // Partials are limited to 30 dB below the mean change.
    let mean_of = |floor: f64| bins.iter().map(|(p, change)| p * change.max(floor)).sum::<f64>() / weight;
    let whole = obvious::db(
        bins.iter()
            .map(|(p, change)| p * 10f64.powf(change / 10.0))
            .sum::<f64>()
            / weight,
    );
    let floor = whole.max(-300.0) + DEEPEST_DB;
    let mean = mean_of(floor);
    let square = bins
        .iter()
        .map(|(power, change)| power * (change.max(floor) - mean).powi(2))
        .sum::<f64>();
    (square / weight).sqrt()
}
