//! How much a sound tolerates: how late a line may be, and what a flipped sum would need.
//!
//! Two lines of equal sound, one late by τ, add up to `(1 + cos 2πfτ)/2` of the power at every frequency: a comb, whose
//! broadband average tends to −3.01 dB. So 'not reached' is a possible answer.

use multiversion::multiversion;

use crate::Complex;
use crate::dsp::db;
use crate::dsp::numbers::to_single;
use crate::routing::feed::Side;
use crate::spectrum::cross_spectrum::CrossSpectrum;
use crate::spectrum::grid::{Grid, WIDEST_BIN_HZ};
use crate::split::Split;

/// Longest delay examined, seconds.
pub const LONGEST_S: f64 = 0.010;
/// Points of a [`Map`] per polarity: 0 to 10 ms in steps of 0.1 ms.
pub const MAP_POINTS: usize = 101;
/// Default of the loss that counts, dB.
pub const LOSS_DB: f64 = 2.0;
/// Default limit of a flipped sum against the un-faulted one, dB.
pub const FLIPPED_DB: f64 = -10.0;

/// Steps computed between two points of a map.
const FINER: usize = 10;
const STEPS: usize = (MAP_POINTS - 1) * FINER + 1;
const STEP_S: f64 = LONGEST_S / (STEPS - 1) as f64;

/// The smallest delay of a line that causes the loss asked for, against the sum of lines that are on time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum DelayMargin {
    /// There is such a delay.
    Reached {
        /// How late, seconds.
        delay_s: f64,
        /// Which line.
        line: Side,
    },
    /// No delay up to [`LONGEST_S`] causes that loss.
    NotReached {
        /// The deepest loss found, dB (negative).
        deepest_db: f64,
    },
}

/// Level of the sum over delay and polarity, dB against stereo (mean power of both channels): 0 for equal channels on
/// time, −3.01 for unrelated ones. Either line may be the late one; the worse case counts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Map {
    /// Point `i` is a delay of `i · 0.1 ms`, both lines of equal polarity.
    pub straight_db: [f32; MAP_POINTS],
    /// The same with one line flipped.
    pub flipped_db: [f32; MAP_POINTS],
}

impl Map {
    /// The delay of a point, seconds.
    #[must_use]
    pub fn delay_s(point: usize) -> f64 {
        point as f64 * FINER as f64 * STEP_S
    }
}

/// A level offset between the channels.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Offset {
    /// By how much one channel must be raised against the other, dB; 0 when nothing is needed.
    pub offset_db: f64,
    /// Which one.
    pub louder: Side,
}

/// The margin of one part of the sound.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PartMargin {
    /// How late a line may be.
    pub delay: DelayMargin,
    /// The offset that would keep the sum with one line flipped within the limit of the un-faulted sum. It exists for
    /// every limit below 0 dB.
    pub offset: Offset,
    /// The level at every delay, for drawing.
    pub map: Map,
}

/// The margins of dry and total; `None` for a part that isn't there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Margin {
    /// The loss asked for, dB (positive).
    pub loss_db: f64,
    /// The limit of a flipped sum, dB (negative).
    pub flipped_db: f64,
    /// Of the dry.
    pub dry: Option<PartMargin>,
    /// Of the total.
    pub total: Option<PartMargin>,
}

impl Margin {
    /// The margins of a split sound on its grid, FFT bins or the cells of a take. Does not allocate; on 4097 bins about
    /// four million complex products a part, some tens of milliseconds: call it about once a second, not for every
    /// reading.
    ///
    /// # Panics
    /// If the split isn't on that grid.
    #[must_use]
    pub fn of(split: &Split, grid: &Grid, loss_db: f64, flipped_db: f64) -> Self {
        Self {
            loss_db,
            flipped_db,
            dry: part_margin(&split.dry, grid, loss_db, flipped_db),
            total: part_margin(&split.total, grid, loss_db, flipped_db),
        }
    }
}

/// The cross term of a whole spectrum, the right line late by `delay_s` (the left one when negative).
#[must_use]
pub fn cross_at(spectrum: &CrossSpectrum, grid: &Grid, delay_s: f64) -> f64 {
    (0..spectrum.len())
        .map(|cell| spectrum.cross(grid, cell, delay_s).re)
        .sum()
}

/// The margin of one spectrum; `None` when it's silent.
///
/// # Panics
/// If the spectrum isn't on that grid.
#[must_use]
pub fn part_margin(
    spectrum: &CrossSpectrum,
    grid: &Grid,
    loss_db: f64,
    flipped_db: f64,
) -> Option<PartMargin> {
    assert_eq!(spectrum.len(), grid.len(), "a spectrum belongs to one grid");
    let (left, right) = spectrum.powers();
    if left + right <= 0.0 {
        return None;
    }
    let mut late = [[0.0; STEPS]; 2];
    let bins_hz = grid.block_len().map(|len| grid.rate_hz() / len as f64);
    if spectrum.delay_s == 0.0 && bins_hz.is_some_and(|hz| hz <= WIDEST_BIN_HZ) {
        crosses_of_bins(spectrum, grid, &mut late);
    } else {
        crosses_over_delay(spectrum, grid, &mut late);
    }
    let stereo = 2.0 * (left + right);
    // The average sum over the mean power of both channels.
    let level = |cross: f64, sign: f64| db::from_power((left + right + sign * 2.0 * cross) / stereo);
    let worse = |step: usize, sign: f64| {
        let of = |line: usize| level(late[line][step], sign);
        to_single(of(0).min(of(1)))
    };
    let mut map = Map {
        straight_db: [0.0; MAP_POINTS],
        flipped_db: [0.0; MAP_POINTS],
    };
    for point in 0..MAP_POINTS {
        map.straight_db[point] = worse(FINER * point, 1.0);
        map.flipped_db[point] = worse(FINER * point, -1.0);
    }
    Some(PartMargin {
        delay: delay_margin(spectrum, grid, &late, loss_db),
        offset: restoring_offset(left, right, late[1][0], flipped_db),
        map,
    })
}

/// The cross term at every step of delay, for a late left line and for a late right one, which rotate it in opposite
/// directions. Each cell's phasors are advanced from step to step, at the cost of a product instead of a sine.
fn crosses_over_delay(spectrum: &CrossSpectrum, grid: &Grid, late: &mut [[f64; STEPS]; 2]) {
    if spectrum.delay_s == 0.0 {
        add_crosses_on_time(&spectrum.lr, grid, late);
    } else {
        add_crosses(&spectrum.lr, spectrum.delay_s, grid, late);
    }
    add_crosses_on_time(&spectrum.near, grid, late);
}

/// Cells processed at once.
const LANES: usize = 4;

/// [`add_crosses`] for a cross term that keeps no delay apart: a late left and a late right line differ by a sign only.
fn add_crosses_on_time(crosses: &[Complex<f64>], grid: &Grid, late: &mut [[f64; STEPS]; 2]) {
    let mut heard = (0..crosses.len()).filter(|&cell| crosses[cell].norm_sqr() != 0.0);
    loop {
        let mut cells = TurnedCells::default();
        let mut count = 0;
        for cell in heard.by_ref().take(LANES) {
            let (lower, upper) = (grid.edges_hz()[cell], grid.edges_hz()[cell + 1]);
            let half = core::f64::consts::PI * (upper - lower);
            let turn = Complex::from_polar(1.0, core::f64::consts::PI * (upper + lower) * STEP_S);
            let spread_turn = Complex::from_polar(1.0, half * STEP_S);
            cells.cross[0][count] = crosses[cell].re;
            cells.cross[1][count] = crosses[cell].im;
            cells.turn[0][count] = turn.re;
            cells.turn[1][count] = turn.im;
            cells.half[count] = half;
            cells.spread_turn[0][count] = spread_turn.re;
            cells.spread_turn[1][count] = spread_turn.im;
            count += 1;
        }
        if count == 0 {
            return;
        }
        let [left_late, right_late] = late;
        turn_cells(&cells, left_late, right_late);
    }
}

/// A few cells, absent ones as zero: real and imaginary part of their cross terms, of the rotation from step to step,
/// and of the rotation by half a cell's width; and that width as an angle per second.
#[derive(Default)]
struct TurnedCells {
    cross: [[f64; LANES]; 2],
    turn: [[f64; LANES]; 2],
    spread_turn: [[f64; LANES]; 2],
    half: [f64; LANES],
}

#[multiversion(targets("x86_64+avx"))]
fn turn_cells(cells: &TurnedCells, left_late: &mut [f64; STEPS], right_late: &mut [f64; STEPS]) {
    let TurnedCells {
        cross,
        turn,
        spread_turn,
        half,
    } = cells;
    let (mut phasor, mut spread) = ([[1.0; LANES], [0.0; LANES]], [[1.0; LANES], [0.0; LANES]]);
    for step in 0..STEPS {
        let delay_s = step as f64 * STEP_S;
        let (mut left, mut right) = ([0.0; LANES], [0.0; LANES]);
        for n in 0..LANES {
            let angle = half[n] * delay_s;
            let sinc = if angle < 1e-6 { 1.0 } else { spread[1][n] / angle };
            let (re, im) = (cross[0][n] * phasor[0][n], cross[1][n] * phasor[1][n]);
            left[n] = (re + im) * sinc;
            right[n] = (re - im) * sinc;
            (phasor[0][n], phasor[1][n]) = (
                phasor[0][n] * turn[0][n] - phasor[1][n] * turn[1][n],
                phasor[0][n] * turn[1][n] + phasor[1][n] * turn[0][n],
            );
            (spread[0][n], spread[1][n]) = (
                spread[0][n] * spread_turn[0][n] - spread[1][n] * spread_turn[1][n],
                spread[0][n] * spread_turn[1][n] + spread[1][n] * spread_turn[0][n],
            );
        }
        // One cell after the other, as they'd be added without lanes.
        for n in 0..LANES {
            left_late[step] += left[n];
            right_late[step] += right[n];
        }
    }
}

/// Adds one part of a cross term that keeps a delay apart.
fn add_crosses(crosses: &[Complex<f64>], kept_s: f64, grid: &Grid, late: &mut [[f64; STEPS]; 2]) {
    let [left_late, right_late] = late;
    for (cell, &cross) in crosses.iter().enumerate() {
        if cross.norm_sqr() == 0.0 {
            continue;
        }
        let (lower, upper) = (grid.edges_hz()[cell], grid.edges_hz()[cell + 1]);
        // As in `mean_phasor`: the phase at the middle, and sinc of the cell's half width.
        let (middle, half) = (
            core::f64::consts::PI * (upper + lower),
            core::f64::consts::PI * (upper - lower),
        );
        let on_time = cross * Complex::from_polar(1.0, middle * kept_s);
        let spread = Complex::from_polar(1.0, half * kept_s);
        let sinc = |sine: f64, angle: f64| if angle.abs() < 1e-6 { 1.0 } else { sine / angle };
        let turn = Complex::from_polar(1.0, middle * STEP_S);
        let spread_turn = Complex::from_polar(1.0, half * STEP_S);
        let (mut phasor, mut spread_phasor) = (Complex::new(1.0, 0.0), Complex::new(1.0, 0.0));
        for (step, (left, right)) in left_late.iter_mut().zip(right_late.iter_mut()).enumerate() {
            let delay_s = step as f64 * STEP_S;
            *left += (on_time * phasor.conj()).re
                * sinc((spread * spread_phasor.conj()).im, half * (kept_s - delay_s));
            *right += (on_time * phasor).re * sinc((spread * spread_phasor).im, half * (kept_s + delay_s));
            phasor *= turn;
            spread_phasor *= spread_turn;
        }
    }
}

/// The same for FFT bins, which have no width: the two late lines rotate the cross term in opposite directions.
fn crosses_of_bins(spectrum: &CrossSpectrum, grid: &Grid, late: &mut [[f64; STEPS]; 2]) {
    let [left_late, right_late] = late;
    for cell in 0..spectrum.len() {
        let cross = spectrum.lr[cell];
        if cross.norm_sqr() == 0.0 {
            continue;
        }
        let turn = Complex::from_polar(1.0, core::f64::consts::TAU * grid.centres_hz()[cell] * STEP_S);
        let mut phasor = Complex::new(1.0, 0.0);
        for (left, right) in left_late.iter_mut().zip(right_late.iter_mut()) {
            let (re, im) = (cross.re * phasor.re, cross.im * phasor.im);
            *left += re + im;
            *right += re - im;
            phasor *= turn;
        }
    }
}

fn delay_margin(
    spectrum: &CrossSpectrum,
    grid: &Grid,
    late: &[[f64; STEPS]; 2],
    loss_db: f64,
) -> DelayMargin {
    let (left, right) = spectrum.powers();
    let on_time = left + right + 2.0 * late[1][0];
    let loss = |cross: f64| db::from_power((left + right + 2.0 * cross) / on_time);
    if on_time <= 0.0 {
        // A silent sum can't lose anything.
        return DelayMargin::NotReached { deepest_db: 0.0 };
    }
    let mut deepest_db = 0.0f64;
    for step in 1..STEPS {
        for (line, crosses) in Side::BOTH.into_iter().zip(late) {
            let here = loss(crosses[step]);
            deepest_db = deepest_db.min(here);
            if here > -loss_db {
                continue;
            }
            let direction = if line == Side::Right { 1.0 } else { -1.0 };
            let (mut short, mut long) = ((step - 1) as f64 * STEP_S, step as f64 * STEP_S);
            // Twenty bisections of a step end far below a sample.
            for _ in 0..20 {
                let middle = 0.5 * (short + long);
                if loss(cross_at(spectrum, grid, direction * middle)) > -loss_db {
                    short = middle;
                } else {
                    long = middle;
                }
            }
            return DelayMargin::Reached { delay_s: long, line };
        }
    }
    DelayMargin::NotReached { deepest_db }
}

/// The smallest further level offset that keeps the flipped sum within `limit_db` of the un-faulted one, from the
/// channels' powers and cross term. With a gain `k` on the right channel the two sums are `L + k²R ∓ 2kC`; their ratio
/// reaches the limit where a quadratic in `k` is zero. For equal channels that is `k = (1 − r)/(1 + r)`.
#[must_use]
pub fn restoring_offset(left: f64, right: f64, cross: f64, limit_db: f64) -> Offset {
    let none = Offset {
        offset_db: 0.0,
        louder: if left >= right { Side::Left } else { Side::Right },
    };
    let squared = db::to_power(limit_db.min(-0.01));
    if left <= 0.0 || right <= 0.0 || left + right - 2.0 * cross >= squared * (left + right + 2.0 * cross) {
        return none;
    }
    let (a, b, c) = (
        right * (1.0 - squared),
        cross * (1.0 + squared),
        left * (1.0 - squared),
    );
    let root = (b * b - a * c).max(0.0).sqrt();
    // The roots multiply to L/R; the larger one is computed without cancellation.
    let loud = (b + root) / a;
    let (louder_right, louder_left) = (db::from_amplitude(loud), -db::from_amplitude(left / right / loud));
    if louder_left <= louder_right {
        Offset {
            offset_db: louder_left.max(0.0),
            louder: Side::Left,
        }
    } else {
        Offset {
            offset_db: louder_right.max(0.0),
            louder: Side::Right,
        }
    }
}
