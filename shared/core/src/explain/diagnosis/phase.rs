//! Levels and phases between the channels that differ over frequency: two amplifiers and cabinets.

use super::figures::{Diagnoser, Figures, LOWEST_HZ};
use super::{Cause, Diagnosis, Evidence, MAX_RANGES, Suffering};
use crate::dsp::db;
use crate::explain::direct::Direct;
use crate::spectrum::cross_spectrum::CrossSpectrum;

/// Bands this far below the loudest are left out, dB.
const QUIET_BAND_DB: f64 = -25.0;
/// A band whose sum loses more than this suffers, dB; unrelated channels lose 3.01.
const SUFFERS_DB: f64 = -3.5;

impl Diagnoser {
    /// Names two amplifiers where the direct sound's phase or level turns over frequency.
    pub(super) fn turns(
        &self,
        diagnosis: &mut Diagnosis,
        spectrum: &CrossSpectrum,
        figures: &Figures,
        direct: &Direct,
    ) {
        let Some(turning) = direct.turning.filter(|_| direct.turns()) else {
            return;
        };
        diagnosis.add(
            Cause::FrequencyDependentPhase,
            (0.5 * turning.worth()).min(direct.sure),
            Evidence::Phase {
                stray_degrees: turning.phase_degrees,
                shared: turning.shared,
                correlation: figures.correlation,
                suffering: self.suffering(spectrum),
                stray_db: turning.level_db,
            },
        );
    }

    /// The bands that are loud enough to count.
    fn loud_bands(&self, spectrum: &CrossSpectrum, lowest_hz: f64) -> impl Iterator<Item = usize> + '_ {
        let power = |band| self.map.sum(band, |k| spectrum.ll[k] + spectrum.rr[k]);
        let loudest = (0..self.map.len()).map(power).fold(0.0, f64::max);
        let quiet = loudest * db::to_power(QUIET_BAND_DB);
        let mut loud = [false; crate::spectrum::bands::MAX_THIRDS];
        for (band, (is_loud, edges)) in loud.iter_mut().zip(self.map.bands()).enumerate() {
            *is_loud = power(band) > quiet && edges.lower_hz >= lowest_hz;
        }
        (0..self.map.len()).filter(move |&band| loud[band])
    }

    /// The bands that lose level when the channels are added as they are.
    fn suffering(&self, spectrum: &CrossSpectrum) -> Suffering {
        let mut suffering = Suffering::default();
        let mut last = None;
        for band in self.loud_bands(spectrum, LOWEST_HZ) {
            let reading = spectrum.band(&self.grid, &self.map, band);
            let Some(loss_db) = reading.sum_difference_db() else {
                continue;
            };
            // A power can vanish altogether, but a stored figure must be finite.
            let loss_db = loss_db.max(-60.0);
            let edges = self.map.bands()[band];
            if loss_db < suffering.worst_db {
                suffering.worst_db = loss_db;
                suffering.worst_hz = edges.nominal_hz;
            }
            if loss_db >= SUFFERS_DB {
                continue;
            }
            if last.is_some_and(|last| last + 1 == band) && suffering.count > 0 {
                suffering.ranges_hz[suffering.count - 1].1 = edges.upper_hz;
            } else if suffering.count < MAX_RANGES {
                suffering.ranges_hz[suffering.count] = (edges.lower_hz, edges.upper_hz);
                suffering.count += 1;
            } else {
                break;
            }
            last = Some(band);
        }
        suffering
    }
}
