//! The figures of a feed's effect on a split sound.

use crate::dsp::numbers::to_single;
use crate::dsp::{db, k_weighting};
use crate::routing::response::{CellPowers, FeedResponse};
use crate::score::balance::{Balance, judge_balance};
use crate::score::colour::Colour;
use crate::score::outcome::{Evidence, Limits, Outcome, judge};
use crate::score::part_changes::{Parts, Read, in_this_band};
use crate::score::verdict::Verdict;
use crate::spectrum::bands::{BandMap, MAX_TWENTY_FOURTHS};
use crate::spectrum::cross_spectrum::CrossSpectrum;
use crate::spectrum::grid::Grid;
use crate::spectrum::pair_sums::{product, sum};
use crate::split::Split;
use crate::split::interval::{Interval, Known};
use crate::split::ways::Bounds;

pub use crate::score::colour::{Change, Dip};

/// A part of the sound (dry or wet) this far below the whole was not found, dB.
pub const NOT_FOUND_DB: f64 = -40.0;

/// Bands this far below the loudest are left out of tone and dips, dB.
pub const QUIET_BAND_DB: f64 = -30.0;

/// An interval wider than this has no figure, only its ends, dB.
pub const WIDEST_DB: f64 = 6.0;

/// Tolerance of an estimated dry whose channels are late against each other, by what a window of 1/6 s blurs of it: of
/// its tone, dB, and of its change, as a power ratio. Long notes aren't blurred, and the dry's spectrum isn't known in
/// such detail.
const LATE_TONE_DB: f64 = 8.0;
const LATE_STRAY: f64 = 0.5;
/// Standard deviation of the power ratios of a comb of two equal channels.
const COMB_SPREAD: f64 = core::f64::consts::FRAC_1_SQRT_2;

/// The tone change and each band's share in it are capped here, dB.
pub const TONE_CAP_DB: f64 = 30.0;

/// A feed's effect on the sound. Changes are against stereo, without the gain that a fader can make up for
/// ([`Self::makeup_db`]); those against the un-faulted mono sum say so in their names.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FeedScore {
    /// Change of the dry, dB: −∞ to −20 is 'at least 20 dB down'. `None` when there's no separate dry.
    pub dry: Option<Interval>,
    /// Change of the wet, dB; `None` when there's none.
    pub wet: Option<Interval>,
    /// Wet change minus dry change, dB; positive is wetter.
    pub balance: Option<Interval>,
    /// What the wet's change would be if the effects were an ordinary stereo (equally loud, unrelated channels), dB: an
    /// assumption, never a reading. `None` where the wet is known or absent.
    pub wet_if_ordinary_db: Change,
    /// Likely change of the dry, dB.
    pub dry_db: Change,
    /// The dry's change is at the floor of the estimate: it is at least this far down.
    pub dry_at_floor: bool,
    /// Likely change of the wet, dB; `None` when there's none, or when its interval is wider than [`WIDEST_DB`].
    pub wet_db: Change,
    /// Change of the total, dB.
    pub total_db: f64,
    /// Likely wet change minus dry change, dB; positive is wetter, +∞ when only wet is left. `None` as for
    /// [`Self::wet_db`].
    pub balance_shift_db: Change,
    /// Change of the dry against the un-faulted mono sum, which is the player's reference, dB.
    pub dry_against_mono_db: Change,
    /// Change of the total against the un-faulted mono sum, dB.
    pub total_against_mono_db: Change,
    /// Gain to make up at the desk, dB: 0 for straight lines in an average sum; +∞ when nothing arrives.
    pub makeup_db: f64,
    /// Level change, K-weighted (ITU-R BS.1770), LU, without make-up gain. A mono feed counts as played by both
    /// loudspeakers; otherwise it would read 3.01 LU too low.
    pub level_lu: f64,
    /// Tone change of the dry (of the total where there's none): rms over the 1/3-octave bands of the sum difference
    /// after its mean is removed, dB; `None` where fewer than two bands hold energy.
    pub tone_db: Change,
    /// The intervals of tone and partials.
    pub colour: Colour,
    /// The deepest dip on a 1/24-octave scale.
    pub dip: Option<Dip>,
}

impl FeedScore {
    /// The figures that decide the outcome. Without a dry the total is judged.
    #[must_use]
    pub fn evidence(&self) -> Evidence {
        Evidence {
            dry_db: self.dry.unwrap_or(Interval::measured(self.total_db)),
            tone_db: self.colour.tone_db,
            partials_db: self.colour.partials_db,
        }
    }

    /// The outcome; `before` is the one shown so far, for a live reading.
    #[must_use]
    pub fn outcome(&self, limits: &Limits, before: Option<Verdict<Outcome>>) -> Verdict<Outcome> {
        judge(&self.evidence(), limits, before)
    }

    /// The balance; `None` where there's no wet, or no separate dry.
    #[must_use]
    pub fn judged_balance(
        &self,
        limits: &Limits,
        before: Option<Verdict<Balance>>,
    ) -> Option<Verdict<Balance>> {
        self.balance.map(|shift| judge_balance(&shift, limits, before))
    }

    /// Whether this is the worse of two results of the same feed.
    #[must_use]
    pub fn is_worse_than(&self, other: &Self, limits: &Limits) -> bool {
        let (mine, others) = (self.evidence(), other.evidence());
        let (my_word, other_word) = (mine.likely_word(limits), others.likely_word(limits));
        if my_word != other_word {
            return my_word > other_word;
        }
        // A difference of a hundredth of a decibel is rounding, not a difference between the lines.
        for (mine, others) in [
            (mine.dry_db.likely, others.dry_db.likely),
            (mine.dry_db.low, others.dry_db.low),
        ] {
            if (mine - others).abs() > 0.01 {
                return mine < others;
            }
        }
        let likely = |figure: Option<Interval>| figure.map_or(0.0, |figure| figure.likely);
        let colour = |evidence: &Evidence| likely(evidence.tone_db) + likely(evidence.partials_db);
        colour(&mine) > colour(&others) + 0.01
    }
}

/// A feed's responses for the dry, the wet and the total (the same one unless they keep different delays apart).
#[derive(Clone, Copy, Debug)]
pub struct PartResponses<'a> {
    /// For the dry.
    pub dry: &'a FeedResponse,
    /// For the wet.
    pub wet: &'a FeedResponse,
    /// For the total.
    pub total: &'a FeedResponse,
}

impl<'a> PartResponses<'a> {
    /// One response for all three.
    #[must_use]
    pub fn same(response: &'a FeedResponse) -> Self {
        Self {
            dry: response,
            wet: response,
            total: response,
        }
    }
}

/// Scores feeds on one grid; owns its tables and buffers.
#[derive(Clone, Debug)]
pub struct Scorer {
    pub(super) grid: Grid,
    pub(super) thirds: BandMap,
    pub(super) fines: BandMap,
    k_weights: Vec<f64>,
    pub(super) first_cell: usize,
    /// Powers of the part of the sound being processed.
    pub(super) cells: CellPowers,
}

/// Powers over the cells in range.
#[derive(Clone, Copy)]
struct Powers {
    feed: f64,
    reference: f64,
    mono: f64,
}

/// The readings of the parts in a feed.
#[derive(Clone, Copy)]
struct Heard {
    gain: f64,
    dry: Powers,
    wet: Powers,
    total: Powers,
    dry_spread: f64,
    /// Tone and partials, dB rms.
    of_dry: [Change; 2],
    /// The same if what delayed channels share isn't limited to their powers.
    unlimited: [Change; 2],
    /// How much more colour long notes may have, dB rms.
    more_db: [f64; 2],
    of_total: [Change; 2],
    level_lu: f64,
    dip: Option<Dip>,
}

impl Heard {
    /// The power below which a part counts as absent.
    fn found(&self) -> f64 {
        db::to_power(NOT_FOUND_DB) * self.total.reference
    }

    /// The change of a part against a power, without the gain to make up, dB.
    fn change(&self, part: &Powers, against: f64) -> f64 {
        if self.gain > 0.0 {
            db::from_power(part.feed / (self.gain * self.gain * against))
        } else {
            f64::NEG_INFINITY
        }
    }

    fn total_db(&self) -> f64 {
        if self.total.reference > 0.0 {
            self.change(&self.total, self.total.reference)
        } else {
            f64::NEG_INFINITY
        }
    }

    /// The colour that decides the outcome: the dry's, or the total's where no dry was found.
    fn colour(&self, bounds: Option<&Bounds>) -> Colour {
        if self.dry.reference <= self.found() {
            return Colour::measured(self.of_total);
        }
        match bounds {
            Some(bounds) if !bounds.no_separate_dry => {
                Colour::estimated(self.of_dry, self.of_total, bounds.one_direction, self.more_db)
            }
            _ => Colour::resolved(self.of_dry, self.unlimited),
        }
    }
}

/// The interval's likely figure, or `measured` without an interval.
fn likely(interval: Option<Interval>, measured: Change) -> Change {
    match interval {
        Some(interval) if interval.known == Known::Bounded => Some(interval.likely),
        _ => measured,
    }
}

impl Scorer {
    /// Creates a scorer for spectra on `grid`; broadband figures leave out frequencies below `lowest_hz` (40 Hz in a
    /// live reading, because inaudible rumble can account for a loss of 8 dB; 0 in a report).
    #[must_use]
    pub fn new(grid: Grid, lowest_hz: f64) -> Self {
        let thirds = BandMap::thirds(&grid);
        let fines = BandMap::twenty_fourths(&grid);
        let k_weights = grid
            .centres_hz()
            .iter()
            .map(|&hz| k_weighting::power(hz, grid.rate_hz()))
            .collect();
        let mut scorer = Self {
            cells: CellPowers::silent(grid.len()),
            grid,
            thirds,
            fines,
            k_weights,
            first_cell: 0,
        };
        scorer.set_lowest_hz(lowest_hz);
        scorer
    }

    /// Sets the lowest frequency of broadband figures, Hz.
    pub fn set_lowest_hz(&mut self, lowest_hz: f64) {
        let below = self.grid.centres_hz().partition_point(|&hz| hz < lowest_hz);
        self.first_cell = below.min(self.grid.len() - 1);
    }

    /// The grid the spectra are on.
    #[must_use]
    pub fn grid(&self) -> &Grid {
        &self.grid
    }

    /// The 1/3-octave bands.
    #[must_use]
    pub fn thirds(&self) -> &BandMap {
        &self.thirds
    }

    /// The 1/24-octave bands.
    #[must_use]
    pub fn twenty_fourths(&self) -> &BandMap {
        &self.fines
    }

    /// The cells that broadband figures are summed over.
    #[must_use]
    pub fn cells(&self) -> core::ops::Range<usize> {
        self.first_cell..self.grid.len()
    }

    /// Scores a feed. `None` when the sound is below the reading floor. Does not allocate.
    ///
    /// # Panics
    /// If lengths or grids don't match.
    #[must_use]
    pub fn score(&mut self, responses: &PartResponses<'_>, split: &Split) -> Option<FeedScore> {
        let loudness = self.loudness(split)?;
        Some(self.score_heard(responses, split, loudness))
    }

    /// The K-weighted power of the total in stereo. `None` when the sound is below the reading floor.
    ///
    /// # Panics
    /// If the split isn't on the scorer's grid.
    pub(super) fn loudness(&self, split: &Split) -> Option<f64> {
        let cells = self.cells();
        let k_weights = &self.k_weights[cells.clone()];
        let (left, right) = (&split.total.ll[cells.clone()], &split.total.rr[cells]);
        let full = 0.5 * (sum(left) + sum(right));
        (db::from_power(full) > db::NO_READING_DBFS)
            .then(|| 0.5 * (product(k_weights, left) + product(k_weights, right)))
    }

    /// [`Self::score`] of a sound with a known [`Self::loudness`], which is the same for all feeds.
    pub(super) fn score_heard(
        &mut self,
        responses: &PartResponses<'_>,
        split: &Split,
        full_loudness: f64,
    ) -> FeedScore {
        let heard = self.hear(responses, split, full_loudness);
        let (gain, found) = (heard.gain, heard.found());
        let part_change =
            |part: &Powers| (part.reference > found).then(|| heard.change(part, part.reference));
        let wet_db = part_change(&heard.wet);
        let mut dry_db = part_change(&heard.dry);
        let mut dry_against_mono_db = (heard.dry.reference > found && heard.dry.mono > found)
            .then(|| heard.change(&heard.dry, heard.dry.mono));
        let mut dry_at_floor = false;
        // If nothing arrives at all, the change is certain and has no floor.
        if let (Some(floor), true) = (split.method.floor_db(), gain > 0.0) {
            let clip = |change: Change| change.map(|db| db.max(floor));
            dry_at_floor = dry_db.is_some_and(|db| db < floor);
            dry_db = clip(dry_db);
            dry_against_mono_db = clip(dry_against_mono_db);
        }
        let balance_shift_db = match (dry_db, wet_db) {
            // With both parts gone there is no shift of balance.
            (Some(dry), Some(wet)) if wet > f64::NEG_INFINITY || dry > f64::NEG_INFINITY => Some(wet - dry),
            _ => None,
        };
        let parts = split.bounds.filter(|_| gain > 0.0).map_or_else(
            || Parts::measured(dry_db, wet_db, balance_shift_db),
            |bounds| self.estimated(responses, split, &bounds, &heard),
        );
        let colour = heard.colour(split.bounds.filter(|_| gain > 0.0).as_ref());
        let open = |interval: Option<Interval>| interval.is_some_and(|it| it.width() > WIDEST_DB);
        let if_ordinary_db = wet_db.filter(|_| parts.wet.is_some_and(|wet| wet.known == Known::Bounded));
        FeedScore {
            dry: parts.dry,
            wet: parts.wet,
            balance: parts.balance,
            wet_if_ordinary_db: if_ordinary_db,
            dry_db,
            dry_at_floor,
            // An interval left open gives no figure.
            wet_db: likely(parts.wet, wet_db).filter(|_| !open(parts.wet)),
            total_db: heard.total_db(),
            balance_shift_db: likely(parts.balance, balance_shift_db).filter(|_| !open(parts.balance)),
            dry_against_mono_db,
            total_against_mono_db: (heard.total.mono > found)
                .then(|| heard.change(&heard.total, heard.total.mono)),
            makeup_db: -db::from_amplitude(gain),
            level_lu: heard.level_lu,
            tone_db: colour.tone_db.map(|tone| tone.likely),
            colour,
            dip: heard.dip,
        }
    }

    /// The powers and the colours of the parts in a feed.
    fn hear(&mut self, responses: &PartResponses<'_>, split: &Split, full_loudness: f64) -> Heard {
        let cells = self.cells();
        let wet = self.powers(responses.wet, &split.wet);
        let dry = self.powers(responses.dry, &split.dry);
        let dry_spread = self.spread();
        let delay_s = split.bounds.map_or(0.0, |bounds| bounds.delay_s);
        let blurred = self.blurred(responses.dry, &split.dry, delay_s);
        let unlimited = self.unlimited_colour(responses.dry, &split.dry, blurred);
        self.limit_shared(responses.dry, &split.dry);
        let of_dry = self.read_colour(responses.dry, &split.dry, blurred);
        let more_db = split
            .bounds
            .filter(|bounds| bounds.delay_s != 0.0)
            .map_or([0.0; 2], |_| {
                let sharp = self.partials(responses.dry, &split.dry, 1.0, true);
                let more = sharp
                    .zip(of_dry[1])
                    .map_or(0.0, |(sharp, blurred)| sharp - blurred);
                [
                    LATE_TONE_DB * (1.0 - blurred) * (dry_spread / COMB_SPREAD),
                    more.max(0.0),
                ]
            });
        let total = self.powers(responses.total, &split.total);
        let loudness = product(&self.k_weights[cells.clone()], &self.cells.feed[cells]);
        self.limit_shared(responses.total, &split.total);
        let blurred_total = self.blurred(responses.total, &split.total, 0.0);
        let of_total = self.read_colour(responses.total, &split.total, blurred_total);
        Heard {
            gain: responses.total.recoverable_gain(),
            dry,
            wet,
            total,
            dry_spread,
            of_dry,
            unlimited: unlimited.unwrap_or(of_dry),
            more_db,
            of_total,
            level_lu: db::from_power(loudness / full_loudness),
            dip: self.deepest_dip(total.feed / total.reference),
        }
    }

    /// The parts' intervals from an estimate.
    fn estimated(
        &self,
        responses: &PartResponses<'_>,
        split: &Split,
        bounds: &Bounds,
        heard: &Heard,
    ) -> Parts {
        let squared = heard.gain * heard.gain;
        let (dry, total) = (&heard.dry, &heard.total);
        let late_stray = if bounds.delay_s == 0.0 {
            0.0
        } else {
            // A feed of one line alone has no comb.
            let blurred = self.blurred(responses.dry, &split.dry, bounds.delay_s);
            LATE_STRAY * (1.0 - blurred) * heard.dry_spread / squared / COMB_SPREAD
        };
        let read = Read {
            total: total.feed / (squared * total.reference),
            dry: if dry.reference > 0.0 {
                dry.feed / (squared * dry.reference)
            } else {
                0.0
            },
            stray: heard.dry_spread / squared * bounds.mixed + late_stray,
            share: dry.reference / total.reference,
            shares: in_this_band(bounds, dry.reference / total.reference),
        };
        let weights = responses
            .dry
            .weights(&split.dry, bounds.delay_s, &self.grid, self.cells());
        Parts::estimated(bounds, weights.as_ref(), &read, heard.total_db())
    }

    /// The standard deviation of the current cells' changes, weighted by their power.
    fn spread(&self) -> f64 {
        let (mut squares, mut feed_sum, mut all) = (0.0, 0.0, 0.0);
        let range = self.cells();
        for (feed, reference) in self.cells.feed[range.clone()]
            .iter()
            .zip(&self.cells.reference[range])
        {
            if *reference > 0.0 {
                squares += feed * feed / reference;
                feed_sum += feed;
                all += reference;
            }
        }
        if all > 0.0 {
            (squares / all - (feed_sum / all).powi(2)).max(0.0).sqrt()
        } else {
            0.0
        }
    }

    /// Computes the current cells for a part of the sound, and sums those in range.
    fn powers(&mut self, response: &FeedResponse, spectrum: &CrossSpectrum) -> Powers {
        response.write(spectrum, &self.grid, &mut self.cells);
        let range = self.cells();
        Powers {
            feed: sum(&self.cells.feed[range.clone()]),
            reference: sum(&self.cells.reference[range.clone()]),
            mono: sum(&self.cells.mono[range]),
        }
    }

    /// Writes the sum difference per 1/24-octave band, dB, of dry, wet and total, without the gain that a fader can
    /// make up for, to the three slices (each as long as [`Scorer::twenty_fourths`] or longer); NaN where that part of
    /// the sound is too quiet to matter.
    ///
    /// # Panics
    /// If lengths or grids don't match.
    pub fn curves(&mut self, responses: &PartResponses<'_>, split: &Split, out: [&mut [f32]; 3]) {
        let squared_gain = responses.total.recoverable_gain().powi(2);
        let parts = [
            self.fine_ratios(responses.dry, &split.dry),
            self.fine_ratios(responses.wet, &split.wet),
            self.fine_ratios(responses.total, &split.total),
        ];
        let density = |band: usize, reference: f64| reference / self.fines.bands()[band].width_hz();
        let total = parts[2].iter().enumerate().take(self.fines.len());
        let loudest = total
            .map(|(band, &(_, reference))| density(band, reference))
            .fold(0.0, f64::max);
        let quiet = loudest * db::to_power(2.0 * QUIET_BAND_DB);
        for (sums, curve) in parts.iter().zip(out) {
            for (band, (level, &(ratio, reference))) in
                curve.iter_mut().zip(sums).enumerate().take(self.fines.len())
            {
                *level = if density(band, reference) <= quiet || squared_gain <= 0.0 {
                    f32::NAN
                } else {
                    to_single(db::from_power(ratio / squared_gain))
                };
            }
        }
    }

    /// Ratio and reference of every 1/24-octave band.
    fn fine_ratios(
        &mut self,
        response: &FeedResponse,
        spectrum: &CrossSpectrum,
    ) -> [(f64, f64); MAX_TWENTY_FOURTHS] {
        response.write(spectrum, &self.grid, &mut self.cells);
        let mut ratios = [(0.0, 0.0); MAX_TWENTY_FOURTHS];
        for (band, ratio) in ratios.iter_mut().enumerate().take(self.fines.len()) {
            *ratio = self.band_ratio(&self.fines, band);
        }
        ratios
    }
}
