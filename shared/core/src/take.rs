//! A take: one stored analysis of one preset, with its name.
//!
//! It keeps dry and wet per 1/24 octave with the delay between the channels apart, which is enough to score any feed
//! again, combs included, and the exact broadband sums.

use crate::Complex;
use crate::board::{Board, FEEDS, Rig, Row};
use crate::delay::ChannelDelay;
use crate::grid::Grid;
use crate::pair::PairSums;
use crate::score::Scorer;
use crate::spectrum::CrossSpectrum;
use crate::split::{Method, Split};

/// Which pass of a part a take is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Pass {
    /// The whole preset.
    #[default]
    Full,
    /// Effects off.
    Dry,
    /// Dry off.
    Wet,
}

impl Pass {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Full, Self::Dry, Self::Wet];

    /// What people read.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Full => "full",
            Self::Dry => "dry",
            Self::Wet => "wet",
        }
    }
}

/// One stored analysis.
#[derive(Clone, Debug, PartialEq)]
pub struct Take {
    /// What the player calls it.
    pub name: String,
    /// Which pass it is.
    pub pass: Pass,
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// Frames that were garbage and left out.
    pub garbage_frames: u64,
    /// Exact sums over all frames.
    pub sums: PairSums,
    /// The single delay between the channels, if there's one.
    pub delay: Option<ChannelDelay>,
    /// Dry and wet on [`Grid::twenty_fourth_octave`] cells.
    pub split: Split,
}

impl Take {
    /// Stores an analysis made on the FFT bins of `grid`.
    ///
    /// # Panics
    /// If the split isn't on that grid.
    #[must_use]
    pub fn new(
        name: String,
        pass: Pass,
        sums: PairSums,
        garbage_frames: u64,
        grid: &Grid,
        split: &Split,
        delay: Option<ChannelDelay>,
    ) -> Self {
        let cells = Grid::twenty_fourth_octave(grid.rate_hz());
        let delay_s = delay.map_or(0.0, |delay| delay.delay_s);
        // Each part keeps the delay apart only if its cross term has one to keep.
        let gather = |spectrum: &CrossSpectrum| {
            let apart = if spectrum.lr.iter().any(|c| c.norm_sqr() > 0.0) {
                delay_s
            } else {
                0.0
            };
            gathered(spectrum, grid, &cells, apart)
        };
        Self {
            name,
            pass,
            rate_hz: grid.rate_hz(),
            garbage_frames,
            sums,
            delay,
            split: Split {
                dry: gather(&split.dry),
                wet: gather(&split.wet),
                method: split.method,
            },
        }
    }

    /// The cells the spectra are on.
    #[must_use]
    pub fn grid(&self) -> Grid {
        Grid::twenty_fourth_octave(self.rate_hz)
    }

    /// Length, seconds.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        self.sums.frames as f64 / self.rate_hz
    }

    /// How dry and wet were told apart.
    #[must_use]
    pub fn method(&self) -> Method {
        self.split.method
    }

    /// The board of this take for a rig; broadband figures leave out what lies below `lowest_hz`.
    #[must_use]
    pub fn board(&self, rig: &Rig, lowest_hz: f64) -> Board {
        Board::new(
            Scorer::new(self.grid(), lowest_hz),
            *rig,
            (self.split.dry.delay_s, self.split.wet.delay_s),
        )
    }

    /// Every feed's figures for a rig.
    #[must_use]
    pub fn rows(&self, rig: &Rig, lowest_hz: f64) -> [Row; FEEDS] {
        let mut rows = Board::empty_rows();
        self.board(rig, lowest_hz).score(&self.split, &mut rows);
        rows
    }

    /// Dry and wet together: the pair as it was heard, with its delay put back into the cross term.
    #[must_use]
    pub fn total(&self) -> CrossSpectrum {
        let grid = self.grid();
        let mut total = CrossSpectrum::silent(grid.len());
        for part in [&self.split.dry, &self.split.wet] {
            for cell in 0..grid.len() {
                total.ll[cell] += part.ll[cell];
                total.rr[cell] += part.rr[cell];
                total.lr[cell] += part.lr[cell] * crate::spectrum::mean_phasor(&grid, cell, part.delay_s);
            }
        }
        total.averages = self.split.dry.averages;
        total
    }
}

/// A spectrum of FFT bins gathered into wider cells, the cross term lined up by `delay_s` on the way. What a bin shares
/// with two cells is given out in proportion; sums stay exactly what they were.
#[must_use]
pub fn gathered(spectrum: &CrossSpectrum, from: &Grid, to: &Grid, delay_s: f64) -> CrossSpectrum {
    let mut out = CrossSpectrum::silent(to.len());
    out.delay_s = delay_s;
    out.averages = spectrum.averages;
    let mut cell = 0;
    for bin in 0..from.len() {
        let (lower, upper) = (from.edges_hz()[bin], from.edges_hz()[bin + 1]);
        let turned = spectrum.lr[bin]
            * Complex::from_polar(1.0, -core::f64::consts::TAU * from.centres_hz()[bin] * delay_s);
        let mut begin = lower;
        while begin < upper {
            while cell + 1 < to.len() && to.edges_hz()[cell + 1] <= begin {
                cell += 1;
            }
            let end = if cell + 1 < to.len() {
                to.edges_hz()[cell + 1].min(upper)
            } else {
                upper
            };
            let share = (end - begin) / (upper - lower);
            out.ll[cell] += share * spectrum.ll[bin];
            out.rr[cell] += share * spectrum.rr[bin];
            out.lr[cell] += turned * share;
            begin = end;
        }
    }
    out
}

#[cfg(feature = "serde")]
mod stored {
    //! The form a take is stored in: JSON with the cells as base64 of little-endian `f32`.

    use base64::Engine;
    use base64::engine::general_purpose::STANDARD;
    use serde::de::Error;
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    use super::{ChannelDelay, Complex, CrossSpectrum, Grid, Method, PairSums, Pass, Split, Take};

    /// The version of the stored form.
    const VERSION: u32 = 1;

    #[derive(Serialize, Deserialize)]
    struct Part {
        delay_s: f64,
        averages: f64,
        /// `ll`, `rr`, real and imaginary part of `lr`, cell by cell.
        cells: String,
    }

    #[derive(Serialize, Deserialize)]
    struct StoredTake {
        version: u32,
        name: String,
        #[serde(default)]
        pass: Pass,
        rate_hz: f64,
        #[serde(default)]
        garbage_frames: u64,
        sums: PairSums,
        #[serde(default)]
        delay: Option<ChannelDelay>,
        method: Method,
        dry: Part,
        wet: Part,
    }

    fn part(spectrum: &CrossSpectrum) -> Part {
        let mut bytes = Vec::with_capacity(spectrum.len() * 16);
        for cell in 0..spectrum.len() {
            let lr = spectrum.lr[cell];
            for value in [spectrum.ll[cell], spectrum.rr[cell], lr.re, lr.im] {
                bytes.extend((value as f32).to_le_bytes());
            }
        }
        Part {
            delay_s: spectrum.delay_s,
            averages: spectrum.averages,
            cells: STANDARD.encode(bytes),
        }
    }

    fn spectrum(part: &Part, grid: &Grid) -> Result<CrossSpectrum, String> {
        let bytes = STANDARD
            .decode(&part.cells)
            .map_err(|error| format!("the cells of a take are damaged: {error}"))?;
        if bytes.len() != grid.len() * 16 {
            return Err(format!(
                "a take should have {} cells, this one has {}",
                grid.len(),
                bytes.len() / 16
            ));
        }
        if !(part.delay_s.abs() <= 1.0 && part.averages >= 0.0 && part.averages.is_finite()) {
            return Err("the delay or the averages of a take are out of range".into());
        }
        let mut spectrum = CrossSpectrum::silent(grid.len());
        spectrum.delay_s = part.delay_s;
        spectrum.averages = part.averages;
        for (cell, four) in bytes.chunks_exact(16).enumerate() {
            let value = |i: usize| {
                f64::from(f32::from_le_bytes([
                    four[i],
                    four[i + 1],
                    four[i + 2],
                    four[i + 3],
                ]))
            };
            let (ll, rr, lr) = (value(0), value(4), Complex::new(value(8), value(12)));
            let believable = (0.0..1e12).contains(&ll) && (0.0..1e12).contains(&rr) && lr.norm_sqr() < 1e24;
            if !believable {
                return Err(format!("cell {cell} of a take holds no possible power"));
            }
            (spectrum.ll[cell], spectrum.rr[cell], spectrum.lr[cell]) = (ll, rr, lr);
        }
        Ok(spectrum)
    }

    impl Serialize for Take {
        fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
            StoredTake {
                version: VERSION,
                name: self.name.clone(),
                pass: self.pass,
                rate_hz: self.rate_hz,
                garbage_frames: self.garbage_frames,
                sums: self.sums,
                delay: self.delay,
                method: self.split.method,
                dry: part(&self.split.dry),
                wet: part(&self.split.wet),
            }
            .serialize(serializer)
        }
    }

    impl<'de> Deserialize<'de> for Take {
        fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
            let stored = StoredTake::deserialize(deserializer)?;
            if stored.version > VERSION {
                return Err(D::Error::custom(format!(
                    "the take '{}' was stored by a newer version (form {}, this one knows {VERSION})",
                    stored.name, stored.version
                )));
            }
            if !(1000.0..=1_000_000.0).contains(&stored.rate_hz) {
                return Err(D::Error::custom(format!(
                    "a sample rate of {} Hz is out of range",
                    stored.rate_hz
                )));
            }
            let sums = stored.sums;
            if ![sums.left, sums.right]
                .iter()
                .all(|sum| (0.0..1e24).contains(sum))
                || !sums.cross.is_finite()
            {
                return Err(D::Error::custom("the sums of a take are out of range"));
            }
            if stored
                .delay
                .is_some_and(|d| !(d.delay_s.abs() <= 1.0 && d.confidence.is_finite()))
            {
                return Err(D::Error::custom("the delay of a take is out of range"));
            }
            let grid = Grid::twenty_fourth_octave(stored.rate_hz);
            Ok(Self {
                name: stored.name,
                pass: stored.pass,
                rate_hz: stored.rate_hz,
                garbage_frames: stored.garbage_frames,
                sums,
                delay: stored.delay,
                split: Split {
                    dry: spectrum(&stored.dry, &grid).map_err(D::Error::custom)?,
                    wet: spectrum(&stored.wet, &grid).map_err(D::Error::custom)?,
                    method: stored.method,
                },
            })
        }
    }
}
