//! What the parts in which both lines sound at once say of the level: there the gain of the recorder, whatever it is, is the same
//! for both.

use super::{AHEAD_S, REACH_S, Reader};
use crate::Complex;
use crate::line_check::fit::fitted::Fit;
use crate::line_check::fit::ratio::Relation;
use crate::line_check::response::Response;
use crate::line_check::response::bands::{BinGrid, PartSpectrum};
use crate::line_check::signal::plan::{Piece, Sound};

/// Bands that make one correction of the level.
const BANDS: usize = 2;
/// The least share of both lines' powers that must tell them apart.
const APART: f64 = 0.05;
/// The two lines can't be told apart better than this however clear they are (variance, power): a gain that moves meanwhile.
const SMEAR: f64 = 1e-3;
/// What one band says is never better than this (variance).
const LEAST_VARIANCE: f64 = 1e-3;
/// What isn't near the frequency asked for counts this much.
const FAR: f64 = 0.02;
/// Fewer bands than this say nothing.
const FEWEST: usize = 6;

/// What one part says in one band: the softer line over the louder one, by what was found of them one after the other. A plain
/// ratio: by chance it may come out as anything, even negative, and a mean of logarithms would make that a louder line.
#[derive(Clone, Copy, Debug)]
struct Correction {
    ln_hz: f64,
    ratio: f64,
    variance: f64,
}

/// All of them.
#[derive(Clone, Debug, Default)]
pub(super) struct Corrections {
    bands: Vec<Correction>,
    right_is_soft: bool,
}

impl Corrections {
    /// The mean around a frequency (or over all) as what must be added to `ln(right/left)`, and its variance.
    pub fn around(&self, ln_hz: Option<f64>) -> Option<(f64, f64)> {
        let weight = |correction: &Correction| {
            // An octave away, one counts little.
            let near = ln_hz.map_or(1.0, |ln_hz| {
                let octaves = (correction.ln_hz - ln_hz) / core::f64::consts::LN_2;
                (-octaves * octaves).exp() + FAR
            });
            near / (correction.variance + LEAST_VARIANCE)
        };
        let (mut weights, mut sum, mut by_noise) = (0.0, 0.0, 0.0);
        for correction in &self.bands {
            let weight = weight(correction);
            weights += weight;
            sum += weight * correction.ratio;
            by_noise += weight * weight * correction.variance;
        }
        let mean = sum / weights;
        let spread: f64 = self
            .bands
            .iter()
            .map(|correction| (weight(correction) * (correction.ratio - mean)).powi(2))
            .sum();
        // Two neighbours tell nearly the same.
        let variance = 2.0 * spread.max(by_noise) / (weights * weights);
        (self.bands.len() >= FEWEST && mean > 0.0 && variance < mean * mean).then(|| {
            let ln = mean.ln();
            (
                if self.right_is_soft { ln } else { -ln },
                variance / (mean * mean),
            )
        })
    }

    /// The frequencies they cover, logarithms.
    pub fn edges(&self) -> (f64, f64) {
        self.bands
            .iter()
            .map(|correction| correction.ln_hz)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| {
                (low.min(x), high.max(x))
            })
    }
}

/// Where the lines sound at once: one piece, or two that overlap.
struct Both {
    first: usize,
    /// From the first piece to the second, seconds; 0 where both lines are in one.
    pitch_s: f64,
    left_first: bool,
    /// Right over left as it is sent.
    sign: f64,
    /// Where both sound, Hz.
    band_hz: (f64, f64),
}

impl Reader {
    fn sounding_at_once(&self) -> Vec<Both> {
        let pieces = &self.plan.pieces;
        let of =
            |sound: Sound| (0..pieces.len()).filter(move |&n| self.inside[n] && pieces[n].sound == sound);
        let is_on_both = |piece: &Piece| piece.lines.iter().all(|&line| line != 0.0);
        let mut all: Vec<Both> = of(Sound::Sweep)
            .filter(|&n| is_on_both(&pieces[n]))
            .map(|n| Both {
                first: n,
                pitch_s: 0.0,
                left_first: true,
                sign: pieces[n].lines[1].signum() * pieces[n].lines[0].signum(),
                band_hz: (0.0, f64::INFINITY),
            })
            .collect();
        let markers: Vec<usize> = of(Sound::Marker).collect();
        for pair in markers.chunks_exact(2) {
            let (first, second) = (&pieces[pair[0]], &pieces[pair[1]]);
            let apart_s = second.start_s - first.start_s;
            if is_on_both(first) || apart_s > 1.0 {
                continue;
            }
            // Only what both lines play while the other one sounds as well: alone, a soft line is turned up.
            let marker = self.plan.marker;
            let share = apart_s / marker.seconds + 0.02;
            let at = |share: f64| marker.low_hz * (marker.high_hz / marker.low_hz).powf(share);
            all.push(Both {
                first: pair[0],
                pitch_s: apart_s * (1.0 + self.clock.drift),
                left_first: first.lines[0] != 0.0,
                sign: 1.0,
                band_hz: (at(share), at(1.0 - share)),
            });
        }
        all
    }

    /// By the louder line's own response, and by the fit the softer one's: it says best what the softer one's is, free of its
    /// noise.
    pub(super) fn corrections(
        &mut self,
        channel: usize,
        lines: &[Response; 2],
        length_s: f64,
        relation: &Relation,
        fit: &Fit,
    ) -> Corrections {
        let right_is_soft = fit.gain_db < 0.0;
        let loud = self.cut(&lines[usize::from(!right_is_soft)], -AHEAD_S, REACH_S + length_s);
        let delay_s = relation.delay_s + fit.delay_s;
        let softer = |hz: f64| {
            let right =
                fit.ratio(hz) * Complex::from_polar(relation.sign, -core::f64::consts::TAU * hz * delay_s);
            if right_is_soft { right } else { right.inv() }
        };
        let mut bands = Vec::new();
        for both in self.sounding_at_once() {
            let response = self.response(channel, both.first);
            let heard = self.cut(&response, -AHEAD_S, both.pitch_s + REACH_S + length_s);
            let late = |right: bool, hz: f64| {
                let pitch_s = if right == both.left_first {
                    both.pitch_s
                } else {
                    0.0
                };
                Complex::from_polar(
                    if right { both.sign } else { 1.0 },
                    -core::f64::consts::TAU * hz * pitch_s,
                )
            };
            let inside: Vec<(usize, usize)> = self
                .grid
                .bands
                .iter()
                .copied()
                .filter(|&(from, to)| {
                    let (low, high) = (self.grid.hz(from), self.grid.hz(to));
                    low >= both.band_hz.0.max(heard.band_hz.0) && high <= both.band_hz.1.min(heard.band_hz.1)
                })
                .collect();
            let placed = |hz: f64| (late(!right_is_soft, hz), softer(hz), late(right_is_soft, hz));
            bands.extend(inside.chunks(BANDS).filter_map(|wide| {
                let band = (wide[0].0, wide[wide.len() - 1].1);
                correction(&self.grid, &loud, &heard, band, placed)
            }));
        }
        Corrections { bands, right_is_soft }
    }
}

/// What is heard in a band as so much of the louder line and so much of the softer one. `placed` turns the louder line to its place, makes
/// the softer one of it, and turns that to its place.
fn correction(
    grid: &BinGrid,
    loud: &PartSpectrum,
    heard: &PartSpectrum,
    (from, to): (usize, usize),
    placed: impl Fn(f64) -> (Complex<f64>, Complex<f64>, Complex<f64>),
) -> Option<Correction> {
    // Normal equations of `heard ≈ α·louder + β·softer`, gains real.
    let (mut xx, mut yy, mut xy, mut xz, mut yz, mut noise) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for k in from..to {
        let (loud_at, ratio, soft_at) = placed(grid.hz(k));
        let x = loud.bins[k] * loud_at;
        let y = loud.bins[k] * ratio * soft_at;
        let z = heard.bins[k];
        // What the louder one's own noise adds to the powers.
        xx += x.norm_sqr() - loud.noise[k];
        yy += y.norm_sqr() - loud.noise[k] * ratio.norm_sqr();
        xy += (x.conj() * y).re * (1.0 - loud.noise[k] / x.norm_sqr().max(1e-300)).max(0.0);
        xz += (x.conj() * z).re;
        yz += (y.conj() * z).re;
        noise += 0.5 * (heard.noise[k] + loud.noise[k] + SMEAR * z.norm_sqr());
    }
    let determinant = xx * yy - xy * xy;
    if xx <= 0.0 || yy <= 0.0 || determinant < APART * xx * yy {
        return None;
    }
    let (alpha, beta) = (
        (yy * xz - xy * yz) / determinant,
        (xx * yz - xy * xz) / determinant,
    );
    let crowd = grid.len as f64 / heard.energy;
    let per_bin = crowd * noise / (to - from) as f64;
    let variance = per_bin * (xx + yy + 2.0 * xy) / determinant;
    let ratio = beta / alpha;
    (alpha > 0.0 && per_bin * yy / determinant < 0.04 && ratio.is_finite()).then(|| Correction {
        ln_hz: grid.middle_hz((from, to)).ln(),
        ratio,
        variance,
    })
}
