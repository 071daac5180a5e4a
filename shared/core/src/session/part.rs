//! Whether two bounces are of the same part, which a comparison of two presets requires.
//!
//! An effect changes a sound's colour and level; it changes neither which notes are played nor when they begin. Both
//! are compared independently of equaliser, amplifier model and level.

use crate::dsp::numbers::{to_index, to_lag};
use crate::session::take::Take;
use crate::spectrum::bands::BandMap;

/// Power is taken over stretches of this length, seconds.
const HOP_S: f64 = 0.02;
/// Stretches this far below the loudest one count as an end or a reverb, dB.
const SOUNDS_DB: f64 = -30.0;
/// Lengths may differ by this, seconds, or by [`TAIL_SHARE`].
const TAIL_S: f64 = 2.5;
/// See [`TAIL_S`].
const TAIL_SHARE: f64 = 0.15;
/// Bounces may begin this far apart, seconds.
const APART_S: f64 = 1.0;
/// Floor of the levels that attacks are measured with, dB against the loudest.
const FLOOR_DB: f64 = -45.0;
/// Frequencies where notes are compared, Hz.
const NOTES_HZ: (f64, f64) = (80.0, 2000.0);
/// Bands of 1/24 octave to either side of a band that make up its neighbourhood.
const COLOUR_BANDS: usize = 8;

/// A sound's power over time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Outline {
    hop: usize,
    filled: usize,
    sum: f64,
    powers: Vec<f64>,
}

/// A difference between two bounces that a preset can't make.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Unlike {
    /// Their lengths.
    Length {
        /// Length of the first one, seconds.
        a_s: f64,
        /// Length of the second one, seconds.
        b_s: f64,
    },
    /// The times at which notes begin.
    Onsets,
    /// The notes.
    Notes,
}

impl Outline {
    /// Creates an empty outline for a sample rate, Hz.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        Self {
            hop: to_index(HOP_S * rate_hz).max(1),
            ..Self::default()
        }
    }

    /// Takes frames (as many as the shorter slice has); non-finite ones count as silence.
    pub fn push(&mut self, left: &[f32], right: &[f32]) {
        for (&l, &r) in left.iter().zip(right) {
            let power = f64::from(l).powi(2) + f64::from(r).powi(2);
            self.sum += if power.is_finite() { power } else { 0.0 };
            self.filled += 1;
            if self.filled >= self.hop {
                self.powers.push(self.sum / self.hop as f64);
                (self.sum, self.filled) = (0.0, 0);
            }
        }
    }

    fn loudest(&self) -> f64 {
        self.powers.iter().copied().fold(0.0, f64::max)
    }

    /// Time from the first to the last sounding stretch, seconds.
    #[must_use]
    pub fn sounds_s(&self) -> f64 {
        let least = self.loudest() * 10f64.powf(SOUNDS_DB / 10.0);
        let sounds = |power: &f64| *power > least;
        match (
            self.powers.iter().position(sounds),
            self.powers.iter().rposition(sounds),
        ) {
            (Some(first), Some(last)) => HOP_S * (last - first + 1) as f64,
            _ => 0.0,
        }
    }

    /// The rise of each stretch over the second one before it, dB; falls count as 0.
    fn attacks(&self) -> Vec<f64> {
        let floor = (self.loudest() * 10f64.powf(FLOOR_DB / 10.0)).max(1e-30);
        let level = |power: &f64| 10.0 * (power + floor).log10();
        self.powers
            .windows(3)
            .map(|three| (level(&three[2]) - level(&three[0])).max(0.0))
            .collect()
    }
}

/// The differences of two bounces, each with its take; empty if they may be of the same part.
#[must_use]
pub fn unlike(a: (&Take, &Outline), b: (&Take, &Outline)) -> Vec<Unlike> {
    let mut found = Vec::new();
    let (a_s, b_s) = (a.1.sounds_s(), b.1.sounds_s());
    if (a_s - b_s).abs() > TAIL_S.max(TAIL_SHARE * a_s.max(b_s)) {
        found.push(Unlike::Length { a_s, b_s });
    }
    let onsets = onsets_alike(a.1, b.1);
    let notes = notes_alike(a.0, b.0);
    if onsets < 0.25 {
        found.push(Unlike::Onsets);
    }
    if notes < 0.3 {
        found.push(Unlike::Notes);
    }
    found
}

/// Similarity of the times at which sounds begin: the best correlation of both sounds' attacks within [`APART_S`], −1
/// to 1.
#[must_use]
pub fn onsets_alike(a: &Outline, b: &Outline) -> f64 {
    let (a, b) = (a.attacks(), b.attacks());
    let reach = to_lag(APART_S / HOP_S);
    (-reach..=reach)
        .map(|lag| {
            let pairs: Vec<(f64, f64)> = a
                .iter()
                .enumerate()
                .filter_map(|(n, &x)| {
                    let at = usize::try_from(n.cast_signed() + lag).ok()?;
                    Some((x, *b.get(at)?))
                })
                .collect();
            correlation(&pairs)
        })
        .fold(-1.0, f64::max)
}

/// Similarity of the notes: the correlation of both spectra in bands of 1/24 octave, each relative to its
/// neighbourhood, −1 to 1.
#[must_use]
pub fn notes_alike(a: &Take, b: &Take) -> f64 {
    let notes = |take: &Take| -> Vec<(f64, f64)> {
        let grid = take.grid();
        let map = BandMap::twenty_fourths(&grid);
        let levels: Vec<(f64, f64)> = map
            .bands()
            .iter()
            .enumerate()
            .map(|(index, band)| {
                let reading = take.split.total.band(&grid, &map, index);
                (
                    band.centre_hz(),
                    10.0 * ((reading.left + reading.right) / band.width_hz() + 1e-30).log10(),
                )
            })
            .filter(|(hz, _)| (NOTES_HZ.0..NOTES_HZ.1).contains(hz))
            .collect();
        (0..levels.len())
            .map(|n| {
                let around =
                    &levels[n.saturating_sub(COLOUR_BANDS)..(n + COLOUR_BANDS + 1).min(levels.len())];
                let mean = around.iter().map(|level| level.1).sum::<f64>() / around.len() as f64;
                (levels[n].0, levels[n].1 - mean)
            })
            .collect()
    };
    let (a, b) = (notes(a), notes(b));
    // The bands of two sample rates don't have exactly the same frequencies.
    let near = |hz: f64| b.iter().find(|other| (other.0 / hz).ln().abs() < 0.01);
    let pairs: Vec<(f64, f64)> = a
        .iter()
        .filter_map(|&(hz, level)| Some((level, near(hz)?.1)))
        .collect();
    correlation(&pairs)
}

/// Pearson's coefficient; 0 where one side doesn't vary.
fn correlation(pairs: &[(f64, f64)]) -> f64 {
    let count = pairs.len() as f64;
    let mean = |of: fn(&(f64, f64)) -> f64| pairs.iter().map(of).sum::<f64>() / count;
    let (x, y) = (mean(|pair| pair.0), mean(|pair| pair.1));
    let (mut xx, mut yy, mut xy) = (0.0, 0.0, 0.0);
    for &(a, b) in pairs {
        xx += (a - x) * (a - x);
        yy += (b - y) * (b - y);
        xy += (a - x) * (b - y);
    }
    if xx > 0.0 && yy > 0.0 {
        xy / (xx * yy).sqrt()
    } else {
        0.0
    }
}
