//! Phases that differ over frequency: two amplifiers and cabinets.

use super::examine::{Alignment, Diagnoser, Figures, LOWEST_HZ};
use super::{Cause, Diagnosis, Evidence, MAX_RANGES, Suffering};
use crate::Complex;
use crate::alignment::onset::OnsetEvidence;
use crate::dsp::db;
use crate::spectrum::cross_spectrum::CrossSpectrum;

/// The phase at attacks is looked at from here on: their windows are too short for less, Hz.
const LOWEST_ATTACK_HZ: f64 = 150.0;
/// Bands this far below the loudest have no say, dB.
const QUIET_BAND_DB: f64 = -25.0;
/// A phase that strays this far from a plain delay (rms), whole sound and attacks alike, is called frequency-dependent.
/// In the synthetic presets two cabinets stray by 25 to 60 degrees, everything else by less than 15 at the attacks.
const STRAY_DEGREES: f64 = 22.0;
/// It takes this many bands to say so.
const STRAY_BANDS: usize = 8;
/// A band whose sum loses more than this suffers, dB; unrelated channels lose 3.01.
const SUFFERS_DB: f64 = -3.5;

impl Diagnoser {
    /// Looks for phases that stray from a plain delay. True if found.
    pub(super) fn phase(
        &self,
        diagnosis: &mut Diagnosis,
        spectrum: &CrossSpectrum,
        figures: &Figures,
        alignment: &Alignment,
        onsets: &OnsetEvidence,
    ) -> bool {
        let whole = self.stray(spectrum, alignment);
        let stray = if let Some(heard) = alignment.attacks {
            // A late channel's attacks lie only in part in their windows; then it takes more of them.
            let few = heard.delay_s.abs() > 0.002 && heard.count < 8;
            let attacks = self.attack_stray(spectrum, onsets, alignment);
            // Echoes and chorus inside the window make few bands agree; two cabinets leave nearly all of them coherent.
            if attacks.bands < STRAY_BANDS || attacks.shared < 0.6 || few || alignment.correlation < -0.2 {
                return false;
            }
            if whole.degrees < attacks.degrees {
                whole
            } else {
                attacks
            }
        } else if whole.shared >= 0.75 && alignment.correlation > 0.0 {
            whole
        } else {
            return false;
        };
        if stray.degrees < STRAY_DEGREES || stray.bands < STRAY_BANDS {
            return false;
        }
        diagnosis.add(
            Cause::FrequencyDependentPhase,
            (stray.degrees / (2.0 * STRAY_DEGREES)).min(1.0),
            Evidence::Phase {
                stray_degrees: stray.degrees,
                shared: whole.shared,
                correlation: figures.correlation,
                suffering: self.suffering(spectrum),
            },
        );
        true
    }

    /// The stray of the whole sound's phases, per band.
    fn stray(&self, spectrum: &CrossSpectrum, alignment: &Alignment) -> Stray {
        let mut stray = Stray::default();
        for band in self.loud_bands(spectrum, LOWEST_HZ) {
            let mut cross = Complex::new(0.0, 0.0);
            let mut cells = 0.0;
            for (cell, share) in self.map.cells(band) {
                cross += spectrum.lr[cell] * self.turn(cell, alignment.delay_s) * share;
                cells += share;
            }
            let left = self.map.sum(band, |k| spectrum.ll[k]);
            let right = self.map.sum(band, |k| spectrum.rr[k]);
            let share = cross.norm() / (left * right).sqrt();
            // Three times what chance would make of unrelated channels.
            let significant = share > 3.0 / (cells * spectrum.averages).sqrt();
            stray.add(cross * alignment.sign, share, left + right, significant);
        }
        stray.finished()
    }

    /// The same of the attacks, in the same bands, weighted by the whole sound's power.
    fn attack_stray(&self, spectrum: &CrossSpectrum, onsets: &OnsetEvidence, alignment: &Alignment) -> Stray {
        let attacks = onsets.spectrum();
        let bin_hz = onsets.rate_hz() / (2 * (attacks.len() - 1)) as f64;
        let mut stray = Stray::default();
        for band in self.loud_bands(spectrum, LOWEST_ATTACK_HZ) {
            let edges = self.map.bands()[band];
            let first = (edges.lower_hz / bin_hz).round() as usize;
            let last = ((edges.upper_hz / bin_hz).round() as usize).min(attacks.len() - 1);
            let (mut cross, mut left, mut right) = (Complex::new(0.0, 0.0), 0.0, 0.0);
            for bin in first..=last {
                let angle = -core::f64::consts::TAU * bin as f64 * bin_hz * alignment.delay_s;
                cross += attacks.lr[bin] * Complex::from_polar(1.0, angle);
                left += attacks.ll[bin];
                right += attacks.rr[bin];
            }
            let power = self.map.sum(band, |k| spectrum.ll[k] + spectrum.rr[k]);
            if left > 0.0 && right > 0.0 {
                let share = (cross.norm() / (left * right).sqrt()).min(1.0);
                stray.add(cross * alignment.sign, share, power, share > 0.6);
            } else {
                stray.add(cross, 0.0, power, false);
            }
        }
        stray.finished()
    }

    /// Bands that hold energy.
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

    /// The bands that suffer when the channels are added as they are.
    fn suffering(&self, spectrum: &CrossSpectrum) -> Suffering {
        let mut suffering = Suffering::default();
        let mut last = None;
        for band in self.loud_bands(spectrum, LOWEST_HZ) {
            let reading = spectrum.band(&self.grid, &self.map, band);
            let Some(loss_db) = reading.sum_difference_db() else {
                continue;
            };
            // A power can be wholly gone; a stored figure stays finite.
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

/// How far phases stray from a plain delay.
#[derive(Clone, Copy, Default)]
struct Stray {
    degrees: f64,
    bands: usize,
    /// Magnitude of the cross term over the powers, weighted by power.
    shared: f64,
    weight: f64,
}

impl Stray {
    fn add(&mut self, cross: Complex<f64>, share: f64, power: f64, significant: bool) {
        self.shared += share * power;
        self.weight += power;
        if significant {
            self.degrees += cross.arg().to_degrees().powi(2);
            self.bands += 1;
        }
    }

    fn finished(mut self) -> Self {
        self.degrees = (self.degrees / self.bands.max(1) as f64).sqrt();
        if self.weight > 0.0 {
            self.shared /= self.weight;
        }
        self
    }
}
