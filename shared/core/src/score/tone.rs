//! Reads a feed's effect on the colour of a part of the sound: tone, partials, the deepest dip.

use crate::dsp::db;
use crate::routing::response::FeedResponse;
use crate::score::colour::{Change, Dip};
use crate::score::scorer::{QUIET_BAND_DB, Scorer, TONE_CAP_DB};
use crate::spectrum::bands::{BandMap, MAX_THIRDS, MAX_TWENTY_FOURTHS};
use crate::spectrum::cross_spectrum::CrossSpectrum;
use crate::spectrum::grid::WIDEST_BIN_HZ;
use crate::spectrum::welch::window_autocorrelation;

/// The partials that count, Hz: from below a guitar's lowest string to where its partials are faint.
const PARTIALS_HZ: core::ops::RangeInclusive<f64> = 75.0..=5000.0;
/// Floor of a partial's change below the whole's, as a power ratio: 30 dB.
const DEEPEST: f64 = 1e-3;
/// Length of the window that resolves partials, seconds: bins of 6 Hz.
const RESOLVED_S: f64 = 1.0 / WIDEST_BIN_HZ;

/// The standard deviation of changes (natural logarithms of powers), given their weights and the weighted sums of them
/// and of their squares, dB.
fn spread_db(weights: f64, sum: f64, squares: f64) -> Change {
    let variance = squares / weights - (sum / weights).powi(2);
    Some(variance.max(0.0).sqrt() * 10.0 * core::f64::consts::LOG10_E)
}

impl Scorer {
    /// Tone and partials of the current part, `spectrum`, in which a window of 1/6 s leaves `blurred` of the cross
    /// terms ([`Scorer::blurred`]).
    pub(super) fn read_colour(
        &self,
        response: &FeedResponse,
        spectrum: &CrossSpectrum,
        blurred: f64,
    ) -> [Change; 2] {
        let limited = true;
        [
            self.tone_change(),
            self.partials(response, spectrum, blurred, limited),
        ]
    }

    /// The same of a part whose shared power isn't limited ([`Scorer::limit_shared`]); only of delayed channels.
    pub(super) fn unlimited_colour(
        &self,
        response: &FeedResponse,
        spectrum: &CrossSpectrum,
        blurred: f64,
    ) -> Option<[Change; 2]> {
        let limited = false;
        (spectrum.delay_s != 0.0).then(|| {
            [
                self.tone_change(),
                self.partials(response, spectrum, blurred, limited),
            ]
        })
    }

    /// How much a window of 1/6 s leaves of the cross terms of a part with its channels delayed, if it is noise: 1 for
    /// none lost. `delay_s` is a delay that is in the cross terms of FFT bins without the blur of a window.
    ///
    /// It blurs the comb of channels delayed so long that the ear no longer resolves it (CHECKS EAR-3).
    pub(super) fn blurred(&self, response: &FeedResponse, spectrum: &CrossSpectrum, delay_s: f64) -> f64 {
        let late_s = if self.grid.block_len().is_some() {
            delay_s
        } else {
            spectrum.delay_s + response.lines_s()
        };
        window_autocorrelation(late_s / RESOLVED_S)
    }

    /// Limits what the channels of the current part, `spectrum`, share in a cell to all of it. The correction of delayed
    /// channels for the window ([`crate::spectrum::welch::Lags`]) is right for sums over many cells, but raises a long
    /// note's cross term above its powers.
    pub(super) fn limit_shared(&mut self, response: &FeedResponse, spectrum: &CrossSpectrum) {
        if spectrum.delay_s == 0.0 {
            return;
        }
        for (cell, feed) in self.cells.feed.iter_mut().enumerate() {
            let shared = spectrum.cross(&self.grid, cell, 0.0).norm();
            let most = (spectrum.ll[cell] * spectrum.rr[cell]).sqrt();
            if shared > most {
                let apart = response.apart(spectrum, cell);
                *feed = apart + (*feed - apart) * (most / shared);
            }
        }
    }

    /// The sum difference of the current part in one band, as a power ratio, with the reference power it's against.
    pub(super) fn band_ratio(&self, map: &BandMap, band: usize) -> (f64, f64) {
        let feed = map.sum_of(band, &self.cells.feed);
        let reference = map.sum_of(band, &self.cells.reference);
        (
            if reference > 0.0 {
                (feed / reference).max(0.0)
            } else {
                0.0
            },
            reference,
        )
    }

    /// The tone change of the current part.
    pub(super) fn tone_change(&self) -> Change {
        let mut bands = [(0.0, 0.0); MAX_THIRDS];
        let count = self.thirds.len();
        let lowest_hz = self.grid.edges_hz()[self.first_cell];
        let mut loudest: f64 = 0.0;
        for (index, (measured, band)) in bands.iter_mut().zip(self.thirds.bands()).enumerate() {
            if band.upper_hz <= lowest_hz {
                continue;
            }
            *measured = self.band_ratio(&self.thirds, index);
            loudest = loudest.max(measured.1);
        }
        let quiet = loudest * db::to_power(QUIET_BAND_DB);
        let level = |ratio: f64| db::from_power(ratio).max(-10.0 * TONE_CAP_DB);
        let voiced = || {
            bands[..count]
                .iter()
                .filter(|&&(_, reference)| reference > quiet && reference > 0.0)
        };
        let voices = voiced().count();
        if voices < 2 || voiced().all(|&(ratio, _)| ratio <= 0.0) {
            return None;
        }
        let mean = voiced().map(|&(ratio, _)| level(ratio)).sum::<f64>() / voices as f64;
        let square = voiced()
            .map(|&(ratio, _)| (level(ratio) - mean).clamp(-TONE_CAP_DB, TONE_CAP_DB).powi(2))
            .sum::<f64>()
            / voices as f64;
        Some(square.sqrt().min(TONE_CAP_DB))
    }

    /// The change of the partials of the current part, `spectrum`, against each other: rms of its change in the feed
    /// with the mean removed, over places no further apart than a few hertz, weighted by its power, dB. `None` for a
    /// feed that plays the low end only, and for silence. Places a few hertz apart mean a window of 1/6 s, which leaves
    /// `blurred` of the cross terms. `limited`: see [`Scorer::limit_shared`].
    pub(super) fn partials(
        &self,
        response: &FeedResponse,
        spectrum: &CrossSpectrum,
        blurred: f64,
        limited: bool,
    ) -> Change {
        if response.is_low_end() {
            return None;
        }
        let centres = self.grid.centres_hz();
        let first = centres.partition_point(|hz| hz < PARTIALS_HZ.start());
        let last = centres.partition_point(|hz| hz <= PARTIALS_HZ.end());
        let sum = |cells: &[f64]| cells[first..last].iter().sum::<f64>();
        let (feed, reference) = (sum(&self.cells.feed), sum(&self.cells.reference));
        if reference <= 0.0 || feed <= 0.0 {
            return None;
        }
        let floor = DEEPEST * feed / reference;
        if self.grid.block_len().is_some() && spectrum.near.is_empty() {
            return self.partials_of_bins(response, spectrum, first..last, floor, blurred);
        }
        let (mut weights, mut mean, mut square) = (0.0, 0.0, 0.0);
        for cell in first..last {
            let weight = self.cells.reference[cell];
            if weight <= 0.0 {
                continue;
            }
            let (mut count, mut sum, mut squares) = (0.0, 0.0, 0.0);
            response.inside(spectrum, &self.grid, cell, blurred, limited, |power| {
                let change = (power / weight).max(floor).ln();
                count += 1.0;
                sum += change;
                squares += change * change;
            });
            weights += weight;
            mean += weight * sum / count;
            square += weight * squares / count;
        }
        spread_db(weights, mean, square)
    }

    /// The same on FFT bins, which are one place each: the feed's power there is already in the current cells.
    fn partials_of_bins(
        &self,
        response: &FeedResponse,
        spectrum: &CrossSpectrum,
        bins: core::ops::Range<usize>,
        floor: f64,
        blurred: f64,
    ) -> Change {
        let (mut weights, mut mean, mut square) = (0.0, 0.0, 0.0);
        let of_feed = &self.cells.feed[bins.clone()];
        let reference = &self.cells.reference[bins.clone()];
        for ((bin, &power), &weight) in bins.zip(of_feed).zip(reference) {
            if weight <= 0.0 {
                continue;
            }
            let power = if blurred == 1.0 {
                power
            } else {
                let apart = response.apart(spectrum, bin);
                apart + blurred * (power - apart)
            };
            let change = (power / weight).max(floor).ln();
            weights += weight;
            mean += weight * change;
            square += weight * change * change;
        }
        spread_db(weights, mean, square)
    }

    /// The deepest dip of the current part, against its change as a whole.
    pub(super) fn deepest_dip(&self, whole: f64) -> Option<Dip> {
        if whole.is_nan() || whole <= 0.0 {
            return None;
        }
        let lowest_hz = self.grid.edges_hz()[self.first_cell];
        let density = |band: usize, reference: f64| reference / self.fines.bands()[band].width_hz();
        // Each band is summed once; a reading does this for every feed.
        let mut measured = [(0.0, 0.0); MAX_TWENTY_FOURTHS];
        let mut loudest = 0.0f64;
        for (band, (of_band, edges)) in measured.iter_mut().zip(self.fines.bands()).enumerate() {
            if edges.lower_hz >= lowest_hz {
                *of_band = self.band_ratio(&self.fines, band);
                loudest = loudest.max(density(band, of_band.1));
            }
        }
        let quiet = loudest * db::to_power(QUIET_BAND_DB);
        // Bands left out above have no reference, so they drop out here.
        let (band, lowest) = measured[..self.fines.len()]
            .iter()
            .enumerate()
            .filter(|&(band, &(_, reference))| reference > 0.0 && density(band, reference) > quiet)
            .map(|(band, &(ratio, _))| (band, ratio))
            .min_by(|a, b| a.1.total_cmp(&b.1))?;
        let depth_db = db::from_power(lowest / whole).max(-10.0 * TONE_CAP_DB);
        // Less than 1 dB doesn't count as a dip.
        (depth_db < -1.0).then(|| Dip {
            hz: self.fines.bands()[band].centre_hz(),
            depth_db,
        })
    }
}
