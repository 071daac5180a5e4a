//! Names the causes from the figures.

pub use super::figures::Diagnoser;
use super::figures::Figures;
use super::settle::OPPOSED;
use super::{
    Cause, Clues, Diagnosis, Evidence, FIGHTS_DB, LATE_S, SHORTEST_S, SILENT_DB, SPREAD, UNEVEN_DB, WIDE,
    WetHeard, Whole,
};
use crate::alignment::delay::DelayFinder;
use crate::alignment::onset::OnsetEvidence;
use crate::dsp::db;
use crate::dsp::samples::Cleaner;
use crate::explain::direct::Direct;
use crate::explain::movement::Movement;
use crate::routing::feed::Side;
use crate::spectrum::cross_spectrum::CrossSpectrum;
use crate::spectrum::grid::{Grid, block_len};
use crate::spectrum::welch::{Average, Blocks};
use crate::split::Split;
use crate::split::estimated::Tracker;
use crate::split::interval::{Interval, Known};
use crate::split::kind::PresetKind;
use crate::split::ways::Memory;

/// A correlation below this while the direct sound dies away is a wet that works against itself.
const FIGHTING: f64 = -0.33;
/// A direct sound whose channels correlate by less than this lies on one side, and says nothing of its wet.
const SHARED: f64 = 0.5;
/// Attacks that correlate by less than this may be several sounds.
const ONE_SOUND: f64 = 0.7;
/// A delay shown by the attacks explains the whole sound when it raises the channels' correlation by at least this.
const BETTER: f64 = 0.1;
/// Without onsets a channel is called late only if lining up raises the whole sound's correlation by this.
const STEADY: f64 = 0.3;
/// Tolerance of the attacks' level difference, dB.
const LEVEL_OFF_DB: f64 = 1.5;
/// A first notch above this doesn't matter, Hz.
const HIGHEST_NOTCH_HZ: f64 = 12_000.0;

/// The polarity and delay taken as true.
struct Alignment {
    sign: f64,
    /// Correlation of the whole sound, lined up; positive when it agrees with `sign`.
    correlation: f64,
}

impl Diagnoser {
    /// Names the causes as far as the sound alone shows them; [`Diagnosis::settled`] adds what the feeds show. Does not
    /// allocate.
    ///
    /// # Panics
    /// If the spectrum isn't on this grid.
    #[must_use]
    pub fn examine(&self, spectrum: &CrossSpectrum, clues: &Clues) -> Diagnosis {
        assert_eq!(spectrum.len(), self.grid.len(), "a diagnoser belongs to one grid");
        let figures = self.figures(spectrum);
        let loudest = figures.left.max(figures.right);
        let mut diagnosis = Diagnosis::default();
        let too_little = |diagnosis: &mut Diagnosis| {
            let evidence = Evidence::NotEnough {
                seconds: figures.seconds,
                spread: figures.spread,
            };
            diagnosis.add(Cause::NotEnoughSound, 1.0, evidence);
        };
        if db::from_power(loudest) <= db::NO_READING_DBFS || figures.seconds < SHORTEST_S {
            too_little(&mut diagnosis);
        } else if self.one_is_silent(&mut diagnosis, spectrum, &figures, clues) {
            // Nothing else can be told of it.
        } else if figures.spread > SPREAD {
            too_little(&mut diagnosis);
        } else {
            self.causes(&mut diagnosis, spectrum, &figures, clues);
        }
        diagnosis
    }

    /// Names the causes of a sound whose dry and wet are known separately, on this grid, with the delay between the
    /// dry's channels, seconds. A movement found `before` stays, because the parts don't show it.
    ///
    /// # Panics
    /// If the split isn't on this grid.
    #[must_use]
    pub fn examine_parts(&self, split: &Split, delay_s: f64, before: Option<&Diagnosis>) -> Diagnosis {
        let total = &split.total;
        assert_eq!(total.len(), self.grid.len(), "a diagnoser belongs to one grid");
        let figures = self.figures(total);
        let mut diagnosis = Diagnosis::default();
        if db::from_power(figures.left.max(figures.right)) <= db::NO_READING_DBFS {
            return before.copied().unwrap_or_default();
        }
        let of_wet = self.figures(&split.wet);
        let all = of_wet.left + of_wet.right;
        let there = all > db::to_power(crate::score::scorer::NOT_FOUND_DB) * (figures.left + figures.right);
        let cross = 2.0 * of_wet.correlation * (of_wet.left * of_wet.right).sqrt();
        let clues = Clues {
            direct: Direct::of_dry(&split.dry, &self.grid, delay_s),
            wet: there.then(|| WetHeard {
                sum_db: db::from_power((all + cross).max(0.0) / (2.0 * all)),
                correlation: of_wet.correlation,
            }),
            ..Clues::default()
        };
        if !self.one_is_silent(&mut diagnosis, total, &figures, &clues) {
            self.causes(&mut diagnosis, total, &figures, &clues);
        }
        if let Some(moves) = before.and_then(|before| before.get(Cause::MovementLost)) {
            diagnosis.add(moves.cause, moves.confidence, moves.evidence);
        }
        diagnosis
    }

    fn one_is_silent(
        &self,
        diagnosis: &mut Diagnosis,
        spectrum: &CrossSpectrum,
        figures: &Figures,
        clues: &Clues,
    ) -> bool {
        let delay_s = clues.direct.map_or(0.0, |direct| direct.delay_s);
        let Some((side, confidence)) = self.silent(spectrum, figures, delay_s, SILENT_DB) else {
            return false;
        };
        let evidence = Evidence::Silent {
            side,
            below_db: (figures.left.min(figures.right) > 0.0).then_some(figures.difference_db().abs()),
        };
        diagnosis.add(Cause::SilentChannel, confidence, evidence);
        true
    }

    fn causes(&self, diagnosis: &mut Diagnosis, spectrum: &CrossSpectrum, figures: &Figures, clues: &Clues) {
        let direct = self.direct(spectrum, figures, clues);
        let direct = direct.as_ref();
        diagnosis.whole = Some(Whole::of(
            figures.correlation,
            figures.left,
            figures.right,
            direct,
            clues.attacks.as_ref(),
        ));
        let sign = if direct.is_some_and(Direct::is_flipped) {
            -1.0
        } else {
            1.0
        };
        let steady_s = if clues.no_dry { 0.0 } else { clues.delay_s };
        let delay_s = direct.map_or(steady_s, |direct| direct.delay_s);
        let alignment = Alignment {
            sign,
            correlation: sign * self.lined_up(spectrum, figures, delay_s),
        };
        if let Some(direct) = direct {
            flipped(diagnosis, figures, direct, &alignment);
            late(diagnosis, delay_s, direct.sure, &alignment);
            self.turns(diagnosis, spectrum, figures, direct);
        } else if alignment.correlation > WIDE.max(figures.correlation.abs() + STEADY) {
            late(diagnosis, delay_s, alignment.correlation, &alignment);
        }
        if let Some(movement) = clues.movement.filter(Movement::is_lost) {
            diagnosis.add(Cause::MovementLost, movement.one_rate, Evidence::Moves(movement));
        }
        fights(diagnosis, figures, &alignment, direct, clues);
        // Of a sound that moves between the channels, onsets lie on one side by chance.
        if !diagnosis.has_any(&[Cause::MovementLost]) || direct.is_some_and(|direct| direct.one) {
            uneven(diagnosis, figures, direct);
        }
        wide(diagnosis, figures, &alignment, direct);
    }

    /// The direct sound as the attacks show it, where the onset increments have no single direction but the attacks are
    /// one sound in both channels. With two amplifiers, whose phases turn over frequency, only the attacks' delay is
    /// taken, and only if it lines up more of the whole.
    fn direct(&self, spectrum: &CrossSpectrum, figures: &Figures, clues: &Clues) -> Option<Direct> {
        let heard = clues.direct;
        let one_sound = clues.attacks.filter(|attacks| {
            attacks.is_one_sound() && attacks.aligned.abs() >= ONE_SOUND * attacks.inside()
        });
        let (Some(attacks), false) = (one_sound, clues.no_dry || heard.is_some_and(|direct| direct.one))
        else {
            return heard.map(|direct| direct.borne_out(clues.attacks.as_ref()));
        };
        let lined_up = self.lined_up(spectrum, figures, attacks.delay_s).abs();
        let plain = figures.correlation.abs();
        // Attacks that agree only once lined up, and look inverted before, are late and not flipped.
        let against = attacks.aligned * attacks.correlation < 0.0;
        let delay_s = if attacks.delay_s.abs() >= LATE_S.max(1.5 / self.grid.rate_hz())
            && (against || lined_up > plain + BETTER)
        {
            attacks.delay_s
        } else {
            0.0
        };
        if let Some(direct) = heard.filter(Direct::turns) {
            return Some(Direct { delay_s, ..direct });
        }
        let level_db = attacks.level_difference_db;
        let level_db = Interval::new(
            level_db - LEVEL_OFF_DB,
            level_db,
            level_db + LEVEL_OFF_DB,
            Known::Bounded,
        );
        let correlation = if delay_s == 0.0 {
            attacks.correlation
        } else {
            attacks.aligned
        };
        // The first sounds of an effect on the side alone look inverted, but what the channels share turns from band to
        // band.
        let carried = heard.is_none_or(|direct| direct.is_carried());
        let correlation = if carried {
            correlation
        } else {
            correlation.max(0.0)
        };
        Some(Direct::one_sound(level_db, correlation, delay_s, attacks.count))
    }
}

fn flipped(diagnosis: &mut Diagnosis, figures: &Figures, direct: &Direct, alignment: &Alignment) {
    if alignment.sign > 0.0 {
        return;
    }
    diagnosis.add(
        Cause::FlippedChannel,
        direct.sure,
        Evidence::Flipped {
            aligned: direct.correlation,
            attacks: direct.onsets.unwrap_or(0),
            correlation: figures.correlation,
            straight_db: Some(direct.surely_straight_db()).filter(|db| db.is_finite()),
        },
    );
}

fn late(diagnosis: &mut Diagnosis, right_late_s: f64, sure: f64, alignment: &Alignment) {
    let delay_s = right_late_s.abs();
    let notch = |k: f64| {
        if alignment.sign < 0.0 {
            (k + 1.0) / delay_s
        } else {
            (2.0 * k + 1.0) / (2.0 * delay_s)
        }
    };
    if delay_s < LATE_S || notch(0.0) > HIGHEST_NOTCH_HZ {
        return;
    }
    diagnosis.add(
        Cause::LateChannel,
        sure,
        Evidence::Late {
            side: if right_late_s > 0.0 {
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

/// A wet whose channels work against each other, or channels that do so for a cause that can't be told.
fn fights(
    diagnosis: &mut Diagnosis,
    figures: &Figures,
    alignment: &Alignment,
    direct: Option<&Direct>,
    clues: &Clues,
) {
    if let Some(wet) = clues.wet {
        if wet.sum_db < FIGHTS_DB {
            diagnosis.add(
                Cause::WetFightsItself,
                1.0,
                Evidence::Fights {
                    lowest: wet.correlation,
                    aligned: direct.map_or(0.0, |direct| direct.correlation),
                    correlation: figures.correlation,
                    wet_db: Some(wet.sum_db).filter(|db| db.is_finite()),
                },
            );
        }
        return;
    }
    let one = direct.filter(|direct| direct.one && direct.correlation.abs() > SHARED);
    if let Some(direct) = one {
        // With one direct sound alike in both channels, only the wet can make the whole work against itself. Some low
        // correlations while the direct sound dies away are due to chance, which is allowed for.
        let lowest = clues
            .attacks
            .and_then(|attacks| Some(attacks.lowest? + attacks.lowest_by_chance));
        let turned = alignment.correlation < -0.1 - 2.0 * figures.spread.min(0.1);
        if lowest.is_some_and(|lowest| lowest < FIGHTING) || turned {
            let lowest = lowest.unwrap_or(alignment.correlation);
            diagnosis.add(
                Cause::WetFightsItself,
                0.5 + (FIGHTING - lowest.min(alignment.correlation)),
                Evidence::Fights {
                    lowest,
                    aligned: direct.correlation,
                    correlation: figures.correlation,
                    wet_db: None,
                },
            );
        }
    } else if direct.is_none()
        && alignment.correlation < OPPOSED
        && alignment.correlation < -3.0 * figures.spread
    {
        diagnosis.add(
            Cause::OpposedUntold,
            -alignment.correlation,
            Evidence::Opposed {
                correlation: alignment.correlation,
            },
        );
    }
}

/// Uneven channels: of the direct sound, or of the whole where no direct sound is known.
fn uneven(diagnosis: &mut Diagnosis, figures: &Figures, direct: Option<&Direct>) {
    let whole_db = figures.difference_db();
    let surely_db = direct.map_or(whole_db, Direct::surely_louder_left_db);
    if surely_db.abs() < UNEVEN_DB {
        return;
    }
    let side = surely_db.signum();
    let direct_db = direct.map(|direct| side * direct.level_db.likely);
    diagnosis.add(
        Cause::UnevenChannels,
        direct.map_or(0.6, |direct| direct.sure),
        Evidence::Uneven {
            louder: if side > 0.0 { Side::Left } else { Side::Right },
            whole_db: side * whole_db,
            direct_db: direct_db.filter(|db| db.is_finite()),
            alone: direct_db.is_some_and(|db| db == f64::INFINITY),
        },
    );
}

/// Channels that carry different sounds. Two cabinets lower the correlation without making the sound wide, and so does
/// movement between the channels.
fn wide(diagnosis: &mut Diagnosis, figures: &Figures, alignment: &Alignment, direct: Option<&Direct>) {
    let told = [
        Cause::FrequencyDependentPhase,
        Cause::MovementLost,
        Cause::WetFightsItself,
        Cause::OpposedUntold,
    ];
    if alignment.correlation >= WIDE || diagnosis.has_any(&told) {
        return;
    }
    diagnosis.add(
        Cause::WideSound,
        0.5 + ((WIDE - alignment.correlation) / (0.2 + 2.0 * figures.spread)).min(0.5),
        Evidence::Wide {
            correlation: alignment.sign * alignment.correlation,
            attacks: direct.map(|direct| direct.correlation),
        },
    );
}

/// The diagnosis of a whole signal, without what the feeds add; a convenience for files and tests. Allocates.
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
    let mut tracker = Tracker::new(rate_hz, Memory::TAKE);
    tracker.try_delay(DelayFinder::new(rate_hz, len).candidate(&spectrum));
    Cleaner::default().runs(left, right, |run| tracker.push(run));
    let (evidence, ways) = tracker.evidence();
    let bounds = evidence.resolve(PresetKind::NotSaid).bounds;
    let clues = Clues::heard(&evidence, &bounds, ways, onsets.read(f64::INFINITY));
    Diagnoser::new(grid).examine(&spectrum, &clues)
}
