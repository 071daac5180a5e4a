//! Looks at the figures and names the causes.

use super::{
    Cause, Clues, Diagnosis, Evidence, LATE_S, SHORTEST_S, SILENT_DB, SPREAD, UNEVEN_DB, UNEVEN_DIRECT_DB,
    WIDE,
};
use crate::Complex;
use crate::alignment::delay::{ChannelDelay, DelayFinder};
use crate::alignment::onset::{Attacks, OnsetEvidence};
use crate::dsp::db;
use crate::dsp::samples::Cleaner;
use crate::routing::feed::Side;
use crate::spectrum::bands::BandMap;
use crate::spectrum::cross_spectrum::CrossSpectrum;
use crate::spectrum::grid::{Grid, block_len};
use crate::spectrum::welch::{Average, Blocks};

/// What lies below isn't looked at, Hz: rumble decides no diagnosis.
pub(super) const LOWEST_HZ: f64 = 40.0;
/// Without attacks, channels that are each other's negative to this degree are a flipped channel: a reverb would have to
/// be the same in both.
const OPPOSITE: f64 = 0.9;
/// A correlation below this is against each other.
const OPPOSED: f64 = -0.3;
/// Where the direct sound dies away, a correlation below this is a wet that fights itself.
const FIGHTING: f64 = -0.33;
/// This far below the other, a channel that has nothing of the other is noise on a silent channel, dB.
const NOISE_ONLY_DB: f64 = 20.0;
/// Correlation below which channels have nothing in common.
const NOISE_COMMON: f64 = 0.1;

/// Examines spectra on one FFT grid; holds its bands.
#[derive(Clone, Debug)]
pub struct Diagnoser {
    pub(super) grid: Grid,
    pub(super) map: BandMap,
    first_cell: usize,
}

/// The figures of one sound.
pub(super) struct Figures {
    pub left: f64,
    pub right: f64,
    pub correlation: f64,
    pub spread: f64,
    pub seconds: f64,
}

/// The alignment believed in.
pub(super) struct Alignment {
    pub delay_s: f64,
    pub sign: f64,
    /// The attacks show it.
    pub attacks: Option<Attacks>,
    /// The whole sound shows it.
    pub whole: Option<ChannelDelay>,
    /// Correlation of the whole sound once lined up; positive when `sign` fits.
    pub correlation: f64,
}

impl Diagnoser {
    /// For spectra on an FFT grid.
    #[must_use]
    pub fn new(grid: Grid) -> Self {
        let map = BandMap::thirds(&grid);
        let first_cell = grid
            .centres_hz()
            .partition_point(|&hz| hz < LOWEST_HZ)
            .min(grid.len() - 1);
        Self {
            grid,
            map,
            first_cell,
        }
    }

    /// Names the causes. `onsets` gives the phases at the attacks. Does not allocate.
    ///
    /// # Panics
    /// If the spectrum is on another grid.
    #[must_use]
    pub fn examine(&self, spectrum: &CrossSpectrum, clues: &Clues, onsets: &OnsetEvidence) -> Diagnosis {
        assert_eq!(spectrum.len(), self.grid.len(), "a diagnoser belongs to one grid");
        let mut diagnosis = Diagnosis::default();
        let figures = self.figures(spectrum);
        let loudest = figures.left.max(figures.right);
        if db::from_power(loudest) <= db::NO_READING_DBFS || figures.seconds < SHORTEST_S {
            diagnosis.add(
                Cause::NotEnoughSound,
                1.0,
                Evidence::NotEnough {
                    seconds: figures.seconds,
                    spread: figures.spread,
                },
            );
            return diagnosis;
        }
        let difference_db = db::from_power(figures.left / figures.right.max(f64::MIN_POSITIVE));
        // A channel of nothing but noise carries none of the other, however it's lined up.
        let nothing_common = || {
            let delay_s = clues.delay.map_or(0.0, |delay| delay.delay_s);
            let common = self.lined_up(spectrum, &figures, delay_s).abs();
            common.max(figures.correlation.abs()) < NOISE_COMMON
        };
        if difference_db.abs() >= SILENT_DB || difference_db.abs() >= NOISE_ONLY_DB && nothing_common() {
            diagnosis.add(
                Cause::SilentChannel,
                1.0 - 0.5 * db::to_power(NOISE_ONLY_DB - difference_db.abs()),
                Evidence::Silent {
                    side: if difference_db > 0.0 {
                        Side::Right
                    } else {
                        Side::Left
                    },
                    below_db: (figures.left.min(figures.right) > 0.0).then_some(difference_db.abs()),
                },
            );
            return diagnosis;
        }
        if figures.spread > SPREAD {
            diagnosis.add(
                Cause::NotEnoughSound,
                1.0,
                Evidence::NotEnough {
                    seconds: figures.seconds,
                    spread: figures.spread,
                },
            );
            return diagnosis;
        }
        let alignment = self.alignment(spectrum, &figures, clues);
        self.flipped_or_late(&mut diagnosis, &figures, &alignment);
        let phase = self.phase(&mut diagnosis, spectrum, &figures, &alignment, onsets);
        self.opposed(&mut diagnosis, &figures, &alignment, phase);
        self.uneven(&mut diagnosis, difference_db, &alignment, phase);
        self.wide_or_fine(&mut diagnosis, &figures, &alignment, clues, phase);
        diagnosis
    }

    fn figures(&self, spectrum: &CrossSpectrum) -> Figures {
        let (mut left, mut right, mut cross, mut squares) = (0.0, 0.0, 0.0, 0.0);
        for cell in self.first_cell..spectrum.len() {
            left += spectrum.ll[cell];
            right += spectrum.rr[cell];
            cross += spectrum.lr[cell].re;
            squares += spectrum.ll[cell] * spectrum.rr[cell];
        }
        // Blocks that overlap by three quarters amount to one average per half block.
        let block_s = 2.0 * (self.grid.len() - 1) as f64 / self.grid.rate_hz();
        let seconds = spectrum.averages * block_s / 2.0;
        // The variance of unrelated channels' correlation over n averages: Σ ll·rr / (n·P_L·P_R), which for a flat band is
        // CHECKS COR-6's 1/(2BT). Neighbouring Hann bins repeat each other, nearly twice over.
        let both = left * right;
        let spread = if both > 0.0 && spectrum.averages > 0.0 {
            (0.5 * 1.944 * squares / (both * spectrum.averages))
                .sqrt()
                .min(1.0)
        } else {
            1.0
        };
        Figures {
            left,
            right,
            correlation: if both > 0.0 { cross / both.sqrt() } else { 0.0 },
            spread,
            seconds,
        }
    }

    /// Correlation of the whole sound with a delay taken out.
    fn lined_up(&self, spectrum: &CrossSpectrum, figures: &Figures, delay_s: f64) -> f64 {
        let cross: f64 = (self.first_cell..spectrum.len())
            .map(|cell| (spectrum.lr[cell] * self.turn(cell, delay_s)).re)
            .sum();
        let block_s = 2.0 * (self.grid.len() - 1) as f64 / self.grid.rate_hz();
        let overlap = crate::spectrum::welch::window_autocorrelation(delay_s / block_s).max(0.1);
        (cross / overlap / (figures.left * figures.right).sqrt()).clamp(-1.0, 1.0)
    }

    pub(super) fn turn(&self, cell: usize, delay_s: f64) -> Complex<f64> {
        Complex::from_polar(
            1.0,
            -core::f64::consts::TAU * self.grid.centres_hz()[cell] * delay_s,
        )
    }

    fn alignment(&self, spectrum: &CrossSpectrum, figures: &Figures, clues: &Clues) -> Alignment {
        let whole = clues.delay.filter(|delay| delay.confidence >= 0.5);
        if let Some(attacks) = clues.attacks.filter(Attacks::is_one_sound) {
            let sign = attacks.aligned.signum();
            // The whole sound knows the delay to a fraction of a sample, where it means the same one.
            let near = clues
                .delay
                .filter(|delay| (delay.delay_s - attacks.delay_s).abs() < 1.5 / self.grid.rate_hz());
            let delay_s = near.map_or(attacks.delay_s, |delay| delay.delay_s);
            return Alignment {
                delay_s,
                sign,
                attacks: Some(attacks),
                whole: near,
                correlation: sign * self.lined_up(spectrum, figures, delay_s),
            };
        }
        // Without attacks a delay is believed only if lining up by it makes the channels agree.
        if let Some(delay) = whole {
            let sign = delay.polarity.sign();
            let correlation = sign * self.lined_up(spectrum, figures, delay.delay_s);
            if correlation > 0.5 {
                return Alignment {
                    delay_s: delay.delay_s,
                    sign,
                    attacks: None,
                    whole,
                    correlation,
                };
            }
        }
        Alignment {
            delay_s: 0.0,
            sign: 1.0,
            attacks: None,
            whole: None,
            correlation: figures.correlation,
        }
    }

    fn flipped_or_late(&self, diagnosis: &mut Diagnosis, figures: &Figures, alignment: &Alignment) {
        let by_attacks = alignment.attacks.filter(|attacks| attacks.aligned < 0.0);
        let by_whole =
            alignment.attacks.is_none() && alignment.sign < 0.0 && alignment.correlation >= OPPOSITE;
        let flipped = by_attacks.is_some() || by_whole;
        if flipped {
            diagnosis.add(
                Cause::FlippedChannel,
                by_attacks.map_or(0.6, |attacks| sureness(&attacks)),
                Evidence::Flipped {
                    aligned: by_attacks.map_or(-alignment.correlation, |attacks| attacks.aligned),
                    attacks: by_attacks.map_or(0, |attacks| attacks.count),
                    correlation: figures.correlation,
                },
            );
        }
        let delay_s = alignment.delay_s.abs();
        // The attacks alone know the delay to a sample.
        let least_s = if alignment.whole.is_some() {
            LATE_S
        } else {
            LATE_S.max(1.5 / self.grid.rate_hz())
        };
        if delay_s < least_s {
            return;
        }
        let notch = |k: f64| {
            if flipped {
                (k + 1.0) / delay_s
            } else {
                (2.0 * k + 1.0) / (2.0 * delay_s)
            }
        };
        let confidence = alignment
            .attacks
            .map_or(0.0, |attacks| sureness(&attacks))
            .max(alignment.whole.map_or(0.0, |delay| delay.confidence));
        diagnosis.add(
            Cause::LateChannel,
            confidence,
            Evidence::Late {
                side: if alignment.delay_s > 0.0 {
                    Side::Right
                } else {
                    Side::Left
                },
                delay_s,
                notches_hz: [notch(0.0), notch(1.0), notch(2.0)],
                aligned: alignment.sign * alignment.correlation,
            },
        );
    }

    /// Channels against each other without a flipped one.
    fn opposed(&self, diagnosis: &mut Diagnosis, figures: &Figures, alignment: &Alignment, phase: bool) {
        if let Some(attacks) = alignment.attacks {
            let lowest = attacks.lowest.filter(|_| !phase);
            // With one direct sound alike in both channels, only the wet can turn the whole against itself.
            let whole_turned = !phase && alignment.correlation < -0.1 - 2.0 * figures.spread.min(0.1);
            if lowest.is_some_and(|lowest| lowest < FIGHTING) || whole_turned {
                let lowest = lowest.unwrap_or(alignment.correlation);
                diagnosis.add(
                    Cause::WetFightsItself,
                    0.5 + (FIGHTING - lowest.min(alignment.correlation)),
                    Evidence::Fights {
                        lowest,
                        aligned: attacks.aligned,
                        correlation: figures.correlation,
                    },
                );
            }
            return;
        }
        let flipped = diagnosis.get(Cause::FlippedChannel).is_some();
        let late = diagnosis.get(Cause::LateChannel).is_some();
        let correlation = if late {
            alignment.sign * alignment.correlation
        } else {
            figures.correlation
        };
        if !flipped && !phase && correlation < OPPOSED && correlation < -3.0 * figures.spread {
            diagnosis.add(
                Cause::OpposedUntold,
                -correlation,
                Evidence::Opposed { correlation },
            );
        }
    }

    fn uneven(&self, diagnosis: &mut Diagnosis, difference_db: f64, alignment: &Alignment, phase: bool) {
        // Two cabinets differ over frequency, and a late channel's attack is cut short: neither tells a level.
        let direct_db = alignment
            .attacks
            .filter(|attacks| !phase && attacks.delay_s.abs() < 0.002)
            .map(|attacks| attacks.level_difference_db);
        let by_direct = direct_db.filter(|_| {
            alignment
                .attacks
                .is_some_and(|a| a.count >= 4 && a.aligned.abs() > 0.8)
        });
        let by_whole = difference_db.abs() >= UNEVEN_DB;
        if !by_whole && by_direct.is_none_or(|db| db.abs() < UNEVEN_DIRECT_DB) {
            return;
        }
        let leading = if by_whole {
            difference_db
        } else {
            direct_db.unwrap_or(difference_db)
        };
        let side = leading.signum();
        diagnosis.add(
            Cause::UnevenChannels,
            0.5 + 0.5 * ((leading.abs() - UNEVEN_DB) / 3.0).clamp(0.0, 1.0),
            Evidence::Uneven {
                louder: if side > 0.0 { Side::Left } else { Side::Right },
                whole_db: side * difference_db,
                direct_db: direct_db.map(|db| side * db),
            },
        );
    }

    fn wide_or_fine(
        &self,
        diagnosis: &mut Diagnosis,
        figures: &Figures,
        alignment: &Alignment,
        clues: &Clues,
        phase: bool,
    ) {
        let told = [Cause::WetFightsItself, Cause::OpposedUntold];
        let fights = told.iter().any(|&cause| diagnosis.get(cause).is_some());
        // Two cabinets take the correlation down without making the sound wide.
        let wide = alignment.correlation < WIDE && !phase && !fights;
        if wide {
            let correlation = alignment.correlation;
            diagnosis.add(
                Cause::WideSound,
                0.5 + ((WIDE - correlation) / (0.2 + 2.0 * figures.spread)).min(0.5),
                Evidence::Wide {
                    correlation: alignment.sign * correlation,
                    attacks: clues.attacks.map(|attacks| attacks.aligned),
                },
            );
        }
        if diagnosis.first().is_none() {
            let (left, right) = (figures.left, figures.right);
            let cross = figures.correlation * (left * right).sqrt();
            diagnosis.add(
                Cause::NothingWrong,
                0.5 + ((alignment.correlation - WIDE) / (0.2 + 2.0 * figures.spread)).min(0.5),
                Evidence::Fine {
                    correlation: figures.correlation,
                    sum_difference_db: db::from_power((left + right + 2.0 * cross) / (2.0 * (left + right))),
                },
            );
        }
    }
}

/// How sure the attacks' sign and delay are.
fn sureness(attacks: &Attacks) -> f64 {
    let errors = attacks.aligned.abs() / attacks.aligned_spread.max(0.01);
    attacks.agreeing * (1.0 - (-errors / 3.0).exp()) * (1.0 - 0.5 / attacks.count as f64)
}

/// The diagnosis of a whole signal: the convenient way for files and tests. Allocates.
#[must_use]
pub fn diagnose(left: &[f32], right: &[f32], rate_hz: f64) -> Diagnosis {
    let len = block_len(rate_hz);
    let grid = Grid::fft(rate_hz, len);
    let (mut blocks, mut average) = (Blocks::new(len), Average::take(len));
    let mut onsets = OnsetEvidence::new(rate_hz);
    Cleaner::default().runs(left, right, |run| {
        blocks.push(run, |block| average.add(block));
        onsets.push(run);
    });
    blocks.flush(|block| average.add(block));
    let mut spectrum = CrossSpectrum::silent(grid.len());
    average.read(&mut spectrum);
    let clues = Clues {
        delay: DelayFinder::new(rate_hz, len).find(&spectrum),
        attacks: onsets.read(f64::INFINITY),
    };
    Diagnoser::new(grid).examine(&spectrum, &clues, &onsets)
}
