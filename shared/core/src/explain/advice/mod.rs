//! What to change, computed from the sound at hand, and what it brings: each piece of advice is applied to the spectra and
//! measured again.
//!
//! A promise is as good as the split it stands on: dry and wet told apart by two passes make it exact, an estimated split
//! makes it an estimate. Advice about the whole sound depends on no split at all.

use crate::Complex;
use crate::alignment::delay::ChannelDelay;
use crate::dsp::db;
use crate::explain::diagnosis::{Cause, Diagnosis};
use crate::explain::margin::{self, DelayMargin, PartMargin, cross_at, part_margin, restoring_offset};
use crate::routing::feed::Side;
use crate::routing::line::Polarity;
use crate::score::scorer::NOT_FOUND_DB;
use crate::spectrum::cross_spectrum::CrossSpectrum;
use crate::spectrum::grid::Grid;
use crate::split::Split;

/// A part of the sound.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Part {
    /// The direct sound.
    Dry,
    /// Everything.
    Total,
}

/// What to do.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Action {
    /// Flip one channel of the preset.
    FlipChannel,
    /// Delay the other channel of the preset by as much as this one is late.
    RemoveDelay {
        /// The late one.
        late: Side,
        /// How late, seconds.
        delay_s: f64,
    },
    /// Make the wet louder (or, negative, softer), so that a mono wedge is as wet as stereo is now. Stereo gets wetter by as
    /// much.
    WetLevel {
        /// By this much, dB.
        change_db: f64,
    },
    /// Pan the dry: one channel's dry this much louder than it is against the other's. The image moves to that side.
    DryOffset {
        /// The louder one.
        louder: Side,
        /// By this much, dB.
        offset_db: f64,
    },
    /// If only one line fits the wedge, this one.
    OneLine {
        /// Which.
        line: Side,
    },
    /// See that no line is later than this.
    KeepLinesWithin {
        /// Seconds.
        delay_s: f64,
    },
    /// No change in the preset helps against a flipped line: flip it back at the desk.
    FlipLineBack,
}

/// What is measured before and after, dB.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Quantity {
    /// Level of this part in the mono wedge against stereo.
    Wedge(Part),
    /// Wet over dry in the mono wedge, against wet over dry in stereo as it was before.
    WedgeBalance,
    /// The dry with one line flipped, against the un-faulted sum.
    FlippedDry,
    /// The dry with one line late, against the sum on time: before, the worst delay up to 10 ms; after, the one named.
    LateDry,
}

/// A piece of advice.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Advice {
    /// What to do.
    pub action: Action,
    /// What it is about.
    pub quantity: Quantity,
    /// That quantity as it is, dB; −∞ for what is gone.
    pub before_db: f64,
    /// That quantity once the advice was applied to the spectra, dB.
    pub after_db: f64,
}

impl Advice {
    /// What is gained (or, negative, what it costs), dB; ∞ when something gone comes back.
    #[must_use]
    pub fn promise_db(&self) -> f64 {
        if self.before_db == self.after_db {
            0.0
        } else {
            self.after_db - self.before_db
        }
    }
}

/// What the player wants kept.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(default))]
pub struct Wishes {
    /// The dry with one line flipped is to stay above this, against the un-faulted sum, dB.
    pub flipped_db: f64,
    /// An offset of the dry beyond this spoils the image, dB.
    pub largest_offset_db: f64,
    /// A late line may cost the dry this much, dB.
    pub late_loss_db: f64,
}

impl Default for Wishes {
    /// Common practice, no source.
    fn default() -> Self {
        Self {
            flipped_db: margin::FLIPPED_DB,
            largest_offset_db: 6.0,
            late_loss_db: margin::LOSS_DB,
        }
    }
}

/// Smallest gain worth changing a preset for, dB.
const WORTH_DB: f64 = 0.5;

/// All advice for a sound on its grid, what concerns the preset first. Allocates.
///
/// # Panics
/// If the split isn't on that grid.
#[must_use]
pub fn advise(
    split: &Split,
    grid: &Grid,
    delay: Option<ChannelDelay>,
    diagnosis: Option<&Diagnosis>,
    wishes: &Wishes,
) -> Vec<Advice> {
    let has_dry = is_there(&split.dry, split);
    let has_wet = is_there(&split.wet, split);
    let margin = if has_dry {
        part_margin(&split.dry, grid, wishes.late_loss_db, wishes.flipped_db)
    } else {
        None
    };
    let mut advice = Vec::new();
    let mut give = |action, quantity| advice.push(measured(split, grid, action, quantity, margin.as_ref()));
    let found = |cause| diagnosis.is_some_and(|diagnosis| diagnosis.get(cause).is_some());
    if let Some(delay) = delay.filter(|_| found(Cause::LateChannel)) {
        let late = if delay.delay_s > 0.0 {
            Side::Right
        } else {
            Side::Left
        };
        let action = Action::RemoveDelay {
            late,
            delay_s: delay.delay_s.abs(),
        };
        // A flipped late channel, lined up, cancels: then the flip comes first, and the delay after it.
        if delay.polarity == Polarity::Normal {
            give(action, Quantity::Wedge(Part::Total));
        }
    }
    if found(Cause::FlippedChannel) {
        give(Action::FlipChannel, Quantity::Wedge(Part::Total));
    }
    if !has_dry {
        give(better_line(&split.total), Quantity::Wedge(Part::Total));
        return advice;
    }
    if has_wet {
        let shift = wedge_balance_db(split, grid) - stereo_balance_db(split);
        if shift.is_finite() && shift.abs() >= WORTH_DB {
            give(Action::WetLevel { change_db: -shift }, Quantity::WedgeBalance);
        }
    }
    let (left, right) = split.dry.powers();
    let offset = restoring_offset(left, right, cross_at(&split.dry, grid, 0.0), wishes.flipped_db);
    if offset.offset_db > wishes.largest_offset_db {
        give(Action::FlipLineBack, Quantity::FlippedDry);
    } else if offset.offset_db > 0.0 {
        let action = Action::DryOffset {
            louder: offset.louder,
            offset_db: offset.offset_db,
        };
        give(action, Quantity::FlippedDry);
    }
    if let Some(DelayMargin::Reached { delay_s, .. }) = margin.as_ref().map(|margin| margin.delay) {
        give(Action::KeepLinesWithin { delay_s }, Quantity::LateDry);
    }
    give(better_line(&split.dry), Quantity::Wedge(Part::Dry));
    advice
}

fn is_there(part: &CrossSpectrum, split: &Split) -> bool {
    part.mean_power() > db::to_power(NOT_FOUND_DB) * split.total.mean_power()
}

/// The line that carries more of a part.
fn better_line(part: &CrossSpectrum) -> Action {
    let (left, right) = part.powers();
    Action::OneLine {
        line: if left >= right { Side::Left } else { Side::Right },
    }
}

/// Power of the average sum, one line with a sign, the right one late by `delay_s`.
fn sum_power(part: &CrossSpectrum, grid: &Grid, sign: f64, delay_s: f64) -> f64 {
    let (left, right) = part.powers();
    ((left + right + sign * 2.0 * cross_at(part, grid, delay_s)) / 4.0).max(0.0)
}

fn wedge_balance_db(split: &Split, grid: &Grid) -> f64 {
    db::from_power(sum_power(&split.wet, grid, 1.0, 0.0) / sum_power(&split.dry, grid, 1.0, 0.0))
}

fn stereo_balance_db(split: &Split) -> f64 {
    db::from_power(split.wet.mean_power() / split.dry.mean_power())
}

/// Measures a quantity, applies the action, and measures again. `margin` is the dry's.
fn measured(
    split: &Split,
    grid: &Grid,
    action: Action,
    quantity: Quantity,
    margin: Option<&PartMargin>,
) -> Advice {
    let changed = applied(split, &action);
    let part_of = |split: &Split, part| match part {
        Part::Dry => split.dry.clone(),
        Part::Total => split.total.clone(),
    };
    let (before_db, after_db) = match quantity {
        Quantity::Wedge(part) => {
            let wedge = |split: &Split| {
                let part = part_of(split, part);
                db::from_power(sum_power(&part, grid, 1.0, 0.0) / part.mean_power())
            };
            let after = if let Action::OneLine { line } = action {
                let part = part_of(&changed, part);
                let (left, right) = part.powers();
                let of = if line == Side::Left { left } else { right };
                db::from_power(of / part.mean_power())
            } else {
                wedge(&changed)
            };
            (wedge(split), after)
        }
        Quantity::WedgeBalance => {
            let stereo = stereo_balance_db(split);
            (
                wedge_balance_db(split, grid) - stereo,
                wedge_balance_db(&changed, grid) - stereo,
            )
        }
        Quantity::FlippedDry => {
            let flipped = |dry: &CrossSpectrum, sign| {
                db::from_power(sum_power(dry, grid, sign, 0.0) / sum_power(dry, grid, 1.0, 0.0))
            };
            let floor = split.method.floor_db().unwrap_or(f64::NEG_INFINITY);
            // With the line flipped back nothing is left of the fault.
            let sign = if action == Action::FlipLineBack { 1.0 } else { -1.0 };
            (flipped(&split.dry, -1.0).max(floor), flipped(&changed.dry, sign))
        }
        Quantity::LateDry => {
            let on_time = sum_power(&split.dry, grid, 1.0, 0.0);
            let late = |delay_s: f64| {
                let power =
                    sum_power(&split.dry, grid, 1.0, delay_s).min(sum_power(&split.dry, grid, 1.0, -delay_s));
                db::from_power(power / on_time)
            };
            let worst = margin.map_or(0.0, |margin| {
                let levels = margin.map.straight_db.iter();
                let lowest = levels.fold(f32::INFINITY, |a, &b| a.min(b));
                f64::from(lowest) - db::from_power(on_time / split.dry.mean_power())
            });
            let Action::KeepLinesWithin { delay_s } = action else {
                return Advice {
                    action,
                    quantity,
                    before_db: worst,
                    after_db: worst,
                };
            };
            (worst, late(delay_s))
        }
    };
    Advice {
        action,
        quantity,
        before_db,
        after_db,
    }
}

/// The spectra as they'd be with the action done to the preset; actions at the desk leave them as they are.
#[must_use]
pub fn applied(split: &Split, action: &Action) -> Split {
    let mut changed = split.clone();
    match *action {
        Action::FlipChannel => {
            for part in [&mut changed.dry, &mut changed.wet, &mut changed.total] {
                let cross = part.lr.iter_mut().chain(&mut part.near);
                cross.for_each(|cross| *cross = -*cross);
            }
        }
        Action::RemoveDelay { late, delay_s } => {
            let by = if late == Side::Right { delay_s } else { -delay_s };
            for part in [&mut changed.dry, &mut changed.wet, &mut changed.total] {
                part.delay_s -= by;
                // What lay near no delay is now as far the other way; a take's cells are too wide to say where.
                part.near.clear();
            }
        }
        Action::WetLevel { change_db } => scale(&mut changed, true, [db::to_amplitude(change_db); 2]),
        Action::DryOffset { louder, offset_db } => {
            let softer = db::to_amplitude(-offset_db);
            let gains = if louder == Side::Left {
                [1.0, softer]
            } else {
                [softer, 1.0]
            };
            scale(&mut changed, false, gains);
        }
        Action::OneLine { .. } | Action::KeepLinesWithin { .. } | Action::FlipLineBack => {}
    }
    changed
}

/// Gains on both channels of dry or wet. The total changes by what that part changes: what dry and wet have to do with
/// each other by chance is left out.
fn scale(split: &mut Split, wet: bool, [left, right]: [f64; 2]) {
    let Split {
        dry,
        wet: effects,
        total,
        ..
    } = split;
    let part = if wet { effects } else { dry };
    for cell in 0..part.len() {
        let (ll, rr, lr) = (part.ll[cell], part.rr[cell], part.lr[cell]);
        part.ll[cell] = ll * left * left;
        part.rr[cell] = rr * right * right;
        part.lr[cell] = lr * (left * right);
        total.ll[cell] = (total.ll[cell] + part.ll[cell] - ll).max(0.0);
        total.rr[cell] = (total.rr[cell] + part.rr[cell] - rr).max(0.0);
        // Where the parts keep different delays apart the cross terms can't be added cell by cell; the total's is then
        // scaled with the powers.
        total.lr[cell] = if part.delay_s == total.delay_s {
            total.lr[cell] + part.lr[cell] - lr
        } else {
            total.lr[cell] * Complex::new(left * right, 0.0)
        };
    }
}
