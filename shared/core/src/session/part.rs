//! Whether two bounces are of one part: before anybody says what a change in a preset did.
//!
//! An effect changes a sound's colour and level; it doesn't change when notes begin and which they are. Both are compared with what an
//! equaliser, an amplifier model or another level does taken out.

use crate::session::take::Take;
use crate::spectrum::bands::BandMap;

/// Power is looked at in stretches of this length, seconds.
const HOP_S: f64 = 0.02;
/// Power this far below the loudest stretch's is an end, or a reverb, dB.
const SOUNDS_DB: f64 = -30.0;
/// Tails may differ by this, seconds, or by this share.
const TAIL_S: f64 = 2.5;
const TAIL_SHARE: f64 = 0.15;
/// Bounces may begin so much apart, seconds.
const APART_S: f64 = 1.0;
/// Attacks are felt in decibels above this far below the loudest.
const FLOOR_DB: f64 = -45.0;
/// Where notes are looked at, Hz, and over how many bands of 1/24 octave colour is taken out to either side.
const NOTES_HZ: (f64, f64) = (80.0, 2000.0);
const COLOUR_BANDS: usize = 8;

/// How loud a sound is over time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Outline {
    hop: usize,
    filled: usize,
    sum: f64,
    powers: Vec<f64>,
}

/// In what two bounces differ that a preset doesn't change.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Unlike {
    /// In how long they sound.
    Length {
        /// The first one, seconds.
        a_s: f64,
        /// The second one, seconds.
        b_s: f64,
    },
    /// In when notes begin.
    Onsets,
    /// In which notes sound.
    Notes,
}

impl Outline {
    /// Of nothing yet, at a sample rate.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        Self {
            hop: ((HOP_S * rate_hz) as usize).max(1),
            ..Self::default()
        }
    }

    /// The next frames; those that aren't numbers count as silence.
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

    /// From where it first sounds to where it last does, seconds.
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

    /// By how many decibels it gets louder in each stretch against the one before the last.
    fn attacks(&self) -> Vec<f64> {
        let floor = (self.loudest() * 10f64.powf(FLOOR_DB / 10.0)).max(1e-30);
        let level = |power: &f64| 10.0 * (power + floor).log10();
        self.powers
            .windows(3)
            .map(|three| (level(&three[2]) - level(&three[0])).max(0.0))
            .collect()
    }
}

/// In what two bounces, each with its take, differ; empty where they may be of one part.
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

/// How alike the times are at which sounds begin: the best correlation of both sounds' attacks within [`APART_S`], −1 to 1.
#[must_use]
pub fn onsets_alike(a: &Outline, b: &Outline) -> f64 {
    let (a, b) = (a.attacks(), b.attacks());
    let reach = (APART_S / HOP_S) as isize;
    (-reach..=reach)
        .map(|lag| {
            let pairs: Vec<(f64, f64)> = a
                .iter()
                .enumerate()
                .filter_map(|(n, &x)| {
                    let at = usize::try_from(n as isize + lag).ok()?;
                    Some((x, *b.get(at)?))
                })
                .collect();
            correlation(&pairs)
        })
        .fold(-1.0, f64::max)
}

/// How alike the notes are: the correlation of both spectra in bands of 1/24 octave, each against its neighbourhood, −1 to 1.
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
    // Two sample rates' bands aren't at the same places to the digit.
    let near = |hz: f64| b.iter().find(|other| (other.0 / hz).ln().abs() < 0.01);
    let pairs: Vec<(f64, f64)> = a
        .iter()
        .filter_map(|&(hz, level)| Some((level, near(hz)?.1)))
        .collect();
    correlation(&pairs)
}

/// Pearson's; 0 where one doesn't vary.
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
