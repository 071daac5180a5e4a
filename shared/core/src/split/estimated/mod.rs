//! The estimated (blind) split: dry and wet from the pair alone.
//!
//! The onsets show the dry's direction in the pair ([`super::ways`]); its bounds follow from that, and the most likely
//! dry on any grid. The wet is the rest, assumed to be an ordinary stereo where nothing shows its direction; only
//! figures marked as assumed rest on that.

mod tracker;

pub use tracker::Tracker;

use crate::Complex;
use crate::dsp::numbers::to_index;
use crate::spectrum::cross_spectrum::{CrossSpectrum, mean_phasor};
use crate::spectrum::grid::Grid;
use crate::split::ways::{BANDS, BandDry, Resolved, band_position};
use crate::split::{Method, Split};

/// Splits `total` by `resolved` into `out`, cell by cell, without allocating. On FFT bins the dry's cross term contains
/// the evidence's delay; on wider cells it keeps the delay apart, and `total` must keep the same one apart or have
/// none.
///
/// # Panics
/// If the lengths don't match.
pub fn split_into(total: &CrossSpectrum, grid: &Grid, resolved: &Resolved, delay_s: f64, out: &mut Split) {
    out.method = Method::Estimated;
    out.bounds = Some(resolved.bounds);
    out.total.copy_from(total);
    for part in [&mut out.dry, &mut out.wet] {
        part.silence();
        part.averages = total.averages;
    }
    if resolved.bounds.no_separate_dry {
        out.dry.copy_from(total);
        return;
    }
    let in_bins = grid.block_len().is_some();
    if !in_bins {
        out.dry.delay_s = delay_s;
    }
    let way = resolved
        .bounds
        .one_direction
        .then(|| resolved.bounds.ways[0].angle_rad.sin_cos());
    let wet_stokes = resolved.bounds.wet.map_or([0.0; 3], |wet| wet.stokes);
    for (cell, &hz) in grid.centres_hz().iter().enumerate() {
        let BandDry { stokes, share, along } = at(&resolved.bands, hz);
        let all = total.ll[cell] + total.rr[cell];
        let turn = if in_bins && delay_s != 0.0 {
            mean_phasor(grid, cell, delay_s)
        } else {
            Complex::new(1.0, 0.0)
        };
        let dry = match way {
            // Shaped like the power along the direction, which is nearer to the dry than the total is.
            Some((sin, cos)) if along > 0.0 => {
                let cross = (total.lr[cell] * turn.conj()).re;
                let here = cos * cos * total.ll[cell] + sin * sin * total.rr[cell] + 2.0 * sin * cos * cross;
                here.clamp(0.0, all) * (share / along).min(1.0)
            }
            _ => all * share,
        };
        put(&mut out.dry, cell, dry, stokes, turn);
        put(&mut out.wet, cell, all - dry, wet_stokes, Complex::new(1.0, 0.0));
    }
}

/// Adds a power with the given Stokes parameters to a cell.
fn put(part: &mut CrossSpectrum, cell: usize, power: f64, [q, u, v]: [f64; 3], turn: Complex<f64>) {
    part.ll[cell] = (0.5 * power * (1.0 + q)).max(0.0);
    part.rr[cell] = (0.5 * power * (1.0 - q)).max(0.0);
    part.lr[cell] = Complex::new(u, v) * turn * (0.5 * power);
}

/// The dry at a frequency, interpolated linearly between bands over log frequency.
fn at(bands: &[BandDry; BANDS], hz: f64) -> BandDry {
    let place = band_position(hz).clamp(0.0, (BANDS - 1) as f64);
    let low = to_index(place).min(BANDS - 2);
    let part = place - low as f64;
    let (from, to) = (&bands[low], &bands[low + 1]);
    let between = |a: f64, b: f64| a + part * (b - a);
    BandDry {
        stokes: core::array::from_fn(|n| between(from.stokes[n], to.stokes[n])),
        share: between(from.share, to.share).clamp(0.0, 1.0),
        along: between(from.along, to.along).clamp(0.0, 1.0),
    }
}
